"""How far apart the two of each pair in a big table stand, written beside them block by block."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import BinaryIO, Literal

from crosscompat.advice.parents import find_parent
from crosscompat.collection.opening import Collection
from crosscompat.ground.csv_cells import column_name, raise_faults, read_records
from crosscompat.ground.errors import SHOWN, BadInput, Fault, Place, UnknownName
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say

COLUMN = "distance"
PARENTS = ("seed_parent", "pollen_parent")
_BLOCK, _BYTES_A_ROW = 20_000, 36

Row = tuple[int, list[str]]
"""The number of a row as a spreadsheet shows it, and its cells."""

_Query = tuple[str, str | None]
"""A name, and the genus that its abbreviation stands for."""


@dataclass(frozen=True, slots=True)
class PairDistances:
    """What was written.

    Attributes
    ----------
    unit : str or None
        What a distance of 1 means; null where nobody said.
    file : str or None
        Where it was written to; null for standard output.
    """

    pairs: int
    unit: str | None
    tree: str
    file: str | None = None
    schema: Literal["crosscompat.distances/1"] = "crosscompat.distances/1"


class PairTable:
    """A CSV in UTF-8 with the columns seed_parent and pollen_parent, and any others; else it raises `BadInput`."""

    def __init__(self, path: Path) -> None:
        faults: list[Fault] = []
        self._path = path
        records, self.separator = read_records(path, faults)
        self.titles = next(records, [])
        names = [column_name(title) for title in self.titles]
        missing = [name for name in PARENTS if name not in names and not faults]
        raise_faults([*faults, *(Fault(self.place(1), say("cells.column_missing", column=name)) for name in missing)])
        self._at = [names.index(name) for name in PARENTS]

    @property
    def size_in_blocks(self) -> int:
        """About how many blocks there are."""
        return max(1, self._path.stat().st_size // (_BLOCK * _BYTES_A_ROW))

    def place(self, row: int, side: int | None = None) -> Place:
        """Return where a row stands, or its seed parent (0) or pollen parent (1)."""
        return Place(self._path.name, row=row, column=None if side is None else self.titles[self._at[side]].strip())

    def parents(self, cells: list[str]) -> tuple[str, str]:
        """Return the names of the two."""
        return cells[self._at[0]].strip(), cells[self._at[1]].strip()

    def blocks(self, faults: list[Fault]) -> Iterator[list[Row]]:
        """Yield all rows with anything in them, and add what is wrong with the others to the faults."""
        records, _ = read_records(self._path, faults)
        rows = ((row, cells) for row, cells in enumerate(records, 1) if row > 1 and self._fits(row, cells, faults))
        while block := list(islice(rows, _BLOCK)):
            yield block

    def _fits(self, row: int, cells: list[str], faults: list[Fault]) -> bool:
        """Tell whether a row counts: it is not blank, and of the right number of cells, which else is a fault."""
        if not any(map(str.strip, cells)):
            return False
        if len(cells) != len(self.titles):
            key = "row_short" if len(cells) < len(self.titles) else "row_long"
            what = say(f"cells.{key}", n=len(cells), wanted=len(self.titles))
            faults.append(Fault(self.place(row), what, say("cells.row_short_advice")))
        return len(cells) == len(self.titles)


def write_distances(
    collection: Collection,
    table: PairTable,
    stream: BinaryIO,
    watch: Callable[[Iterable[list[Row]]], Iterable[list[Row]]] = iter,
) -> PairDistances:
    """Write a table of pairs with one column more: the distance of the two, in the unit of the tree.

    Cells stay as they are written; blank rows are left out. Names are found as `find_parent` finds them. A distance has
    12 figures. ``watch`` passes the blocks on and shows how far it is; what was written is of no use if anything is
    raised: a `BadInput` with every fault of the table, such as rows with too many or too few cells, names that are
    missing or unknown, pairs of which the distance is not known. A name that comes again and again is told once, with
    the number of rows.
    """
    faults: list[Fault] = []
    parents, pairs = _Parents(collection, table), 0
    stream.write(_csv_text([[*table.titles, COLUMN]], table.separator))
    for block in watch(table.blocks(faults)):
        seed, pollen = zip(*(parents.of(*row) for row in block), strict=True)
        if faults or parents.wrong:
            continue
        try:
            apart = collection.taxa.apart(seed, pollen)
        except BadInput as error:
            faults += error.faults
            continue
        rows = ([*cells, f"{distance:.12g}"] for (_, cells), distance in zip(block, apart.tolist(), strict=True))
        stream.write(_csv_text(rows, table.separator))
        pairs += apart.size
    raise_faults([*faults, *parents.faults()])
    return PairDistances(pairs, collection.distances.unit, collection.tree_name)


def _csv_text(rows: Iterable[list[str]], separator: str) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


class _Parents:
    """Finds the labels of those who are meant; None is nobody."""

    def __init__(self, collection: Collection, table: PairTable) -> None:
        self._collection, self._table = collection, table
        self._meant: dict[str | _Query, str | None] = {tip: tip for tip in collection.distances.tips}
        self.wrong: dict[_Query, Fault] = {}
        self._more: Counter[_Query] = Counter()
        self._unsaid = 0

    def of(self, row: int, cells: list[str]) -> tuple[str | None, str | None]:
        """Return both parents of a row; a shortened genus of the second is that of the first, if that is known."""
        names = self._table.parents(cells)
        seed = self._find(row, 0, names[0], None)
        if seed is None and _is_short(names[1]):
            return None, None
        return seed, self._find(row, 1, names[1], seed)

    def faults(self) -> Iterator[Fault]:
        """Yield what is wrong with names, each once with the number of rows more."""
        for query, fault in self.wrong.items():
            more = self._more[query]
            yield fault._replace(advice=say("distances.again", n=more)) if more else fault
        if self._unsaid:
            yield Fault(Place(self._table.place(1).file), say("names.unknown_more", n=self._unsaid))

    def _find(self, row: int, side: int, name: str, seed: str | None) -> str | None:
        query = (name, genus_of(seed) if seed is not None and _is_short(name) else None)
        key = name if query[1] is None else query
        if key not in self._meant:
            self._meant[key] = self._look_up(query, self._table.place(row, side))
        elif query in self.wrong:
            self._more[query] += 1
        return self._meant[key]

    def _look_up(self, query: _Query, place: Place) -> str | None:
        if query[0] and len(self.wrong) >= SHOWN and not self._is_known(*query):
            self._unsaid += 1  # to look for the nearest names takes long
            return None
        try:
            if query[0]:
                return find_parent(self._collection, *query).label
            self.wrong[query] = Fault(place, say("cells.needed"))
        except UnknownName as error:
            self.wrong[query] = Fault(place, str(error))
        return None

    def _is_known(self, name: str, genus: str | None) -> bool:
        try:
            return bool(self._collection.plants.find(name) or self._collection.index.find(name, genus))
        except UnknownName:
            return False


def _is_short(name: str) -> bool:
    """Tell whether a name begins with a shortened genus, which stands for that of the seed parent."""
    return name.partition(" ")[0].endswith(".")
