"""The whole book as tables and back: one a kind of record with every version, and the changes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime, time
from functools import partial
from math import isfinite
from types import MappingProxyType
from typing import Any

from crosscompat.book.record_fields import needed, value_types
from crosscompat.book.records import KINDS, Record
from crosscompat.book.sheets.escapes import escaped, unescaped
from crosscompat.book.sheets.grids import Grid, Value
from crosscompat.book.sheets.tables import Cell, Table
from crosscompat.book.store import Change, Reading, Version
from crosscompat.ground.csv_convert import as_text
from crosscompat.ground.errors import Fault, Place
from crosscompat.ground.wording import say

__all__ = ["CHANGES", "Entry", "Whole", "is_whole", "tables_of", "whole_of"]

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
class Whole:
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


def whole_of(grids: Sequence[Grid], faults: list[Fault]) -> Whole:
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
    return Whole(tuple(sorted(found, key=lambda change: change.id)), entries)


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
