"""What is told of tables that were taken in, or of a book that was written to tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from crosscompat.advice.check import names_in
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant
from crosscompat.book.import_export.import_table import ImportedRows
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import fold


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """A column of a table, the first thing in it and what it becomes; null is left out."""

    heading: str
    example: str
    becomes: str | None


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong in a table: where it stands, what is there, what is wrong and what to do."""

    file: str | None
    sheet: str | None
    row: int | None
    column: str | None
    value: str | None
    rule: str
    advice: str


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A name that has no place on the tree, and the nearest that have."""

    name: str
    nearest: list[str]
    says: str


@dataclass(frozen=True, slots=True)
class Imported:
    """What came of a table.

    Attributes
    ----------
    rows_are : str
        ``crosses``, ``plants`` or ``whole book``.
    heading_row : int or None
        The row in which the headings stand; null for a whole book.
    rows : int
        With anything in them.
    crosses, plants : int
        New ones.
    same : int
        Rows that say what the book says already.
    bad_rows : int
        Rows with a fault.
    questions : list of str
        What the grower has to say first.
    change : int or None
        Number of the change in the book; null if nothing was written, or for a whole book.
    """

    file: str
    sheet: str | None
    rows_are: str
    heading_row: int | None = None
    columns: list[ColumnRead] = field(default_factory=list)
    rows: int = 0
    crosses: int = 0
    plants: int = 0
    same: int = 0
    bad_rows: int = 0
    faults: list[Problem] = field(default_factory=list)
    unplaced: list[Unplaced] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    change: int | None = None
    written: bool = False
    schema: Literal["crosscompat.import/1"] = "crosscompat.import/1"


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written.

    Attributes
    ----------
    changes, versions : int
        Changes, and versions of records, that went out; none where only the summary was written.
    crosses : int or None
        Lines of the summary; null if it was not asked for.
    """

    files: list[str]
    changes: int
    versions: int
    crosses: int | None
    invented: bool
    schema: Literal["crosscompat.export/1"] = "crosscompat.export/1"


def with_outcome(answer: Imported, collection: Collection, taken: ImportedRows, change: int | None) -> Imported:
    """Return an answer with what came of its rows; without a change nothing was written."""
    faults = [
        Problem(place.file, place.sheet, place.row, place.column, value, fault.what, fault.advice)
        for fault, value in zip(taken.faults, taken.values, strict=True)
        for place in (fault.place,)
    ]
    return replace(
        answer,
        rows=taken.rows,
        crosses=len(taken.crosses),
        plants=len(taken.plants),
        same=taken.same,
        bad_rows=len({fault.place.row for fault in taken.faults}),
        faults=faults,
        unplaced=_unplaced(collection, taken.crosses, taken.plants),
        change=change,
        written=change is not None,
    )


def _unplaced(collection: Collection, crosses: Iterable[Cross], plants: Iterable[Plant]) -> list[Unplaced]:
    """Return the names that the tree does not know, each once; that is no fault of a record."""
    found: dict[str, Unplaced] = {}
    for name, genus in dict.fromkeys((name, genus) for _, _, name, genus in names_in(plants, crosses)):
        try:
            collection.taxa.index.match(name, genus)
        except UnknownName as unknown:
            found.setdefault(name, Unplaced(name, [fold(near) for near in unknown.nearest], str(unknown)))
    return list(found.values())
