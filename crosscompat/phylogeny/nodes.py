"""A phylogenetic tree as immutable arrays: its nodes, and what follows from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Self, TypeVar

import numpy as np

from crosscompat.phylogeny.name_lookup import NameLookup
from crosscompat.phylogeny.postorder import (
    Floats,
    Ints,
    edges_to_root,
    inner_nodes,
    is_postorder,
    sums_from_root,
    tips_below,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    from crosscompat.ground.names import NameIndex

__all__ = ["TreeNodes", "fixed"]

_Kind = TypeVar("_Kind", bound=np.generic)


@dataclass(frozen=True, eq=False, repr=False)
class TreeNodes:
    """One entry a node, in postorder, the root last; see `Phylogeny` for what the attributes hold."""

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
    ) -> Self:
        """Make a tree from arrays in postorder and check it.

        Raises
        ------
        ValueError
            If the arrays are no tree in postorder or not of one size, or a length is infinite, or missing off the root.
        BadInput
            If two tips have the same name after folding.

        Examples
        --------
        >>> TreeNodes.from_arrays([2, 2, -1], [1, 2, np.nan], ["a", "b", ""]).tips
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

    @property
    def n_tips(self) -> int:
        """How many tips there are."""
        return self.tip_nodes.size

    @cached_property
    def tip_nodes(self) -> Ints:
        """The numbers of the nodes that are tips, ascending."""
        return fixed(np.flatnonzero(~inner_nodes(self.parent)))

    @cached_property
    def tips(self) -> tuple[str, ...]:
        """The labels of the tips as written, in postorder."""
        return tuple(self.labels[node] for node in self.tip_nodes.tolist())

    @cached_property
    def level(self) -> Ints:
        """Edges between each node and the root."""
        return fixed(edges_to_root(self.parent))

    @cached_property
    def root_distance(self) -> Floats:
        """Sum of branch lengths between the root and each node; the root's own edge never counts."""
        return fixed(sums_from_root(self.parent, self.level, self.length))

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
    def _lookup(self) -> NameLookup:
        return NameLookup(self.tips)

    @cached_property
    def _held(self) -> Ints:
        return tips_below(self.parent, self.level)

    def tips_under(self, node: int) -> Ints:
        """Return the numbers, in ``tips``, of the tips that a node holds; a tip holds itself.

        Examples
        --------
        >>> TreeNodes.from_arrays([2, 2, 4, 4, -1], [1, 1, 1, 2, 0], ["a", "b", "", "c", ""]).tips_under(2).tolist()
        [0, 1]
        """
        stop = int(np.searchsorted(self.tip_nodes, node, side="right"))
        return np.arange(stop - int(self._held[node]), stop)


def fixed(values: npt.NDArray[_Kind]) -> npt.NDArray[_Kind]:
    """Make an array read-only."""
    values.setflags(write=False)
    return values
