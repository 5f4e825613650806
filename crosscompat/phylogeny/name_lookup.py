"""From a name to the place of its label: the label as it stands first, then as it folds, then as a plant name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import repeat

import numpy as np

from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import NameIndex, fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.postorder import Ints
from crosscompat.phylogeny.spans import Bytes, SpanIndex, spans_of
from crosscompat.phylogeny.text_source import SHOWN

__all__ = ["NameLookup"]

_MANY, _LARGE = 16_384, 16_384
"""So many names among so many labels are looked up by their bytes: a dictionary of that size outgrows the cache."""


class NameLookup:
    """Finds where each of a fixed row of labels stands.

    Examples
    --------
    >>> NameLookup(("Aloe_vera", "Aloe ferox")).positions(["Aloe vera", "Aloe_ferox", "Aloe_vera"]).tolist()
    [0, 1, 0]
    """

    def __init__(self, labels: Sequence[str]) -> None:
        self._labels = tuple(labels)

    @cached_property
    def _exact(self) -> dict[str, int]:
        return {label: place for place, label in enumerate(self._labels)}

    @cached_property
    def _folded(self) -> dict[str, int]:
        return {fold(label): place for place, label in enumerate(self._labels)}

    @cached_property
    def index(self) -> NameIndex:
        """The labels as plant names."""
        return NameIndex(self._labels)

    @cached_property
    def _spans(self) -> SpanIndex:
        return SpanIndex(self._labels)

    @cached_property
    def _folded_spans(self) -> SpanIndex:
        return SpanIndex([fold(label) for label in self._labels])

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
            Naming all that no label answers to.
        """
        given = names if isinstance(names, list | tuple) else list(names)
        found = self._written_as_known(given)
        other: dict[str, int] = {}
        unknown: dict[str, UnknownName] = {}
        for i in np.flatnonzero(found < 0).tolist():
            name = given[i]
            if name not in other and name not in unknown:
                self._settle(name, other, unknown)
            found[i] = other.get(name, -1)
        if unknown:
            raise _together(list(unknown.values()))
        return found

    def in_spans(self, content: Bytes, start: Ints, stop: Ints) -> Ints:
        """Return the place of the name in each span of a text in UTF-8, -1 where no label is written so.

        Underscores and spaces count as the same.

        Examples
        --------
        >>> content = np.frombuffer(b"Aloe vera,Aloe rara", dtype=np.uint8)
        >>> NameLookup(("Aloe_vera", "Aloe ferox")).in_spans(content, np.array([0, 10]), np.array([9, 19])).tolist()
        [0, -1]
        """
        found = self._spans.find(content, start, stop)
        other = np.flatnonzero(found < 0)
        if other.size:
            found[other] = self._folded_spans.find(content, start[other], stop[other])
        return found

    def _written_as_known(self, given: Sequence[str]) -> Ints:
        """Return the place of each name that is written as a label is, -1 for the others."""
        if len(given) < _MANY or len(self._labels) < _LARGE:
            return np.fromiter(map(self._exact.get, given, repeat(-1)), np.int64, len(given))
        pieces = [self.in_spans(*spans_of(given[first : first + _MANY])) for first in range(0, len(given), _MANY)]
        return np.concatenate(pieces)

    def _settle(self, name: str, found: dict[str, int], unknown: dict[str, UnknownName]) -> None:
        if len(unknown) >= SHOWN:  # to look for the nearest names takes long
            try:
                found[name] = self._exact[self.index.find(name) or ""]
            except (KeyError, UnknownName):
                unknown[name] = UnknownName("", name)
            return
        try:
            found[name] = self.position(name)
        except UnknownName as error:
            unknown[name] = error

    def pairs(self, a: Sequence[str], b: Sequence[str]) -> tuple[Ints, Ints]:
        """Return the places of two lists of names.

        Raises
        ------
        UnknownName
            Naming all that no label answers to.
        ValueError
            If the two are not of one length.
        """
        if len(a) != len(b):
            raise ValueError("the two lists of names must be of one length")
        found = self.positions([*a, *b])
        return found[: len(a)], found[len(a) :]


def _together(unknown: Sequence[UnknownName]) -> UnknownName:
    """Return one error that names all the names, the first of them in full."""
    first, more = unknown[0], len(unknown) - SHOWN
    if len(unknown) == 1:
        return first
    told = [str(error) for error in unknown[:SHOWN]]
    if more > 0:
        told.append(say("names.unknown_more", n=more))
    return UnknownName("\n".join(told), first.name, first.nearest)
