"""The whole book as one zip of CSV and back: a table for each kind of record with every version, and the changes."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, time
from io import BytesIO
from pathlib import Path
from types import MappingProxyType
from typing import Any

from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import HEADER
from crosscompat.book.import_export.row_meaning import escaped, guarded, unescaped
from crosscompat.book.record_fields import needed, reference, value_types
from crosscompat.book.records import KINDS, Record
from crosscompat.book.store import Change, Reading, Version
from crosscompat.ground.csv_cells import raise_faults, read_records, sheet_text, write_sheet
from crosscompat.ground.csv_convert import as_text
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say

ENDING = ".zip"
INVENTED = "the outcomes are invented.txt"
"""In the archive of a collection whose outcomes are; `read_book` passes it over."""

_CHANGES = "changes"
_INVENTED = "invented"
_CHANGE_TYPES: Mapping[str, type] = MappingProxyType(
    {"id": int, "at": datetime, "who": str, "what": str, "undoes": int, "imported": bool}
)
_CHANGE_NEEDS = frozenset({"id", "at", "what", "imported"})
_MARKS: Mapping[str, type] = MappingProxyType({"made_in": int, "replaced_in": int})
_Entry = tuple[Place, Version]
_ONE_OF_A_NAME: Mapping[type[Record], str] = MappingProxyType({records.Plant: "name", records.Cross: "number"})


@dataclass(frozen=True, slots=True)
class WholeBook:
    """All that was ever written in a book."""

    changes: tuple[Change, ...]
    versions: Mapping[type[Record], tuple[Version, ...]]


def book_in(page: Reading) -> WholeBook:
    """Return everything that was ever written in a book."""
    return WholeBook(page.changes(), {kind: page.versions(kind) for kind in KINDS.values()})


def write_book(whole: WholeBook, path: Path, *, invented: bool = False) -> None:
    """Write a whole book; the same book always gives the same bytes. Invented outcomes are marked in the archive.

    Raises
    ------
    WrongUse
        If the name does not end in ``.zip``, or there is something there already that is no earlier export.
    """
    if path.suffix.lower() != ENDING:
        raise WrongUse(say("sheets.export_to", target=str(path)))
    if path.exists() and not _is_export(path):
        raise WrongUse(say("sheets.other_file", file=str(path)))
    tables = {_CHANGES: sheet_text(tuple(_CHANGE_TYPES), map(_change_row, whole.changes))}
    for name, kind in KINDS.items():
        header = (*(item.name for item in fields(kind)), *_MARKS)
        tables[name] = sheet_text(header, map(_version_row, whole.versions.get(kind, ())))
    parts = {f"{name}.csv": text for name, text in tables.items()}
    if invented:
        parts[INVENTED] = say("sheets.invented")
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as package:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name)  # dated 1980, whenever it is made
            entry.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(entry, text)
    write_atomically(path, out.getvalue())


def write_summary(page: Reading, path: Path, *, invented: bool = False) -> int:
    """Write each cross in one line, for a person, and return how many there are; texts never become formulas.

    Where the outcomes are invented, the source of every cross says so.

    Raises
    ------
    WrongUse
        If there is a file already that is no such summary.
    """
    if path.exists() and tuple(next(iter(read_records(path, [])[0]), [])) != HEADER:
        raise WrongUse(say("sheets.other_file", file=str(path)))
    crosses = crosses_of(page)
    if invented:
        crosses = tuple(replace(cross, source=cross.source or _INVENTED) for cross in crosses)
    rows = ({name: getattr(cross, name) for name in HEADER} for cross in crosses)
    write_sheet(path, HEADER, ({k: guarded(v) if isinstance(v, str) else v for k, v in row.items()} for row in rows))
    return len(crosses)


def read_book(path: Path) -> WholeBook:
    """Read a whole book that `write_book` wrote.

    Raises
    ------
    BadInput
        With everything in it that cannot be read or contradicts itself.
    """
    faults: list[Fault] = []
    try:
        package = zipfile.ZipFile(path)
    except (OSError, zipfile.BadZipFile) as error:
        raise BadInput([Fault(Place(path.name), say("sheets.no_export", reason=_reason(error)))]) from None
    with package:
        known = {f"{name}.csv" for name in (_CHANGES, *KINDS)} | {INVENTED}
        strange = [name for name in package.namelist() if name not in known]
        faults += [Fault(Place(path.name), say("sheets.no_kind", name=name)) for name in strange]
        rows = list(_rows(package, _CHANGES, _CHANGE_TYPES, _CHANGE_NEEDS, faults))
        changes = sorted((Change(**row) for row in rows), key=lambda change: change.id)
        versions = {kind: tuple(_versions_in(package, name, kind, faults)) for name, kind in KINDS.items()}
    raise_faults(faults)
    whole = WholeBook(tuple(changes), versions)
    raise_faults(_contradictions(whole))
    return whole


def _is_export(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as package:
            return f"{_CHANGES}.csv" in package.namelist()
    except (OSError, zipfile.BadZipFile):
        return False


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) and error.strerror else str(error)).rstrip(".")


def _change_row(change: Change) -> Mapping[str, object]:
    return {name: _cell(getattr(change, name)) for name in _CHANGE_TYPES}


def _version_row(version: Version) -> Mapping[str, object]:
    row = {item.name: _cell(getattr(version.record, item.name)) for item in fields(version.record)}
    return {**row, "made_in": version.made_in, "replaced_in": version.replaced_in}


def _cell(value: object) -> object:
    return escaped(value) if isinstance(value, str) else value


def _versions_in(package: zipfile.ZipFile, name: str, kind: type[Record], faults: list[Fault]) -> Iterator[Version]:
    types = {**value_types(kind), **_MARKS}
    for row in _rows(package, name, types, needed(kind) | {"made_in"}, faults):
        made_in, replaced_in = row.pop("made_in"), row.pop("replaced_in")
        yield Version(kind(**row), made_in, replaced_in)


def _rows(
    package: zipfile.ZipFile, name: str, types: Mapping[str, type], wanted: frozenset[str], faults: list[Fault]
) -> Iterator[dict[str, Any]]:
    """Yield the rows that can be read."""
    table = zipfile.Path(package, f"{name}.csv")
    if not table.exists():
        faults.append(Fault(Place(table.name), say("cells.missing_file")))
        return
    lines, _ = read_records(table, faults)
    if not lines or not _heading_is_sound(Place(table.name, row=1), lines[0], types, wanted, faults):
        return
    for number, line in enumerate(lines[1:], start=2):
        before = len(faults)
        row = dict(zip(lines[0], line, strict=False))
        values = {}
        for column, kind in types.items():
            place = Place(table.name, row=number, column=column)
            values[column] = _read(row.get(column, ""), kind, place, faults, needed=column in wanted)
        if len(faults) == before:
            yield values


def _heading_is_sound(
    place: Place, header: Sequence[str], types: Mapping[str, type], wanted: frozenset[str], faults: list[Fault]
) -> bool:
    what = [
        *(say("cells.column_twice", column=name) for at, name in enumerate(header) if name in header[:at]),
        *(say("cells.column_missing", column=name) for name in types if name in wanted and name not in header),
        *(say("cells.column_unknown", column=name) for name in header if name not in types),
    ]
    faults += [Fault(place, text) for text in what]
    return not what


def _read(cell: str, kind: type, place: Place, faults: list[Fault], *, needed: bool) -> Any:
    if not cell:
        if needed:
            faults.append(Fault(place, say("cells.needed")))
        return None
    try:
        return _READERS[kind](cell)
    except (KeyError, ValueError, OverflowError):
        faults.append(Fault(place, say(f"sheets.not.{kind.__name__}", text=cell)))
        return None


def _moment(text: str) -> datetime:
    found = datetime.fromisoformat(text)
    if found.tzinfo is None:
        raise ValueError(text)
    return found


_READERS: Mapping[type, Callable[[str], Any]] = MappingProxyType(
    {
        str: unescaped,
        int: int,
        float: float,
        bool: {as_text(value): value for value in (True, False)}.__getitem__,
        date: date.fromisoformat,
        time: time.fromisoformat,
        datetime: _moment,
    }
)


def _contradictions(whole: WholeBook) -> list[Fault]:
    """Return what does not hang together: what points somewhere must find it there."""
    entries = [
        (Place(f"{name}.csv", row=row), version)
        for name, kind in KINDS.items()
        for row, version in enumerate(whole.versions[kind], start=2)
    ]
    return [*_changes(whole), *_marks(whole, entries), *_twice(entries), *_pointers(entries)]


def _fault(place: Place, column: str, key: str, **values: str) -> Fault:
    return Fault(replace(place, column=column), say(f"sheets.unsound_book.{key}", **values))


def _changes(whole: WholeBook) -> Iterator[Fault]:
    seen: set[int] = set()
    for change in whole.changes:
        if change.id in seen:
            yield Fault(Place(), say("sheets.unsound_book.change_twice", number=str(change.id)))
        elif change.undoes is not None and change.undoes not in seen:
            yield Fault(Place(), say("sheets.unsound_book.no_change", number=str(change.undoes)))
        seen.add(change.id)


def _marks(whole: WholeBook, entries: Sequence[_Entry]) -> Iterator[Fault]:
    known = {change.id for change in whole.changes} | {None}
    for place, version in entries:
        for column in _MARKS:
            number = getattr(version, column)
            if number not in known:
                yield _fault(place, column, "no_change", number=str(number))


def _twice(entries: Sequence[_Entry]) -> Iterator[Fault]:
    """Find a record written twice by one change, standing twice, or of two kinds, and two of one name."""
    kinds: dict[str, type[Record]] = {}
    written: set[tuple[object, ...]] = set()
    for place, version in entries:
        kind, one, standing = type(version.record), version.record.id, version.replaced_in is None
        marks: set[tuple[object, ...]] = {(one, version.made_in), *([(one, None)] if standing else [])}
        if marks & written or kinds.setdefault(one, kind) is not kind:
            yield _fault(place, "id", "twice")
        column = _ONE_OF_A_NAME.get(kind, "id")
        name = getattr(version.record, column)
        named = (kind, column, name)
        if standing and column != "id" and name is not None:
            if named in written:
                yield _fault(place, column, "name_twice", name=name)
            marks |= {named}
        written |= marks


def _pointers(entries: Sequence[_Entry]) -> Iterator[Fault]:
    known = {(type(version.record), version.record.id) for _, version in entries}
    for place, version in entries:
        for item in fields(version.record):
            kind, one = reference(item), getattr(version.record, item.name)
            if kind is not None and one is not None and (KINDS[kind], one) not in known:
                yield _fault(place, item.name, "points_nowhere", id=one)
