"""A phylogenetic tree as immutable arrays, and the distances between its tips."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, Self, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.ground.errors import BadInput, Place, worded
from crosscompat.phylogeny.distances import Distances
from crosscompat.phylogeny.tree_arrays import (
    Floats,
    Ints,
    MrcaTable,
    all_distances,
    content_hash,
    distances_of_one,
    inner_nodes,
    is_postorder,
    pick,
    sums_from_root,
    tips_below,
)

__all__ = ["Clade", "Distances", "Phylogeny"]

_Kind = TypeVar("_Kind", bound=np.generic)


class Clade(NamedTuple):
    """The smallest clade that holds two tips: its crown node, how many tips it holds, and these in postorder.

    ``depth`` is the root distance of the crown node over the mean root distance of the two tips: 0 if they meet at the
    root, near 1 if they parted just now. ``name`` is the lowest named inner node at or above, "" where none is named.
    """

    node: int
    size: int
    depth: float
    name: str
    members: tuple[str, ...]


@dataclass(frozen=True, eq=False, repr=False)
class Phylogeny(Distances):
    """A tree: one entry a node, in postorder, the root last.

    Made by `read_tree`, `parse_newick` or `Phylogeny.from_arrays`, which check it; the arrays cannot be written to.

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
            values: NDArray[np.generic] = np.array(getattr(self, name), dtype=kind)
            object.__setattr__(self, name, _fixed(values))

    def __repr__(self) -> str:
        return f"<Phylogeny of {self.n_tips} tips, unit={self.unit!r}, rooted={self.rooted}>"

    def __reduce__(self) -> tuple[object, ...]:
        return type(self), (self.parent, self.length, self.labels, self.support, self.unit, self.rooted)

    @classmethod
    def from_arrays(
        cls,
        parent: ArrayLike,
        length: ArrayLike,
        labels: Sequence[str],
        support: ArrayLike | None = None,
        *,
        unit: str | None = None,
        rooted: bool | None = None,
    ) -> Self:
        """Make a tree from (n,) arrays in postorder and check it.

        Raises
        ------
        ValueError, BadInput
            If the arrays are no tree in postorder or not of one size, or a length is infinite, or missing off the root;
            if two tips have the same name after folding.

        Examples
        --------
        >>> Phylogeny.from_arrays([2, 2, -1], [1, 2, np.nan], ["a", "b", ""]).tips
        ('a', 'b')
        """
        above = np.asarray(parent, dtype=np.int64)
        given = np.full(above.size, np.nan) if support is None else np.asarray(support, dtype=np.float64)
        lengths = np.asarray(length, dtype=np.float64)
        if not above.size == lengths.size == given.size == len(labels):
            raise ValueError("parent, length, labels and support must be of one size")
        if not is_postorder(above):
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

    @cached_property
    def tip_nodes(self) -> Ints:
        """The numbers of the nodes that are tips, ascending: a (k,) array."""
        return _fixed(np.flatnonzero(~inner_nodes(self.parent)))

    @cached_property
    def tips(self) -> tuple[str, ...]:
        """The labels of the tips as written, in postorder."""
        return tuple(self.labels[node] for node in self.tip_nodes.tolist())

    @cached_property
    def level(self) -> Ints:
        """Edges between each node and the root: an (n,) array."""
        return _fixed(sums_from_root(self.parent, np.ones(self.n_nodes)).astype(np.int64))

    @cached_property
    def root_distance(self) -> Floats:
        """Sum of branch lengths between the root and each node, an (n,) array; the root's own edge never counts."""
        return _fixed(sums_from_root(self.parent, self.length))

    @cached_property
    def has_negative(self) -> bool:
        """Whether a branch other than the root's has a negative length."""
        return bool((self.length[:-1] < 0).any())

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over shape, branch lengths, labels, unit and rooting, in hexadecimal.

        The same on every machine. The order of children, support values and the root's own edge do not matter: a node
        is known by its lowest-sorting tip and its level, which no two nodes share.
        """
        rank = np.full(self.n_nodes, self.n_tips)
        rank[self.tip_nodes[sorted(range(self.n_tips), key=self.tips.__getitem__)]] = np.arange(self.n_tips)
        lowest, above = rank.tolist(), self.parent.tolist()
        for node in range(self.n_nodes - 1):
            lowest[above[node]] = min(lowest[above[node]], lowest[node])
        order = np.lexsort((self.level, lowest))
        place = np.full(self.n_nodes + 1, -1)
        place[order] = np.arange(self.n_nodes)
        lengths = np.append(self.length[:-1], 0.0)
        words = ["tree", self.unit or "", str(self.rooted), *(self.labels[node] for node in order.tolist())]
        return content_hash(words, place[self.parent[order]], lengths[order])

    @cached_property
    def _held(self) -> Ints:
        return tips_below(self.parent)

    @cached_property
    def _meets(self) -> Ints:
        """Where each tip meets the next: the parent of the last node that is written before the next tip."""
        return self.parent[self.tip_nodes[1:] - 1]

    @cached_property
    def _mrca_table(self) -> MrcaTable:
        return MrcaTable(self.tip_nodes, self._meets)

    @cached_property
    def _edge_height(self) -> Floats:
        edge, at_root = np.ones(self.n_nodes), np.flatnonzero(self.parent == self.n_nodes - 1)
        if self.rooted is False and at_root.size == 2:  # noqa: PLR2004 - two edges at a root that is no node are one
            edge[at_root[0]] = 0.0
        return sums_from_root(self.parent, edge)

    def tips_under(self, node: int) -> Ints:
        """Return the numbers, in ``tips``, of the k tips that a node holds, as a (k,) array; a tip holds itself."""
        stop = int(np.searchsorted(self.tip_nodes, node, side="right"))
        return np.arange(stop - int(self._held[node]), stop)

    def mrca(self, names: Iterable[str]) -> int:
        """Return the crown node of the smallest clade that holds some tips, for one tip its own node.

        Examples
        --------
        >>> tree = Phylogeny.from_arrays([2, 2, 4, 4, -1], [1, 1, 1, 2, 0], ["a", "b", "", "c", ""])
        >>> tree.mrca(["a", "b"]), tree.tips_under(2).tolist()
        (2, [0, 1])
        """
        tips = self.positions(names)
        low, high = int(tips.min()), int(tips.max())
        return int(self._meets[low:high].max(initial=self.tip_nodes[low]))

    def patristic_matrix(self, names: Iterable[str] | None = None) -> Floats:
        """Return what `Distances.patristic_matrix` does; a name may come twice."""
        return self._matrix(self.root_distance, names)

    def patristic_blocks(self, names: Iterable[str] | None = None, *, rows: int = 256) -> Iterator[tuple[int, Floats]]:
        """Return `patristic_matrix` by blocks of rows, for trees whose whole matrix would not fit into memory.

        Each is the number of its first row and a (rows, k) array, the last with fewer rows; a `ValueError` at 0 rows.
        """
        tip_nodes, meets, places = self._chosen(names)

        def block(first: int) -> Floats:
            tips = places[first : first + rows].tolist()
            return np.array([distances_of_one(self.root_distance, tip_nodes, meets, tip)[places] for tip in tips])

        return ((first, block(first)) for first in range(0, places.size, rows))

    def patristic_between(self, a: Ints, b: Ints) -> Floats:
        """Return what `Distances.patristic_between` does; an `IndexError` says that there is no tip of a number."""
        met, height = self._mrca_table.of(a, b), self.root_distance
        lengths: Floats = (height[self.tip_nodes[a]] + height[self.tip_nodes[b]]) - 2.0 * height[met]
        return lengths

    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return what `Distances.patristic_from` does."""
        lengths = distances_of_one(self.root_distance, self.tip_nodes, self._meets, self.position(a))
        return lengths if names is None else lengths[self.positions(names)]

    def node_distance(self, a: str, b: str) -> int:
        """Return the nodes on the path between two tips, 0 for a tip with itself.

        The root counts, but not with two children in a tree marked [&U]; so do nodes with a single child.
        """
        return int(self.node_distance_matrix([a, b])[0, 1])

    def node_distance_matrix(self, names: Iterable[str] | None = None) -> Ints:
        """Return `node_distance` of k names, by default of all tips, to each other, as a (k, k) array."""
        return np.maximum(self._matrix(self._edge_height, names).astype(np.int64) - 1, 0)

    def clade(self, a: str, b: str) -> Clade:
        """Return the smallest clade that holds two tips; a `BadInput` if the tree is unrooted or has negative lengths.

        Examples
        --------
        >>> from crosscompat.phylogeny.newick import parse_newick
        >>> parse_newick("((a:1,b:1)x:3,c:4)Aloe;").clade("a", "b")
        Clade(node=2, size=2, depth=0.75, name='x', members=('a', 'b'))
        """
        if self.rooted is False or self.has_negative:
            raise BadInput([worded("trees", "unrooted" if self.rooted is False else "negative_depth", Place())])
        node = self.mrca([a, b])
        ends = self.root_distance[self.tip_nodes[self.positions([a, b])]]
        depth = float(self.root_distance[node] / ends.mean()) if ends.any() else 1.0
        members = tuple(self.tips[tip] for tip in self.tips_under(node).tolist())
        return Clade(node, len(members), depth, self._group_of(node), members)

    def _group_of(self, node: int) -> str:
        while node >= 0 and not (self.labels[node] and (self.parent == node).any()):
            node = int(self.parent[node])
        return self.labels[node] if node >= 0 else ""

    def _chosen(self, names: Iterable[str] | None) -> tuple[Ints, Ints, Ints]:
        """Return the nodes of the tips named, each once and ascending, where they meet, and which is each name's."""
        chosen, places = np.unique(self.positions(names), return_inverse=True)
        return self.tip_nodes[chosen], pick(self._meets, chosen), places

    def _matrix(self, height: Floats, names: Iterable[str] | None) -> Floats:
        tip_nodes, meets, places = self._chosen(names)
        matrix = all_distances(height, tip_nodes, meets)
        in_order = np.array_equal(places, np.arange(tip_nodes.size))
        return matrix if in_order else matrix[np.ix_(places, places)]


def _fixed(values: NDArray[_Kind]) -> NDArray[_Kind]:
    """Make an array read-only."""
    values.setflags(write=False)
    return values
