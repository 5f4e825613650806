"""Tables of the collection (CSV): read with the place of every fault, cell by cell, and written whole or not at all."""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time
from os import PathLike
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeVar

from crosscompat.ground.dates import FIRST_YEAR, LAST_YEAR, readings, spoken_date
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.files import named, write_atomically
from crosscompat.ground.names import fold
from crosscompat.ground.wording import catalogue, say

if TYPE_CHECKING:
    import zipfile

_Value = TypeVar("_Value")
_SEPARATORS = ",;\t"
_MOST_COLUMNS = 2_000  # more are no table of records


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as a spreadsheet shows it, and its cells by column; None is blank."""

    number: int
    cells: Mapping[str, str | None]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as it stands in its file, which is called without its folder.

    ``header`` are the columns by `column_name`, in the file's order, ``titles`` what the file calls each of them;
    ``rows`` have anything in them. A number may have a ``decimal_comma`` only where semicolons part the cells.
    ``sheet`` is the sheet's name, where the file is a workbook.
    """

    file: str
    header: tuple[str, ...]
    rows: tuple[Row, ...]
    titles: Mapping[str, str] = field(default_factory=dict)
    decimal_comma: bool = False
    sheet: str | None = None

    def place(self, row: Row | None = None, column: str | None = None) -> Place:
        """Return where a cell stands, in the file's own words."""
        title = self.titles.get(column, column) if column else None
        return Place(self.file, row=row.number if row else None, column=title, sheet=self.sheet)


def column_name(title: str) -> str:
    """Return the name by which a column is known: small letters, blanks and hyphens as underscores."""
    return re.sub(r"[\s-]+", "_", fold(title).lower())


def raise_faults(faults: Sequence[Fault]) -> None:
    """Raise a `BadInput` of all faults at once, file by file and row by row; nothing if there are none."""
    if faults:
        files = list(dict.fromkeys(fault.place.file for fault in faults))
        raise BadInput(sorted(faults, key=lambda fault: (files.index(fault.place.file), fault.place.row or 0)))


def read_sheet(
    path: str | PathLike[str],
    *,
    known: Iterable[str] | None = None,
    required: Iterable[str] = (),
    faults: list[Fault] | None = None,
) -> Sheet:
    """Read a CSV: UTF-8 with or without a byte order mark, cells parted by commas, semicolons or tabs.

    ``known`` are the columns there may be (any, if not given), ``required`` those there must be. Faults are added to
    ``faults``, where given, so that the caller can add those of the cells and raise them together (`raise_faults`).

    Raises
    ------
    BadInput
        With every fault of the file, if no list was given for them.
    """
    own: list[Fault] = []
    lines, separator = read_records(path, own)
    records, file = list(lines), Path(path).name
    sheet = _sheet(file, records, own, comma=separator == ";") if records else Sheet(file, (), ())
    if sheet.header:
        _check_columns(sheet, known, required, own)
    if faults is None:
        raise_faults(own)
    else:
        faults += own
    return sheet


def read_records(path: str | PathLike[str] | zipfile.Path, faults: list[Fault]) -> tuple[Iterator[list[str]], str]:
    """Yield the cells of a CSV row by row, as they are written, and return what parts them; nothing follows a fault."""
    source = Path(path) if isinstance(path, str | PathLike) else path
    text = _text(source, faults)
    if text is None:
        return iter(()), ","
    outside_quotes = re.sub(r'"[^"]*"', "", re.split(r"[\r\n]", text.lstrip(), maxsplit=1)[0])
    separator = max(_SEPARATORS, key=outside_quotes.count)
    return _records(text, separator, source.name, faults), separator


def _fault(key: str, place: Place, **values: object) -> Fault:
    advice = say(f"cells.{key}_advice", **values) if f"{key}_advice" in catalogue("cells") else ""
    return Fault(place, say(f"cells.{key}", **values), advice)


def _text(path: Path | zipfile.Path, faults: list[Fault]) -> str | None:
    place = Place(path.name)
    try:
        data = path.read_bytes()
        text = data.decode("utf-8-sig")
    except FileNotFoundError:
        faults.append(_fault("missing_file", Place(str(path))))
    except IsADirectoryError:
        faults.append(_fault("is_folder", place))
    except OSError as error:
        raise named(error, path) from None
    except UnicodeDecodeError as error:
        faults.append(_fault("not_utf8", Place(path.name, line=data.count(b"\n", 0, error.start) + 1)))
    else:
        if text.strip():
            return text
        faults.append(_fault("empty", place))
    return None


def _records(text: str, separator: str, file: str, faults: list[Fault]) -> Iterator[list[str]]:
    row = 1
    try:
        for record in csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True):
            yield record
            row += 1
    except csv.Error:
        faults.append(_fault("quotes", Place(file, row=row)))


def _sheet(file: str, records: list[list[str]], faults: list[Fault], *, comma: bool) -> Sheet:
    titles, top = [title.strip() for title in records[0]], Place(file, row=1)
    filled = max((at for record in records for at, cell in enumerate(record, 1) if cell.strip()), default=0)
    while titles and not titles[-1] and len(titles) > filled:
        titles.pop()
    if not any(titles) or len(titles) > _MOST_COLUMNS:
        faults.append(_fault("columns" if any(titles) else "blank_header", top, n=len(titles), most=_MOST_COLUMNS))
        return Sheet(file, (), ())
    header = [column_name(title) for title in titles]
    for at, name in enumerate(header):
        if not name:
            faults.append(_fault("column_no_name", top, n=str(at + 1)))
        elif header.index(name) < at:
            faults.append(_fault("column_twice", top, column=titles[at]))
    rows = [
        _row(Place(file, row=number), header, record, faults)
        for number, record in enumerate(records[1:], 2)
        if any(cell.strip() for cell in record)
    ]
    written = dict(zip(header, titles, strict=True))
    return Sheet(file, tuple(dict.fromkeys(filter(None, header))), tuple(rows), written, comma)


def _row(place: Place, header: list[str], record: list[str], faults: list[Fault]) -> Row:
    used = len(record)
    while used > len(header) and not record[used - 1].strip():
        used -= 1
    if used != len(header):
        faults.append(_fault("row_short" if used < len(header) else "row_long", place, n=used, wanted=len(header)))
    cells = {name: cell if cell.strip() else None for name, cell in zip(header, record, strict=False)}
    return Row(place.row or 0, MappingProxyType(dict.fromkeys(header) | cells))


def _check_columns(sheet: Sheet, known: Iterable[str] | None, required: Iterable[str], faults: list[Fault]) -> None:
    place, names = Place(sheet.file, row=1), sheet.header if known is None else list(known)
    for column in sheet.header:
        if column not in names:
            near = difflib.get_close_matches(column, names, 1)
            far = say("cells.column_unknown_far", known=", ".join(names))
            advice = say("cells.column_unknown_near", near=near[0]) if near else far
            faults.append(Fault(place, say("cells.column_unknown", column=sheet.titles[column]), advice))
    faults += [_fault("column_missing", place, column=column) for column in required if column not in sheet.header]


class BadCell(ValueError):
    """A cell does not hold what its column asks for: what is wrong, and what to write."""

    def __init__(self, what: str, advice: str) -> None:
        self.what = what
        self.advice = advice
        super().__init__(what)


@dataclass(frozen=True, slots=True)
class Cells:
    """Reads the cells of one row into values; what cannot be read is None and adds a fault.

    A blank cell, or a column that is not there, is None; with ``needed`` it is a fault.

    Examples
    --------
    >>> faults = []
    >>> sheet = Sheet("crosses.csv", ("tried", "took"), (Row(2, {"tried": "12", "took": "some"}),))
    >>> cells = Cells(sheet, sheet.rows[0], faults)
    >>> cells.read("tried", whole), cells.read("took", whole)
    (12, None)
    >>> print(faults[0])
    crosses.csv, row 2, column took: “some” is not a whole number.
      Write digits only, such as 12; leave it blank if it is not known.
    """

    sheet: Sheet
    row: Row
    faults: list[Fault]

    def fault(self, column: str, what: str, advice: str = "") -> None:
        """Add a fault of the caller's own finding to a cell of this row."""
        self.faults.append(Fault(self.sheet.place(self.row, column), what, advice))

    def read(self, column: str, convert_cell: Callable[[str], _Value], *, needed: bool = False) -> _Value | None:
        """Read a cell by any function that raises `BadCell` on what it cannot read."""
        text = (self.row.cells.get(column) or "").strip()
        if not text:
            if needed:
                self.fault(column, say("cells.needed"))
            return None
        try:
            return convert_cell(text)
        except BadCell as bad:
            self.fault(column, bad.what, bad.advice)
            return None

    def text(self, column: str, *, needed: bool = False) -> str | None:
        """Read text, without blanks around it."""
        return self.read(column, str, needed=needed)


_WHOLE = re.compile(r"[0-9]{1,9}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_ISO_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIMESTAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}.*")
_FORMULA = ("=", "+", "-", "@")
_YES_NO = {**dict.fromkeys(("yes", "y", "true", "1"), True), **dict.fromkeys(("no", "n", "false", "0"), False)}


def _bad(key: str, advice: str = "", **values: str) -> BadCell:
    return BadCell(say(f"cells.{key}", **values), say(f"cells.{advice or key + '_advice'}", **values))


def whole(text: str) -> int:
    """Return a whole number, zero or more; raises `BadCell` on anything else, such as "about 20" or "1,200"."""
    if not _WHOLE.fullmatch(text):
        raise _bad("whole", text=text)
    return int(text)


def decimal(text: str, *, comma: bool = False) -> float:
    """Return a finite number, else raise `BadCell`; a decimal comma is read only where semicolons part the cells."""
    if _COMMA.fullmatch(text):
        fixed = text.replace(",", ".")
        if not comma:
            raise _bad("decimal_comma", text=text, fixed=fixed)
        text = fixed
    value = float(text) if _DECIMAL.fullmatch(text) else math.inf
    if not math.isfinite(value):
        raise _bad("decimal", text=text)
    return value


def day(text: str) -> date:
    """Return a calendar day written year-month-day; `BadCell` says how else it could be meant.

    Examples
    --------
    >>> try:
    ...     day("03/04/2025")
    ... except BadCell as bad:
    ...     print(bad.advice)
    Write 2025-04-03 for 3 April 2025, or 2025-03-04 for 4 March 2025.
    """
    if not _ISO_DAY.fullmatch(text):
        days = readings(text)
        advice = {0: "date_advice", 1: "date_write"}.get(len(days), "date_which")
        iso = dict(zip(("one", "two"), map(date.isoformat, days), strict=False))
        spoken = dict(zip(("one_day", "two_day"), map(spoken_date, days), strict=False))
        raise _bad("date", advice, text=text, **iso, **spoken)
    with suppress(ValueError):
        if FIRST_YEAR <= int(text[:4]) <= LAST_YEAR:
            return date.fromisoformat(text)
    raise _bad("date_none", "date_advice", text=text)


def timestamp(text: str) -> datetime:
    """Return a moment in UTC, else raise `BadCell`; its time zone must be written, as Z or +02:00."""
    try:
        written = datetime.fromisoformat(text) if _TIMESTAMP.fullmatch(text) else None
        if written and written.tzinfo:
            return written.astimezone(UTC)
    except (ValueError, OverflowError):
        written = None
    raise _bad("timestamp_zone" if written else "timestamp", "timestamp_advice", text=text)


def hour(text: str) -> time:
    """Return a time of day, such as 9:05; raises `BadCell` if it is none."""
    try:
        return time.fromisoformat(text if text[1:2] != ":" else f"0{text}")
    except ValueError:
        raise _bad("hour", text=text) from None


def yes_no(text: str) -> bool:
    """Return yes, y, true and 1 as True, no, n, false and 0 as False, in any case; raises `BadCell` on others."""
    if text.casefold() not in _YES_NO:
        raise _bad("yes_no", text=text)
    return _YES_NO[text.casefold()]


def choice(text: str, words: Iterable[str]) -> str:
    """Return the one of the words that is written, whatever its case and blanks; raises `BadCell` if it is none."""
    allowed = {fold(word).casefold(): word for word in words}
    if fold(text).casefold() not in allowed:
        raise _bad("choice", text=text, words=", ".join(allowed.values()))
    return allowed[fold(text).casefold()]


def as_text(value: object) -> str:
    """Return a value as it is written into a cell; unknown (None, NaN) is blank.

    Examples
    --------
    >>> as_text(True), as_text(None), as_text(0.1), as_text(datetime(2025, 4, 3, 14, 5, tzinfo=UTC))
    ('yes', '', '0.1', '2025-04-03T14:05:00Z')
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, date) else str(value)


def guarded(text: str) -> str:
    """Return the text of a cell so that no spreadsheet takes it for a formula."""
    return f"\\{text}" if text.startswith(_FORMULA) else text


def unguarded(cell: str) -> str:
    r"""Return the text of a cell that was guarded, all else in it left alone.

    Examples
    --------
    >>> guarded("+49"), unguarded(guarded("+49")), unguarded("red thread")
    ('\\+49', '+49', 'red thread')
    """
    return cell[1:] if cell.startswith("\\") and cell[1:].startswith(_FORMULA) else cell


def write_sheet(path: str | PathLike[str], header: Sequence[str], rows: Iterable[Mapping[str, object]]) -> None:
    """Write what `sheet_text` gives, in UTF-8, wholly or not at all; an older file is replaced."""
    write_atomically(Path(path), sheet_text(header, rows).encode())


def sheet_text(header: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    r"""Return a CSV of values by column, as `as_text` writes them, with commas and ``\n`` line ends.

    A row with a column that the header lacks raises `WrongUse`.

    Examples
    --------
    >>> print(sheet_text(["place", "want"], [{"place": 1}, {"place": 2, "want": True}]), end="")
    place,want
    1,
    2,yes
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        extra = set(row) - set(header)
        if extra:
            raise WrongUse(say("cells.column_unknown", column=min(extra)))
        writer.writerow([re.sub(r"\r\n?", "\n", as_text(row.get(column))) for column in header])
    return out.getvalue()
