"""From a name to the place of its label: the label as it stands first, then as it folds, then as a plant name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import repeat

import numpy as np

from crosscompat.names import NameIndex, fold
from crosscompat.phylogeny.postorder import Ints

__all__ = ["Lookup"]


class Lookup:
    """Finds where each of a fixed row of labels stands.

    Examples
    --------
    >>> Lookup(("Aloe_vera", "Aloe ferox")).positions(["Aloe vera", "Aloe_ferox", "Aloe_vera"]).tolist()
    [0, 1, 0]
    """

    def __init__(self, labels: Sequence[str]) -> None:
        self._labels = tuple(labels)
        self._exact = {label: place for place, label in enumerate(self._labels)}

    @cached_property
    def _folded(self) -> dict[str, int]:
        return {fold(label): place for place, label in enumerate(self._labels)}

    @cached_property
    def index(self) -> NameIndex:
        """The labels as plant names."""
        return NameIndex(self._labels)

    def position(self, name: str) -> int:
        """Return the place of one name.

        Raises
        ------
        UnknownName
            If no label answers to it.
        """
        place = self._exact.get(name)
        if place is None:
            place = self._folded.get(fold(name))
        return self._exact[self.index.resolve(name)] if place is None else place

    def positions(self, names: Iterable[str]) -> Ints:
        """Return the place of each name, in the order given.

        Raises
        ------
        UnknownName
            At the first name that no label answers to.
        """
        given = list(names)
        found = np.fromiter(map(self._exact.get, given, repeat(-1)), np.int64, len(given))
        other: dict[str, int] = {}
        for i in np.flatnonzero(found < 0).tolist():
            name = given[i]
            if name not in other:
                other[name] = self.position(name)
            found[i] = other[name]
        return found

    def pairs(self, a: Sequence[str], b: Sequence[str]) -> tuple[Ints, Ints]:
        """Return the places of two lists of names.

        Raises
        ------
        UnknownName
            At the first name that no label answers to.
        ValueError
            If the two are not of one length.
        """
        first, second = self.positions(a), self.positions(b)
        if first.size != second.size:
            raise ValueError("the two lists of names must be of one length")
        return first, second
