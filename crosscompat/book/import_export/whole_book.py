"""The whole book as tables and back: one a kind of record with every version, and the changes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime, time
from functools import partial
from io import BytesIO
from math import isfinite
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeAlias

from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import HEADER
from crosscompat.book.import_export.consistency import faults_of
from crosscompat.book.import_export.formula_guard import escaped, guarded, unescaped
from crosscompat.book.import_export.ods import ods_of
from crosscompat.book.import_export.workbook import WORKBOOKS, Grid, Value, read_grids
from crosscompat.book.record_fields import needed, value_types
from crosscompat.book.records import KINDS, Record
from crosscompat.book.store import Change, Reading, Version
from crosscompat.ground.csv_cells import raise_faults, read_records, write_sheet
from crosscompat.ground.csv_convert import as_text
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say

__all__ = [
    "CHANGES",
    "Cell",
    "Entry",
    "Table",
    "WholeBook",
    "book_in",
    "is_whole",
    "read_any",
    "tables_of",
    "whole_in",
    "write_folder",
    "write_summary",
    "write_whole",
    "write_workbook",
]

Cell: TypeAlias = str | int | float | None
_MOST_LETTERS = 32_767


@dataclass(frozen=True, slots=True)
class Table:
    """A heading and rows of cells, each as long as the heading; None is blank."""

    name: str
    header: tuple[str, ...]
    rows: Sequence[Sequence[Cell]]


def write_folder(folder: Path, tables: Iterable[Table]) -> list[Path]:
    """Write each table as a CSV of its name; every file is there wholly or not at all."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for table in tables:
        path = folder / f"{table.name}.csv"
        rows = (dict(zip(table.header, map(_guarded, row), strict=True)) for row in table.rows)
        write_sheet(path, table.header, rows)
        written.append(path)
    return written


def write_workbook(path: Path, tables: Sequence[Table]) -> None:
    """Write all tables as the sheets of one workbook, XLSX or ODS by the ending.

    Raises
    ------
    WrongUse
        If a text is longer than a cell of Excel holds, or the package that writes XLSX is absent.
    """
    write_atomically(path, ods_of(tables) if path.suffix.lower() == ".ods" else _xlsx_of(tables))


def _guarded(cell: Cell) -> Cell:
    return guarded(cell) if isinstance(cell, str) else cell


def _xlsx_of(tables: Sequence[Table]) -> bytes:
    try:
        import openpyxl  # noqa: PLC0415 - only a workbook needs it
    except ModuleNotFoundError as error:
        raise WrongUse(say("sheets.extra", package=error.name)) from None
    _refuse_too_long(tables)
    book = openpyxl.Workbook(write_only=True)
    for table in tables:
        sheet = book.create_sheet(table.name)
        sheet.freeze_panes = "A2"
        for row in (table.header, *table.rows):
            sheet.append([_xlsx_cell(sheet, cell) for cell in row])
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def _xlsx_cell(sheet: Any, cell: Cell) -> Any:
    """Return a text that stays one, like a formula or not; or a number with all its digits, not just 16."""
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415 - see above

    if cell is None or isinstance(cell, int):
        return cell
    found = WriteOnlyCell(sheet, value=str(cell))
    found.data_type = "s" if isinstance(cell, str) else "n"
    return found


def _refuse_too_long(tables: Iterable[Table]) -> None:
    """Stop before openpyxl would cut a text."""
    sizes = (len(cell) for table in tables for row in table.rows for cell in row if isinstance(cell, str))
    longest = max(sizes, default=0)
    if longest > _MOST_LETTERS:
        raise WrongUse(say("sheets.too_long", n=longest, most=_MOST_LETTERS))


CHANGES = "changes"
_CHANGE_TYPES: Mapping[str, type] = MappingProxyType(
    {"id": int, "at": datetime, "who": str, "what": str, "undoes": int, "imported": bool}
)
_MARKS: Mapping[str, type] = MappingProxyType({"made_in": int, "replaced_in": int})
_EXACT = 2**53
_YES_NO = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class Entry:
    """A version of a record and where it stands in its file."""

    place: Place
    version: Version


@dataclass(frozen=True, slots=True)
class WholeBook:
    """All that was ever written in a book."""

    changes: tuple[Change, ...]
    entries: Mapping[type[Record], tuple[Entry, ...]]

    @property
    def versions(self) -> Mapping[type[Record], tuple[Version, ...]]:
        """The versions alone."""
        return {kind: tuple(entry.version for entry in entries) for kind, entries in self.entries.items()}


def tables_of(page: Reading) -> tuple[Table, ...]:
    """Return everything that was ever written: the changes, then every version of every record, kind by kind."""
    changes = [[_cell(getattr(change, name)) for name in _CHANGE_TYPES] for change in page.changes()]
    return (Table(CHANGES, tuple(_CHANGE_TYPES), changes), *(_table(page, *kind) for kind in KINDS.items()))


def is_whole(grids: Sequence[Grid]) -> bool:
    """Tell whether tables are those of a whole book, by the heading of the changes."""
    heading = tuple(_CHANGE_TYPES)
    return any(_name(grid) == CHANGES and bool(grid.rows) and tuple(grid.rows[0]) == heading for grid in grids)


def book_in(grids: Sequence[Grid], faults: list[Fault]) -> WholeBook:
    """Read tables back; what cannot be read adds a fault.

    A kind of record without a table has no record.
    """
    found: list[Change] = []
    entries: dict[type[Record], tuple[Entry, ...]] = {}
    for grid in grids:
        name = _name(grid)
        if name == CHANGES:
            found = [Change(**row) for _, row in _rows(grid, _CHANGE_TYPES, {"id", "at", "what", "imported"}, faults)]
        elif name in KINDS:
            entries[KINDS[name]] = tuple(_entries(grid, KINDS[name], faults))
        else:
            faults.append(Fault(grid.place(), say("sheets.no_kind", name=name, known=", ".join((CHANGES, *KINDS)))))
    return WholeBook(tuple(sorted(found, key=lambda change: change.id)), entries)


def _name(grid: Grid) -> str:
    return grid.sheet or grid.file.rsplit(".", 1)[0]


def _table(page: Reading, name: str, kind: type[Record]) -> Table:
    names = [item.name for item in fields(kind)]
    rows = [
        [*(_cell(getattr(version.record, name)) for name in names), version.made_in, version.replaced_in]
        for version in page.versions(kind)
    ]
    return Table(name, (*names, *_MARKS), rows)


def _cell(value: object) -> Cell:
    """Return a value as it is written: numbers as numbers where every format holds them exactly, all else as text."""
    if isinstance(value, str):
        return escaped(value)
    if isinstance(value, int) and not isinstance(value, bool):
        return value if abs(value) <= _EXACT else str(value)
    if isinstance(value, float):
        return value if isfinite(value) else repr(value)
    return as_text(value) or None


def _entries(grid: Grid, kind: type[Record], faults: list[Fault]) -> Iterator[Entry]:
    types = {**value_types(kind), **_MARKS}
    for place, row in _rows(grid, types, needed(kind) | {"made_in"}, faults):
        made_in, replaced_in = row.pop("made_in"), row.pop("replaced_in")
        yield Entry(place, Version(kind(**row), made_in, replaced_in))


def _rows(
    grid: Grid, types: Mapping[str, type], wanted: frozenset[str] | set[str], faults: list[Fault]
) -> Iterator[tuple[Place, dict[str, Any]]]:
    """Yield the rows that can be read, each with its place."""
    header = [str(title) for title in grid.rows[0]] if grid.rows else []
    if not _heading_is_sound(grid, header, types, wanted, faults):
        return
    for number, cells in enumerate(grid.rows[1:], start=2):
        if any(cell is not None for cell in cells):
            before = len(faults)
            given = dict(zip(header, cells, strict=False))
            values = {
                name: _read(given.get(name), kind, name in wanted, partial(grid.place, number, name), faults)
                for name, kind in types.items()
            }
            if len(faults) == before:
                yield grid.place(number), values


def _heading_is_sound(
    grid: Grid, header: Sequence[str], types: Mapping[str, type], wanted: frozenset[str] | set[str], faults: list[Fault]
) -> bool:
    twice = [name for at, name in enumerate(header) if name in header[:at]]
    missing = [name for name in types if name in wanted and name not in header]
    what = [
        *(say("cells.column_twice", column=name) for name in twice),
        *(say("cells.column_missing", column=name) for name in missing),
        *(say("cells.column_unknown", column=name) for name in header if name not in types),
    ]
    faults += [Fault(grid.place(1), text) for text in what]
    return not what


def _read(value: Value, kind: type, wanted: bool, place: Callable[[], Place], faults: list[Fault]) -> Any:  # noqa: FBT001 - one of five
    if value is None:
        if wanted:
            faults.append(Fault(place(), say("cells.needed")))
        return None
    try:
        return _READERS[kind](unescaped(value) if isinstance(value, str) else value)
    except (KeyError, ValueError, TypeError, OverflowError):
        text = value if isinstance(value, str) else as_text(value)
        faults.append(Fault(place(), say(f"sheets.not.{kind.__name__}", text=text)))
        return None


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _whole(value: Any) -> int:
    if isinstance(value, float) and not value.is_integer():
        raise ValueError
    return int(value)


def _yes_no(value: Any) -> bool:
    return _YES_NO[value]


def _day(value: Any) -> date:
    return value if type(value) is date else date.fromisoformat(value)


def _hour(value: Any) -> time:
    return value if isinstance(value, time) else time.fromisoformat(value)


def _moment(value: Any) -> datetime:
    found = datetime.fromisoformat(value)
    if found.tzinfo is None:
        raise ValueError
    return found


_READERS: Mapping[type, Callable[[Any], Any]] = MappingProxyType(
    {str: _text, int: _whole, float: float, bool: _yes_no, date: _day, time: _hour, datetime: _moment}
)


def write_whole(tables: Sequence[Table], target: Path) -> list[Path]:
    """Write a whole book, to a workbook by its ending, else to a folder.

    Raises
    ------
    WrongUse
        If there is something there already that is no earlier export.
    """
    if target.suffix.lower() in WORKBOOKS:
        _refuse_other_file(target)
        write_workbook(target, tables)
        return [target]
    if target.suffix:
        raise WrongUse(say("sheets.export_to", target=str(target)))
    _refuse_other_folder(target)
    return write_folder(target, tables)


def write_summary(page: Reading, path: Path) -> int:
    """Write each cross in one line, for a person, and return how many there are; texts never become formulas.

    Raises
    ------
    WrongUse
        If there is a file already that is no such summary.
    """
    if path.exists() and tuple(_first_row(path)) != HEADER:
        raise WrongUse(say("sheets.other_file", file=str(path)))
    crosses = crosses_of(page)
    write_sheet(path, HEADER, ({name: _guarded(getattr(cross, name)) for name in HEADER} for cross in crosses))
    return len(crosses)


def _first_row(path: Path) -> list[str]:
    records, _ = read_records(path, [])
    return records[0] if records else []


def read_any(source: Path) -> tuple[Grid, ...]:
    """Read a file of tables, or the folder that an export made.

    Raises
    ------
    BadInput, WrongUse
        As `read_grids`; a folder without the table of changes is no export.
    """
    if not source.is_dir():
        return read_grids(source)
    if not (source / f"{CHANGES}.csv").is_file():
        raise WrongUse(say("sheets.no_export", folder=str(source)))
    found: list[Grid] = []
    faults: list[Fault] = []
    for path in [path for name in (CHANGES, *KINDS) if (path := source / f"{name}.csv").is_file()]:
        try:
            found += read_grids(path)
        except BadInput as bad:
            faults += bad.faults
    raise_faults(faults)
    return tuple(found)


def whole_in(grids: Sequence[Grid]) -> WholeBook:
    """Return the whole book that tables hold.

    Raises
    ------
    BadInput
        With everything in them that cannot be read or contradicts itself.
    """
    faults: list[Fault] = []
    whole = book_in(grids, faults)
    raise_faults(faults)
    raise_faults(faults_of(whole))
    return whole


def _refuse_other_file(target: Path) -> None:
    if not target.exists():
        return
    try:
        ours = is_whole(read_grids(target))
    except BadInput:
        ours = False
    if not ours:
        raise WrongUse(say("sheets.other_file", file=str(target)))


def _refuse_other_folder(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise WrongUse(say("sheets.export_to", target=str(target)))
    there = {path.name for path in target.iterdir()}
    if there and not there <= {f"{name}.csv" for name in (CHANGES, *KINDS)} | {".DS_Store"}:
        raise WrongUse(say("sheets.other_folder", folder=str(target)))
    path = target / f"{CHANGES}.csv"
    if there and not (path.is_file() and is_whole(read_grids(path))):
        raise WrongUse(say("sheets.other_folder", folder=str(target)))
