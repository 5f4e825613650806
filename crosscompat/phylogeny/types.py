"""What is known of how far apart species stand, whether from a tree or from a table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Protocol

from crosscompat.phylogeny.postorder import Floats, Ints

if TYPE_CHECKING:
    from crosscompat.ground.names import NameIndex

__all__ = ["Distances"]


class Distances(Protocol):
    """What a tree and a table of distances have in common."""

    @property
    def tips(self) -> tuple[str, ...]:
        """The labels, as written."""

    @property
    def unit(self) -> str | None:
        """What a distance of 1 means; None where nobody said."""

    @property
    def index(self) -> NameIndex:
        """The labels as plant names."""

    @property
    def fingerprint(self) -> str:
        """A number for the content, the same on every machine."""

    def patristic(self, a: str, b: str) -> float:
        """Return the distance of two tips."""

    def patristic_matrix(self, names: Iterable[str] | None = None) -> Floats:
        """Return all distances among ``names``."""

    def patristic_pairs(self, a: Sequence[str], b: Sequence[str]) -> Floats:
        """Return the distance of each ``a[i]`` to ``b[i]``."""

    def patristic_between(self, a: Ints, b: Ints) -> Floats:
        """Return the distance of each tip ``a[i]`` to ``b[i]``, both by their numbers in ``tips``."""

    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of one tip to ``names``."""
