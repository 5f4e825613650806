"""From a name to the place of its label: the label as it stands first, then as it folds, then as a plant name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import repeat

import numpy as np

from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import NameIndex, fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.text_source import SHOWN
from crosscompat.phylogeny.types import Ints

__all__ = ["NameLookup"]


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

    def position(self, name: str) -> int:
        """Return the place of one name.

        Raises
        ------
        UnknownName
            If no label answers to it.
        """
        place = self._written(name)
        return self._exact[self.index.resolve(name)] if place is None else place

    def positions(self, names: Iterable[str]) -> Ints:
        """Return the place of each of k names, in the order given, as a (k,) array.

        Raises
        ------
        UnknownName
            Naming all that no label answers to.
        """
        given = names if isinstance(names, list | tuple) else list(names)
        places = np.fromiter(map(self._exact.get, given, repeat(-1)), np.int64, len(given))
        unknown: dict[str, UnknownName] = {}
        others: dict[str, int] = {}
        rest = np.flatnonzero(places < 0).tolist()
        for name in dict.fromkeys(given[at] for at in rest):
            try:
                others[name] = self.position(name) if len(unknown) < SHOWN else self._known(name)
            except UnknownName as error:
                unknown[name] = error
        if unknown:
            raise _together(list(unknown.values()))
        places[rest] = [others[given[at]] for at in rest]
        return places

    def pairs(self, a: Sequence[str], b: Sequence[str]) -> tuple[Ints, Ints]:
        """Return the places of two lists of m names, as (m,) arrays.

        Raises
        ------
        UnknownName
            Naming all that no label answers to.
        ValueError
            If the two are not of one length.
        """
        if len(a) != len(b):
            raise ValueError("the two lists of names must be of one length")
        places = self.positions([*a, *b])
        return places[: len(a)], places[len(a) :]

    def _written(self, name: str) -> int | None:
        place = self._exact.get(name)
        return self._folded.get(fold(name)) if place is None else place

    def _known(self, name: str) -> int:
        """Return the place of a name without looking for the nearest ones, which takes long."""
        place = self._written(name)
        label = self.index.find(name) if place is None else self._labels[place]
        if label is None:
            raise UnknownName("", name)
        return self._exact[label]


def _together(unknown: Sequence[UnknownName]) -> UnknownName:
    """Return one error that names all the names, the first of them in full."""
    first, more = unknown[0], len(unknown) - SHOWN
    if len(unknown) == 1:
        return first
    sentences = [str(error) for error in unknown[:SHOWN]]
    if more > 0:
        sentences.append(say("names.unknown_more", n=more))
    return UnknownName("\n".join(sentences), first.name, first.nearest)
