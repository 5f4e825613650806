"""Tables of the collection (CSV): read with the place of every fault, cell by cell, and written whole or not at all."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path
from types import MappingProxyType
from typing import Protocol, TypeVar

from crosscompat.ground import csv_convert
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.files import named, write_atomically
from crosscompat.ground.names import fold
from crosscompat.ground.wording import catalogue, say

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
        """Return where a cell stands, in the file's own words.

        Examples
        --------
        >>> str(Sheet("plants.csv", ("clone",), (), {"clone": "Clone"}).place(Row(4, {}), "clone"))
        'plants.csv, row 4, column Clone'
        """
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
    sheet = Sheet(Path(path).name, (), ())
    records, separator = read_records(path, own)
    if records:
        sheet = _sheet(sheet.file, records, own, comma=separator == ";")
        if sheet.header:
            _check_columns(sheet, known, required, own)
    if faults is None:
        raise_faults(own)
    else:
        faults += own
    return sheet


class _Source(Protocol):
    """A file in a folder or in a zip."""

    @property
    def name(self) -> str: ...

    def read_bytes(self) -> bytes: ...


def read_records(path: str | PathLike[str] | _Source, faults: list[Fault]) -> tuple[list[list[str]], str]:
    """Return the cells of a CSV row by row, as they are written, and what parts them; none where there is a fault."""
    records, separator = iterate_records(path, faults)
    return list(records), separator


def iterate_records(path: str | PathLike[str] | _Source, faults: list[Fault]) -> tuple[Iterator[list[str]], str]:
    """Return what `read_records` does, row by row for tables too big to be held; behind a fault nothing follows."""
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


def _text(path: _Source, faults: list[Fault]) -> str | None:
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


@dataclass(frozen=True, slots=True)
class Cells:
    """Reads the cells of one row into values; what cannot be read is None and adds a fault.

    A blank cell, or a column that is not there, is None; with ``needed`` it is a fault.

    Examples
    --------
    >>> faults = []
    >>> sheet = Sheet("crosses.csv", ("tried", "took"), (Row(2, {"tried": "12", "took": "some"}),))
    >>> cells = Cells(sheet, sheet.rows[0], faults)
    >>> cells.read("tried", csv_convert.whole), cells.read("took", csv_convert.whole)
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
        """Read a cell by any function that raises `csv_convert.BadCell` on what it cannot read."""
        text = (self.row.cells.get(column) or "").strip()
        if not text:
            if needed:
                self.fault(column, say("cells.needed"))
            return None
        try:
            return convert_cell(text)
        except csv_convert.BadCell as bad:
            self.fault(column, bad.what, bad.advice)
            return None

    def text(self, column: str, *, needed: bool = False) -> str | None:
        """Read text, without blanks around it."""
        return self.read(column, str, needed=needed)


def write_sheet(path: str | PathLike[str], header: Sequence[str], rows: Iterable[Mapping[str, object]]) -> None:
    """Write what `sheet_text` gives, in UTF-8, wholly or not at all; an older file is replaced."""
    write_atomically(Path(path), sheet_text(header, rows).encode())


def sheet_text(header: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    r"""Return a CSV of values by column, as `csv_convert.as_text` writes them, with commas and ``\n`` line ends.

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
        writer.writerow([re.sub(r"\r\n?", "\n", csv_convert.as_text(row.get(column))) for column in header])
    return out.getvalue()
