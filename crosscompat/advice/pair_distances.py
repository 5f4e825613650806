"""How far apart the two of each pair in a big table stand, written beside them block by block."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import BinaryIO, Literal, TypeAlias

import numpy as np

from crosscompat.advice.parents import find_parent
from crosscompat.book.appended import appended
from crosscompat.book.pair_lines import PairBlock, PairTable
from crosscompat.collection.opening import Collection
from crosscompat.ground.csv_cells import raise_faults
from crosscompat.ground.errors import BadInput, Fault, Place, UnknownName
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say
from crosscompat.phylogeny.name_lookup import NameLookup
from crosscompat.phylogeny.postorder import Floats, Ints
from crosscompat.phylogeny.text_source import SHOWN

__all__ = ["COLUMN", "PairDistances", "write_distances"]

COLUMN = "distance"

_Asked: TypeAlias = tuple[str, str | None]
"""A name, and the genus that its abbreviation stands for."""


@dataclass(frozen=True, slots=True)
class PairDistances:
    """What was written.

    Attributes
    ----------
    pairs : int
        Rows with a distance.
    unit : str or None
        What a distance of 1 means; null where nobody said.
    tree : str
        What the tree, or the table of distances, is called.
    file : str or None
        Where it was written to; null for standard output.
    """

    pairs: int
    unit: str | None
    tree: str
    file: str | None = None
    schema: Literal["crosscompat.distances/1"] = "crosscompat.distances/1"


def write_distances(
    collection: Collection,
    table: PairTable,
    stream: BinaryIO,
    watch: Callable[[Iterable[PairBlock]], Iterable[PairBlock]] = iter,
) -> PairDistances:
    """Write a table of pairs with one column more: the distance of the two, in the unit of the tree.

    Rows stay as they are written, but blank ones are left out. Names are found as `find_parent` finds them. A distance
    has 12 figures. No more than a block is held at a time.

    Parameters
    ----------
    stream : binary file
        Of no use if anything is raised.
    watch : callable
        Passes the blocks on and shows how far it is.

    Raises
    ------
    BadInput
        With every fault of the table: rows with too many or too few cells, names that are missing or unknown, pairs of
        which the distance is not known. A name that comes again and again is told once, with the number of rows.
    """
    faults: list[Fault] = []
    sides = _Sides(collection, table)
    stream.write(table.header + table.separator + COLUMN.encode() + table.line_end)
    pairs = 0
    for block in watch(table.blocks(faults)):
        seed, pollen = sides.of(block)
        if faults or sides.wrong:
            continue
        try:
            apart = sides.apart(seed, pollen)
        except BadInput as error:
            faults += error.faults
            continue
        rows = block.rows
        text = appended(block.content, rows.start, rows.stop, apart, before=table.separator, after=table.line_end)
        stream.write(text.data)
        pairs += apart.size
    raise_faults([*faults, *sides.faults()])
    return PairDistances(pairs, collection.distances.unit, collection.tree_name)


@dataclass(slots=True)
class _Wrong:
    """A name that nothing answers to: where it stands first, and in how many rows more."""

    fault: Fault
    more: int = 0


class _Sides:
    """Finds who is meant: a tip by its number, a hybrid by a number behind the last tip."""

    def __init__(self, collection: Collection, table: PairTable) -> None:
        self._collection, self._table = collection, table
        self._labels = list(collection.distances.tips)
        self._tips = len(self._labels)
        self._lookup = NameLookup(self._labels)
        self._known: dict[_Asked, int] = {}
        self._genus: dict[int, str | None] = {}
        self.wrong: dict[_Asked, _Wrong] = {}
        self._unsaid: set[_Asked] = set()

    def of(self, block: PairBlock) -> tuple[Ints, Ints]:
        """Return both sides of each row, -1 where nobody is meant."""
        seed, pollen = (self._lookup.in_spans(block.content, *spans) for spans in block.names)
        for at in np.flatnonzero((seed < 0) | (pollen < 0)).tolist():
            if seed[at] < 0:
                seed[at] = self._find(block, 0, at, None)
            if pollen[at] < 0 and (seed[at] >= 0 or not _is_short(block.name(1, at))):
                pollen[at] = self._find(block, 1, at, self._genus_of(int(seed[at])))
        return seed, pollen

    def apart(self, seed: Ints, pollen: Ints) -> Floats:
        """Return the distance of each pair."""
        distances = self._collection.distances
        tips = (seed < self._tips) & (pollen < self._tips)
        if tips.all():
            return distances.patristic_between(seed, pollen)
        apart = np.empty(seed.size)
        apart[tips] = distances.patristic_between(seed[tips], pollen[tips])
        a, b = ([self._labels[number] for number in side[~tips].tolist()] for side in (seed, pollen))
        apart[~tips] = self._collection.taxa.apart(a, b)
        return apart

    def faults(self) -> Iterator[Fault]:
        """Yield what is wrong with names."""
        for wrong in self.wrong.values():
            yield replace(wrong.fault, advice=say("distances.again", n=wrong.more)) if wrong.more else wrong.fault
        if self._unsaid:
            yield Fault(Place(self._table.place(1).file), say("names.unknown_more", n=len(self._unsaid)))

    def _find(self, block: PairBlock, side: int, at: int, genus: str | None) -> int:
        name = block.name(side, at)
        asked = (name, genus if _is_short(name) else None)
        if asked in self.wrong:
            self.wrong[asked].more += 1
        elif asked not in self._known and asked not in self._unsaid:
            self._ask(asked, self._table.place(int(block.number[at]), side))
        return self._known.get(asked, -1)

    def _ask(self, asked: _Asked, place: Place) -> None:
        if not asked[0]:
            self.wrong[asked] = _Wrong(Fault(place, say("cells.needed")))
        elif len(self.wrong) >= SHOWN and not self._is_known(*asked):
            self._unsaid.add(asked)  # to look for the nearest names takes long
        else:
            try:
                self._known[asked] = self._number_of(find_parent(self._collection, *asked).label)
            except UnknownName as error:
                self.wrong[asked] = _Wrong(Fault(place, str(error)))

    def _is_known(self, name: str, genus: str | None) -> bool:
        try:
            return bool(self._collection.plants.find(name) or self._collection.index.find(name, genus))
        except UnknownName:
            return False

    @cached_property
    def _number(self) -> dict[str, int]:
        return {label: number for number, label in enumerate(self._labels)}

    def _number_of(self, label: str) -> int:
        if label not in self._number:
            self._number[label] = len(self._labels)
            self._labels.append(label)
        return self._number[label]

    def _genus_of(self, number: int) -> str | None:
        if number not in self._genus:
            self._genus[number] = genus_of(self._labels[number]) if number >= 0 else None
        return self._genus[number]


def _is_short(name: str) -> bool:
    """Say whether a name begins with a shortened genus, which stands for that of the seed parent."""
    return name.partition(" ")[0].endswith(".")
