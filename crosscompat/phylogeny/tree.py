"""A phylogenetic tree and the distances between its tips."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.wording import say
from crosscompat.phylogeny import distances
from crosscompat.phylogeny.clades import Clade, CladePairs, DistancesFrom, nearest_named, relative_depth
from crosscompat.phylogeny.distance_matrix import Among
from crosscompat.phylogeny.distances import Reals
from crosscompat.phylogeny.mrca import MrcaTable, met_by_one, neighbour_meets
from crosscompat.phylogeny.nodes import TreeNodes
from crosscompat.phylogeny.postorder import Floats, Ints, sums_from_root
from crosscompat.phylogeny.types import Distances

__all__ = ["Distances", "Phylogeny"]


@dataclass(frozen=True, eq=False, repr=False)
class Phylogeny(TreeNodes):
    """A tree: one entry a node, in postorder, the root last.

    Made by `read_tree`, `parse_newick` or `Phylogeny.from_arrays`, which check it; the arrays cannot be written to.
    Where a method takes names, a label may be written with underscores or spaces, or as a plant name.

    Attributes
    ----------
    parent : (n,) int array
        The parent's number, -1 for the root.
    length : (n,) float array
        Branch length above each node, in ``unit``; the root's may be NaN and never counts. Negative lengths are kept.
    labels : tuple of n str
        As written, "" where there is none.
    support : (n,) float array
        NaN where there is none.
    unit : str or None
        "My", "substitutions per site", "unit" (every branch counts 1) …; None where nobody said.
    rooted : bool or None
        Marked [&R], marked [&U], not said (then the tree is taken as rooted).

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((a:1,b:2)x:3,c:4);")
    >>> tree.tips, tree.patristic("a", "c"), tree.node_distance("a", "c")
    (('a', 'b', 'c'), 8.0, 2)
    >>> tree.patristic_matrix(["c", "a"]).tolist()
    [[0.0, 8.0], [8.0, 0.0]]
    """

    @cached_property
    def _meets(self) -> Ints:
        return neighbour_meets(self.parent, self.tip_nodes)

    @cached_property
    def _meeting(self) -> MrcaTable:
        return MrcaTable(self.tip_nodes, self._meets)

    @cached_property
    def _edge_height(self) -> Floats:
        edge = distances.crossing_edges(self.parent, root_counts=self.rooted is not False)
        return sums_from_root(self.parent, self.level, edge)

    def patristic(self, a: str, b: str) -> float:
        """Return the sum of branch lengths on the path between two tips, in the tree's unit.

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        """
        return float(self._between(self.root_distance, a, b))

    def patristic_matrix(self, names: Iterable[str] | None = None, *, dtype: type = np.float64) -> Reals:
        """Return the distances of all ``names`` to each other, in their order.

        Parameters
        ----------
        names : iterable of k str, optional
            Default: all tips, in the order of ``tips``. A name may come twice.
        dtype : type
            `numpy.float32` halves the memory; every distance is then rounded once, to 7 digits.

        Returns
        -------
        (k, k) float array

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        """
        return self._among(names).matrix(dtype)

    def patristic_condensed(self, names: Iterable[str] | None = None, *, dtype: type = np.float64) -> Reals:
        """Return the part of `patristic_matrix` above the diagonal, row by row, as scipy's ``squareform`` takes it.

        Parameters
        ----------
        names, dtype
            As for `patristic_matrix`.

        Returns
        -------
        (k * (k - 1) / 2,) float array

        Raises
        ------
        UnknownName
            If a name is not in the tree.

        Examples
        --------
        >>> from crosscompat.phylogeny.newick import parse_newick
        >>> parse_newick("((a:1,b:2)x:3,c:4);").patristic_condensed().tolist()
        [3.0, 8.0, 9.0]
        """
        return self._among(names).condensed(dtype)

    def patristic_blocks(
        self, names: Iterable[str] | None = None, *, rows: int = 256, dtype: type = np.float64
    ) -> Iterator[tuple[int, Reals]]:
        """Yield `patristic_matrix` by blocks of rows, for trees whose whole matrix would not fit into memory.

        Parameters
        ----------
        names, dtype
            As for `patristic_matrix`.
        rows : int
            Rows a block; the last may have fewer.

        Yields
        ------
        first : int
            The number of the block's first row.
        block : (rows, k) float array

        Raises
        ------
        UnknownName
            If a name is not in the tree.

        Examples
        --------
        >>> from crosscompat.phylogeny.newick import parse_newick
        >>> tree = parse_newick("((a:1,b:2)x:3,c:4);")
        >>> [(first, block.tolist()) for first, block in tree.patristic_blocks(rows=2)]
        [(0, [[0.0, 3.0, 8.0], [3.0, 0.0, 9.0]]), (2, [[8.0, 9.0, 0.0]])]
        """
        if rows < 1:
            raise ValueError("a block must have at least one row")
        return self._among(names).blocks(rows, dtype)

    def patristic_pairs(self, a: Sequence[str], b: Sequence[str]) -> Floats:
        """Return the distance of each ``a[i]`` to ``b[i]``.

        Parameters
        ----------
        a, b : sequences of m str

        Returns
        -------
        (m,) float array

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        ValueError
            If the two are not of one length.

        Examples
        --------
        >>> tree = Phylogeny.from_arrays([2, 2, -1], [1, 2, 0], ["a", "b", ""])
        >>> tree.patristic_pairs(["a", "b"], ["b", "b"]).tolist()
        [3.0, 0.0]
        """
        return self.patristic_between(*self._lookup.pairs(a, b))

    def patristic_between(self, a: Ints, b: Ints) -> Floats:
        """Return the distance of tip ``a[i]`` to tip ``b[i]``, both by their numbers in ``tips``, as an (m,) array.

        Raises
        ------
        IndexError
            If there is no tip of a number.

        Examples
        --------
        >>> tree = Phylogeny.from_arrays([2, 2, -1], [1, 2, 0], ["a", "b", ""])
        >>> tree.patristic_between(np.array([0, 1]), np.array([1, 1])).tolist()
        [3.0, 0.0]
        """
        return self._pairs(self.root_distance, a, b)

    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of one tip to ``names``, by default to all tips in the order of ``tips``.

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        """
        return distances.from_one(self.root_distance, *self._met_by(a, names))

    def distances_from(self, a: str, names: Iterable[str] | None = None) -> DistancesFrom:
        """Return all three distances of one tip to ``names``, by default to all tips in the order of ``tips``.

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        BadInput
            As `clade`.

        Examples
        --------
        >>> from crosscompat.phylogeny.newick import parse_newick
        >>> found = parse_newick("((a:1,b:2)x:3,c:4);").distances_from("a")
        >>> found.patristic.tolist(), found.nodes.tolist(), found.size.tolist(), found.depth.tolist()
        ([0.0, 3.0, 8.0], [0, 1, 2], [1, 2, 3], [1.0, 0.6666666666666666, 0.0])
        """
        self._check_clades()
        node, others, met = self._met_by(a, names)
        height = self.root_distance
        return DistancesFrom(
            distances.from_one(height, node, others, met),
            _nodes_on_the_way(distances.from_one(self._edge_height, node, others, met)),
            self._held[met],
            relative_depth(height[met], height[others], height[node]),
        )

    def node_distance(self, a: str, b: str) -> int:
        """Return the edges on the path between two tips less one: the nodes on the way; 0 for a tip with itself.

        The root and nodes with a single child count. In a tree marked [&U] a root with exactly two children is only
        where the drawing begins, and does not count.

        Examples
        --------
        >>> Phylogeny.from_arrays([2, 2, -1], [1, 2, 0], ["a", "b", ""]).node_distance("a", "b")
        1
        """
        return max(0, round(self._between(self._edge_height, a, b)) - 1)

    def node_distance_pairs(self, a: Sequence[str], b: Sequence[str]) -> Ints:
        """Return `node_distance` of each ``a[i]`` to ``b[i]``, as an (m,) int array."""
        return _nodes_on_the_way(self._pairs(self._edge_height, *self._lookup.pairs(a, b)))

    def node_distance_matrix(self, names: Iterable[str] | None = None) -> Ints:
        """Return `node_distance` of all ``names`` to each other, as a (k, k) int array."""
        return _nodes_on_the_way(self._among(names, edges=True).matrix(np.float64))

    def clade(self, a: str, b: str) -> Clade:
        """Return the smallest clade that holds two tips.

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        BadInput
            If the tree is marked as unrooted, or has negative branch lengths.

        Examples
        --------
        >>> from crosscompat.phylogeny.newick import parse_newick
        >>> parse_newick("((a:1,b:1)x:3,c:4)Aloe;").clade("a", "b")
        Clade(node=2, size=2, depth=0.75, name='x', members=('a', 'b'))
        """
        found = self.clade_pairs([a], [b])
        node, size = int(found.node[0]), int(found.size[0])
        last = int(np.searchsorted(self.tip_nodes, node, side="right"))
        name = nearest_named(self.parent, self.labels, node)
        return Clade(node, size, float(found.depth[0]), name, self.tips[last - size : last])

    def clade_pairs(self, a: Sequence[str], b: Sequence[str]) -> CladePairs:
        """Return crown node, size and relative depth of the smallest clade of each ``a[i]`` with ``b[i]``.

        Raises
        ------
        UnknownName, BadInput
            As `clade`.
        """
        self._check_clades()
        first, second = self._lookup.pairs(a, b)
        met = self._meeting.of(first, second)
        tip_distance = self.root_distance[self.tip_nodes]
        depth = relative_depth(self.root_distance[met], tip_distance[first], tip_distance[second])
        return CladePairs(met, self._held[met], depth)

    def _between(self, height: Floats, a: str, b: str) -> float:
        low, high = sorted(self._lookup.positions([a, b]).tolist())
        if low == high:
            return 0.0
        tips, met = self.tip_nodes, self._meets[low:high].max()
        return float((height[tips[low]] + height[tips[high]]) - 2.0 * height[met])

    def _pairs(self, height: Floats, a: Ints, b: Ints) -> Floats:
        return distances.pairs(self._meeting, height, self.tip_nodes, a, b)

    def _among(self, names: Iterable[str] | None, *, edges: bool = False) -> Among:
        height, monotone = (self._edge_height, True) if edges else (self.root_distance, not self.has_negative)
        if names is None:
            return Among(height, self.tip_nodes, self._meets, monotone)
        named = self._lookup.positions(names)
        return Among.of(height, self.tip_nodes, self._meets, named, monotone=monotone)

    def _met_by(self, a: str, names: Iterable[str] | None) -> tuple[int, Ints, Ints]:
        """Return the node of one tip, those of ``names`` or of all tips, and where it meets each of them."""
        tip = self._lookup.position(a)
        node, met = int(self.tip_nodes[tip]), met_by_one(self.tip_nodes, self._meets, tip)
        if names is None:
            return node, self.tip_nodes, met
        chosen = self._lookup.positions(names)
        return node, self.tip_nodes[chosen], met[chosen]

    def _check_clades(self) -> None:
        """Refuse to speak of clades where nobody knows what they are."""
        if self.rooted is False:
            raise BadInput([Fault(Place(), say("trees.unrooted.what"), say("trees.unrooted.advice"))])
        if self.has_negative:
            raise BadInput([Fault(Place(), say("trees.negative_depth.what"), say("trees.negative_depth.advice"))])


def _nodes_on_the_way(edges: Floats) -> Ints:
    """Return the nodes between tips that are so many edges apart."""
    return np.maximum(edges.astype(np.int64) - 1, 0)
