"""Kinds of arrays, and what is known of how far apart species stand, whether from a tree or from a table."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from crosscompat.ground.names import NameIndex

__all__ = ["Bools", "Distances", "Floats", "Ints", "content_hash"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


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
        """Return all distances among k names, as a (k, k) array."""

    def patristic_pairs(self, a: Sequence[str], b: Sequence[str]) -> Floats:
        """Return the distance of each ``a[i]`` to ``b[i]``, as an (m,) array."""

    def patristic_between(self, a: Ints, b: Ints) -> Floats:
        """Return the distance of each tip ``a[i]`` to ``b[i]``, by their numbers in ``tips``, as an (m,) array."""

    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of one tip to k names, as a (k,) array."""


def content_hash(words: Iterable[str], whole: Ints, real: Floats) -> str:
    """Return the SHA-256 of words and numbers in hexadecimal, the same between runs and machines."""
    digest = hashlib.sha256()
    for word in words:
        content = word.encode("utf-8")
        digest.update(len(content).to_bytes(8, "little") + content)
    digest.update(whole.astype("<i8").tobytes())
    digest.update((real + 0.0).astype("<f8").tobytes())  # adding zero turns -0.0 into 0.0
    return digest.hexdigest()
