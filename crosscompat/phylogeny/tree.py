"""A phylogenetic tree as immutable arrays, and the distances between its tips."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from crosscompat.errors import BadInput, Fault, Place
from crosscompat.phylogeny import distances
from crosscompat.phylogeny.clades import Clade, CladePairs, nearest_named, relative_depth
from crosscompat.phylogeny.known import Distances
from crosscompat.phylogeny.lookup import Lookup
from crosscompat.phylogeny.postorder import (
    Floats,
    Ints,
    edges_to_root,
    inner_nodes,
    parents_from_depth,
    sums_from_root,
    tips_below,
)
from crosscompat.wording import say

if TYPE_CHECKING:
    import numpy.typing as npt

    from crosscompat.names import NameIndex

__all__ = ["Distances", "Phylogeny"]

_Kind = TypeVar("_Kind", bound=np.generic)


@dataclass(frozen=True, eq=False, repr=False)
class Phylogeny:
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

    parent: Ints
    length: Floats
    labels: tuple[str, ...]
    support: Floats
    unit: str | None = None
    rooted: bool | None = None

    def __post_init__(self) -> None:
        for name, kind in (("parent", np.int64), ("length", np.float64), ("support", np.float64)):
            values: npt.NDArray[np.generic] = np.array(getattr(self, name), dtype=kind)
            values.setflags(write=False)
            object.__setattr__(self, name, values)

    def __repr__(self) -> str:
        return f"<Phylogeny of {self.n_tips} tips, unit={self.unit!r}, rooted={self.rooted}>"

    def __reduce__(self) -> tuple[object, ...]:
        return type(self), (self.parent, self.length, self.labels, self.support, self.unit, self.rooted)

    @classmethod
    def from_arrays(
        cls,
        parent: npt.ArrayLike,
        length: npt.ArrayLike,
        labels: Sequence[str],
        support: npt.ArrayLike | None = None,
        *,
        unit: str | None = None,
        rooted: bool | None = None,
    ) -> Phylogeny:
        """Make a tree from arrays in postorder and check it.

        Raises
        ------
        ValueError
            If the arrays are no tree in postorder or not of one size, or a length is infinite, or missing off the root.
        BadInput
            If two tips have the same name after folding.

        Examples
        --------
        >>> Phylogeny.from_arrays([2, 2, -1], [1, 2, np.nan], ["a", "b", ""]).patristic("a", "b")
        3.0
        """
        above = np.asarray(parent, dtype=np.int64)
        given = np.full(above.size, np.nan) if support is None else np.asarray(support, dtype=np.float64)
        lengths = np.asarray(length, dtype=np.float64)
        if not above.size == lengths.size == given.size == len(labels):
            raise ValueError("parent, length, labels and support must be of one size")
        if not _is_postorder(above):
            raise ValueError("parent must describe one tree in postorder, the root last")
        if not np.isfinite(lengths[:-1]).all() or np.isinf(lengths[-1]):
            raise ValueError("every length off the root must be a finite number")
        tree = cls(above, lengths, tuple(labels), given, unit, rooted)
        _ = tree.index
        return tree

    @property
    def n_nodes(self) -> int:
        """How many nodes there are, tips included."""
        return self.parent.size

    @property
    def n_tips(self) -> int:
        """How many tips there are."""
        return self.tip_nodes.size

    @cached_property
    def tip_nodes(self) -> Ints:
        """The numbers of the nodes that are tips, ascending."""
        return _fixed(np.flatnonzero(~inner_nodes(self.parent)))

    @cached_property
    def tips(self) -> tuple[str, ...]:
        """The labels of the tips as written, in postorder."""
        return tuple(self.labels[node] for node in self.tip_nodes.tolist())

    @cached_property
    def level(self) -> Ints:
        """Edges between each node and the root."""
        return _fixed(edges_to_root(self.parent))

    @cached_property
    def root_distance(self) -> Floats:
        """Sum of branch lengths between the root and each node; the root's own edge never counts."""
        return _fixed(sums_from_root(self.parent, self.level, self.length))

    @cached_property
    def has_negative(self) -> bool:
        """Whether a branch other than the root's has a negative length."""
        return bool((self.length[:-1] < 0).any())

    @property
    def index(self) -> NameIndex:
        """The tips as plant names."""
        return self._lookup.index

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over shape, branch lengths, labels, unit and rooting, in hexadecimal.

        The same on every machine. The order of children, support values and the root's own edge do not matter.
        """
        from crosscompat.phylogeny.fingerprint import of_tree  # noqa: PLC0415 - hashing is seldom asked for

        return of_tree(self)

    @cached_property
    def _lookup(self) -> Lookup:
        return Lookup(self.tips)

    @cached_property
    def _meets(self) -> Ints:
        return distances.neighbour_meets(self.parent, self.tip_nodes)

    @cached_property
    def _meeting(self) -> distances.Meeting:
        return distances.Meeting(self.tip_nodes, self._meets)

    @cached_property
    def _edge_height(self) -> Floats:
        edge = distances.crossing_edges(self.parent, root_counts=self.rooted is not False)
        return sums_from_root(self.parent, self.level, edge)

    @cached_property
    def _held(self) -> Ints:
        return tips_below(self.parent, self.level)

    def tips_under(self, node: int) -> Ints:
        """Return the numbers, in ``tips``, of the tips that a node holds; a tip holds itself.

        Examples
        --------
        >>> Phylogeny.from_arrays([2, 2, 4, 4, -1], [1, 1, 1, 2, 0], ["a", "b", "", "c", ""]).tips_under(2).tolist()
        [0, 1]
        """
        stop = int(np.searchsorted(self.tip_nodes, node, side="right"))
        return np.arange(stop - int(self._held[node]), stop)

    def patristic(self, a: str, b: str) -> float:
        """Return the sum of branch lengths on the path between two tips, in the tree's unit.

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        """
        return float(self._between(self.root_distance, a, b))

    def patristic_matrix(self, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of all ``names`` to each other, in their order.

        Parameters
        ----------
        names : iterable of k str, optional
            Default: all tips, in the order of ``tips``. A name may come twice.

        Returns
        -------
        (k, k) float array

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        """
        return self._matrix(self.root_distance, names, monotone=not self.has_negative)

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
        return self._pairs(self.root_distance, *self._lookup.pairs(a, b))

    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of one tip to ``names``, by default to all tips in the order of ``tips``.

        Raises
        ------
        UnknownName
            If a name is not in the tree.
        """
        row = distances.from_one(self.root_distance, self.tip_nodes, self._meets, self._lookup.position(a))
        return row if names is None else row[self._lookup.positions(names)]

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
        edges = self._pairs(self._edge_height, *self._lookup.pairs(a, b))
        return np.maximum(edges.astype(np.int64) - 1, 0)

    def node_distance_matrix(self, names: Iterable[str] | None = None) -> Ints:
        """Return `node_distance` of all ``names`` to each other, as a (k, k) int array."""
        edges = self._matrix(self._edge_height, names, monotone=True)
        return np.maximum(edges.astype(np.int64) - 1, 0)

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
        if self.rooted is False:
            raise BadInput([Fault(Place(), say("trees.unrooted.what"), say("trees.unrooted.advice"))])
        if self.has_negative:
            raise BadInput([Fault(Place(), say("trees.negative_depth.what"), say("trees.negative_depth.advice"))])
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

    def _matrix(self, height: Floats, names: Iterable[str] | None, *, monotone: bool) -> Floats:
        if names is None:
            return distances.all_pairs(height, self.tip_nodes, self._meets, monotone=monotone)
        chosen, back = np.unique(self._lookup.positions(names), return_inverse=True)
        meets = distances.pick(self._meets, chosen)
        among = distances.all_pairs(height, self.tip_nodes[chosen], meets, monotone=monotone)
        return among[np.ix_(back, back)]


def _fixed(values: npt.NDArray[_Kind]) -> npt.NDArray[_Kind]:
    """Make an array read-only."""
    values.setflags(write=False)
    return values


def _is_postorder(parent: Ints) -> bool:
    """Say whether ``parent`` is one tree in true postorder: built again from its levels it is the same."""
    node = np.arange(parent.size)
    if not parent.size or parent[-1] != -1 or not (parent[:-1] > node[:-1]).all() or parent.max() >= parent.size:
        return False
    level, inner = edges_to_root(parent), inner_nodes(parent)
    if not np.where(inner[1:], parent[:-1] == node[1:], level[1:] >= level[:-1]).all():
        return False
    return bool(np.array_equal(parents_from_depth(level, inner), parent))
