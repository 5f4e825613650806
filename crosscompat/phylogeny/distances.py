"""How far apart species stand, by their names: as they stand, as they fold, or as plant names."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import repeat

import numpy as np

from crosscompat.ground.errors import SHOWN, UnknownName
from crosscompat.ground.names import NameIndex, fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.tree_arrays import Floats, Ints


class Distances(ABC):
    """How far apart species stand, whether a tree or a table says so.

    Where a method takes names, a label may be written with underscores or spaces, or as a plant name; a name that is
    not there raises `UnknownName`.
    """

    @property
    @abstractmethod
    def tips(self) -> tuple[str, ...]:
        """The labels, as written."""

    @property
    @abstractmethod
    def unit(self) -> str | None:
        """What a distance of 1 means; None where nobody said."""

    @property
    @abstractmethod
    def fingerprint(self) -> str:
        """SHA-256 of the content in hexadecimal, the same on every machine."""

    @abstractmethod
    def patristic_between(self, a: Ints, b: Ints) -> Floats:
        """Return the distance of tip ``a[i]`` to tip ``b[i]``, both by their numbers in ``tips``, as an (m,) array."""

    @abstractmethod
    def patristic_matrix(self, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of k names, by default of all tips, to each other in their order, as a (k, k) array."""

    @abstractmethod
    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of one tip to k names, by default to all tips, as a (k,) array."""

    @property
    def n_tips(self) -> int:
        """How many tips there are."""
        return len(self.tips)

    @cached_property
    def index(self) -> NameIndex:
        """The tips as plant names."""
        return NameIndex(self.tips)

    @cached_property
    def _exact(self) -> dict[str, int]:
        return {label: place for place, label in enumerate(self.tips)}

    @cached_property
    def _folded(self) -> dict[str, int]:
        return {fold(label): place for place, label in enumerate(self.tips)}

    def position(self, name: str, *, nearest: bool = True) -> int:
        """Return the number of one tip, or raise `UnknownName`, with the ``nearest`` labels, which takes long."""
        place = self._exact.get(name)
        place = self._folded.get(fold(name)) if place is None else place
        if place is not None:
            return place
        label = self.index.resolve(name) if nearest else self.index.find(name)
        if label is None:
            raise UnknownName("", name)
        return self._exact[label]

    def positions(self, names: Iterable[str] | None = None) -> Ints:
        """Return the numbers of k tips, by default of all, or raise one `UnknownName` of all names that are not there.

        Examples
        --------
        >>> from crosscompat.phylogeny.newick import parse_newick
        >>> parse_newick("(Aloe_vera:1,'Aloe ferox':1);").positions(["Aloe vera", "Aloe_ferox", "Aloe_vera"]).tolist()
        [0, 1, 0]
        """
        if names is None:
            return np.arange(self.n_tips)
        given = names if isinstance(names, list | tuple) else list(names)
        places = np.fromiter(map(self._exact.get, given, repeat(-1)), np.int64, len(given))
        unknown: dict[str, UnknownName] = {}
        others: dict[str, int] = {}
        rest = np.flatnonzero(places < 0).tolist()
        for name in dict.fromkeys(given[at] for at in rest):
            try:
                others[name] = self.position(name, nearest=len(unknown) < SHOWN)
            except UnknownName as error:
                unknown[name] = error
        if unknown:
            raise _together(list(unknown.values()))
        places[rest] = [others[given[at]] for at in rest]
        return places

    def patristic(self, a: str, b: str) -> float:
        """Return the distance of two tips; on a tree, the sum of branch lengths on the path between them."""
        return float(self.patristic_pairs([a], [b])[0])

    def patristic_pairs(self, a: Sequence[str], b: Sequence[str]) -> Floats:
        """Return the distance of each ``a[i]`` to ``b[i]``, as an (m,) array; a `ValueError` if lengths differ."""
        if len(a) != len(b):
            raise ValueError("the two lists of names must be of one length")
        places = self.positions([*a, *b])
        return self.patristic_between(places[: len(a)], places[len(a) :])


def _together(unknown: Sequence[UnknownName]) -> UnknownName:
    """Return one error that names all the names, the first of them in full."""
    first, more = unknown[0], len(unknown) - SHOWN
    if len(unknown) == 1:
        return first
    sentences = [str(error) for error in unknown[:SHOWN]]
    if more > 0:
        sentences.append(say("names.unknown_more", n=more))
    return UnknownName("\n".join(sentences), first.name, first.nearest)
