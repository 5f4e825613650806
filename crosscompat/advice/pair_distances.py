"""How far apart the two of each pair in a big table stand, written beside them block by block."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice, repeat
from pathlib import Path
from typing import BinaryIO, Literal, TypeAlias

import numpy as np

from crosscompat.advice.parents import find_parent
from crosscompat.collection.opening import Collection
from crosscompat.ground.csv_cells import column_name, iterate_records, raise_faults
from crosscompat.ground.errors import SHOWN, BadInput, Fault, Place, UnknownName
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say
from crosscompat.phylogeny.tree_arrays import Floats, Ints

COLUMN = "distance"
PARENTS = ("seed_parent", "pollen_parent")
_BLOCK, _BYTES_A_ROW = 20_000, 36

_Query: TypeAlias = tuple[str, str | None]
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


@dataclass(frozen=True, slots=True)
class PairBlock:
    """Some rows of a table: their cells, their seed and pollen parents, their numbers as a spreadsheet shows them."""

    rows: list[list[str]]
    names: tuple[list[str], list[str]]
    number: list[int]


class PairTable:
    """A CSV in UTF-8 with the columns seed_parent and pollen_parent, and any others.

    Raises
    ------
    BadInput
        If the file cannot be read, or lacks one of the columns.
    """

    def __init__(self, path: Path) -> None:
        faults: list[Fault] = []
        self._path = path
        records, self.separator = iterate_records(path, faults)
        self.titles = next(records, [])
        names = [column_name(title) for title in self.titles]
        if not faults:
            faults += [
                Fault(self.place(1), say("cells.column_missing", column=name)) for name in PARENTS if name not in names
            ]
        raise_faults(faults)
        self._at = [names.index(name) for name in PARENTS]

    @property
    def size_in_blocks(self) -> int:
        """About how many blocks there are."""
        return max(1, self._path.stat().st_size // (_BLOCK * _BYTES_A_ROW))

    def place(self, row: int, side: int | None = None) -> Place:
        """Return where a row stands, or its seed parent (0) or pollen parent (1)."""
        return Place(self._path.name, row=row, column=None if side is None else self.titles[self._at[side]].strip())

    def blocks(self, faults: list[Fault]) -> Iterator[PairBlock]:
        """Yield all rows with anything in them, and add what is wrong with the others to the faults."""
        records, _ = iterate_records(self._path, faults)
        next(records, None)
        first = 2
        while rows := list(islice(records, _BLOCK)):
            number = list(range(first, first + len(rows)))
            first += len(rows)
            if set(map(len, rows)) != {len(self.titles)} or not all(map(all, self._names(rows))):
                kept = [at for at, cells in enumerate(rows) if self._fits(cells, number[at], faults)]
                rows, number = [rows[at] for at in kept], [number[at] for at in kept]
            yield PairBlock(rows, self._names(rows), number)

    def _names(self, rows: list[list[str]]) -> tuple[list[str], list[str]]:
        seed, pollen = self._at
        return [cells[seed].strip() for cells in rows], [cells[pollen].strip() for cells in rows]

    def _fits(self, cells: list[str], row: int, faults: list[Fault]) -> bool:
        """Say whether a row counts: it is not blank, and of the right number of cells, which else is a fault."""
        if len(cells) == len(self.titles) or not any(cell.strip() for cell in cells):
            return any(cell.strip() for cell in cells)
        key = "row_short" if len(cells) < len(self.titles) else "row_long"
        what = say(f"cells.{key}", n=len(cells), wanted=len(self.titles))
        faults.append(Fault(self.place(row), what, say("cells.row_short_advice")))
        return False


def write_distances(
    collection: Collection,
    table: PairTable,
    stream: BinaryIO,
    watch: Callable[[Iterable[PairBlock]], Iterable[PairBlock]] = iter,
) -> PairDistances:
    """Write a table of pairs with one column more: the distance of the two, in the unit of the tree.

    Cells stay as they are written; blank rows are left out. Names are found as `find_parent` finds them. A distance has
    12 figures. ``watch`` passes the blocks on and shows how far it is; what was written is of no use if anything is
    raised.

    Raises
    ------
    BadInput
        With every fault of the table: rows with too many or too few cells, names that are missing or unknown, pairs of
        which the distance is not known. A name that comes again and again is told once, with the number of rows.
    """
    faults: list[Fault] = []
    parents = _Parents(collection, table)
    stream.write(_csv_text([[*table.titles, COLUMN]], table.separator))
    pairs = 0
    for block in watch(table.blocks(faults)):
        seed, pollen = parents.of(block)
        if faults or not parents.all_known:
            continue
        try:
            apart = parents.apart(seed, pollen)
        except BadInput as error:
            faults += error.faults
            continue
        rows = ([*cells, f"{distance:.12g}"] for cells, distance in zip(block.rows, apart.tolist(), strict=True))
        stream.write(_csv_text(rows, table.separator))
        pairs += apart.size
    raise_faults([*faults, *parents.faults()])
    return PairDistances(pairs, collection.distances.unit, collection.tree_name)


def _csv_text(rows: Iterable[list[str]], separator: str) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


class _Parents:
    """Finds who is meant: a tip by its number, a hybrid by a number behind the last tip; -1 is nobody."""

    def __init__(self, collection: Collection, table: PairTable) -> None:
        self._collection, self._table = collection, table
        self._labels = list(collection.distances.tips)
        self._tips = len(self._labels)
        self._number = {label: number for number, label in enumerate(self._labels)}
        self._found: dict[str | _Query, int] = dict(self._number.items())
        self._wrong: dict[_Query, Fault] = {}
        self._more: Counter[_Query] = Counter()
        self._unsaid = 0

    @property
    def all_known(self) -> bool:
        """Whether every name so far stands for somebody."""
        return not self._wrong

    def of(self, block: PairBlock) -> tuple[Ints, Ints]:
        """Return both parents of each row as (m,) arrays."""
        seed, pollen = (
            np.fromiter(map(self._found.get, names, repeat(-1)), np.int64, len(names)) for names in block.names
        )
        for at in np.flatnonzero((seed < 0) | (pollen < 0)).tolist():
            if seed[at] < 0:
                seed[at] = self._find(block, 0, at, None)
            if pollen[at] < 0 and (seed[at] >= 0 or not _is_short(block.names[1][at])):
                genus = genus_of(self._labels[int(seed[at])]) if seed[at] >= 0 else None
                pollen[at] = self._find(block, 1, at, genus)
        return seed, pollen

    def apart(self, seed: Ints, pollen: Ints) -> Floats:
        """Return the distance of each pair, as an (m,) array."""
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
        """Yield what is wrong with names, each once with the number of rows more."""
        for query, fault in self._wrong.items():
            more = self._more[query]
            yield fault._replace(advice=say("distances.again", n=more)) if more else fault
        if self._unsaid:
            yield Fault(Place(self._table.place(1).file), say("names.unknown_more", n=self._unsaid))

    def _find(self, block: PairBlock, side: int, at: int, genus: str | None) -> int:
        name = block.names[side][at]
        query = (name, genus if _is_short(name) else None)
        key = query if _is_short(name) else name
        if key not in self._found:
            self._found[key] = self._look_up(query, self._table.place(block.number[at], side))
        elif query in self._wrong:
            self._more[query] += 1
        return self._found[key]

    def _look_up(self, query: _Query, place: Place) -> int:
        if query[0] and len(self._wrong) >= SHOWN and not self._is_known(*query):
            self._unsaid += 1  # to look for the nearest names takes long
            return -1
        try:
            label = find_parent(self._collection, *query).label if query[0] else None
        except UnknownName as error:
            self._wrong[query] = Fault(place, str(error))
            return -1
        if label is None:
            self._wrong[query] = Fault(place, say("cells.needed"))
            return -1
        number = self._number.setdefault(label, len(self._labels))
        if number == len(self._labels):
            self._labels.append(label)
        return number

    def _is_known(self, name: str, genus: str | None) -> bool:
        try:
            return bool(self._collection.plants.find(name) or self._collection.index.find(name, genus))
        except UnknownName:
            return False


def _is_short(name: str) -> bool:
    """Say whether a name begins with a shortened genus, which stands for that of the seed parent."""
    return name.partition(" ")[0].endswith(".")
