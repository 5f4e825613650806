"""Files of cells as they stand: every sheet of a workbook, or the one table of a CSV."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any, TypeAlias

from crosscompat.ground.csv_cells import read_records
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.wording import say

__all__ = ["FORMATS", "Grid", "Value", "column_letter", "read_grids"]

Value: TypeAlias = str | int | float | date | datetime | time | timedelta | None
"""What a cell holds; None is blank. Yes and no of a workbook are texts."""

WORKBOOKS = (".xlsx", ".ods")
TEXTS = (".csv", ".tsv", ".txt")
FORMATS = (*TEXTS, *WORKBOOKS)


@dataclass(frozen=True, slots=True)
class Grid:
    """One table of cells.

    Attributes
    ----------
    file : str
        The file's name, without its folder.
    sheet : str or None
        The sheet's name in a workbook; None in a CSV.
    rows : sequence of sequences of Value
        From the first row of the file on, blank ones too; they may differ in length.
    decimal_comma : bool
        Whether a number may have a decimal comma: only where semicolons part the cells.
    """

    file: str
    sheet: str | None
    rows: Sequence[Sequence[Value]]
    decimal_comma: bool = False

    def place(self, row: int | None = None, column: str | None = None) -> Place:
        """Return where something stands in it."""
        return Place(self.file, row=row, column=column, sheet=self.sheet)

    @property
    def blank(self) -> bool:
        """Whether there is nothing in it."""
        return all(value is None for row in self.rows for value in row)


def read_grids(path: Path) -> tuple[Grid, ...]:
    """Read a CSV, XLSX or ODS, cell by cell, formulas as what they last came to.

    Raises
    ------
    BadInput
        If the file cannot be read.
    WrongUse
        If it is of no such format, or the package that reads workbooks is absent.
    """
    ending = path.suffix.lower()
    if ending in WORKBOOKS:
        return _workbook(path)
    if ending not in TEXTS:
        raise WrongUse(say("sheets.format", file=path.name, formats=", ".join(FORMATS)))
    faults: list[Fault] = []
    records, separator = read_records(path, faults)
    if faults:
        raise BadInput(faults)
    rows = [[cell if cell.strip() else None for cell in record] for record in records]
    return (Grid(path.name, None, rows, separator == ";"),)


def column_letter(place: int) -> str:
    """Return what a spreadsheet calls the column of a place, counted from 0.

    Examples
    --------
    >>> column_letter(0), column_letter(25), column_letter(26)
    ('A', 'Z', 'AA')
    """
    found = ""
    place += 1
    while place:
        place, letter = divmod(place - 1, 26)
        found = chr(ord("A") + letter) + found
    return found


def _workbook(path: Path) -> tuple[Grid, ...]:
    if not path.is_file():
        key = "cells.is_folder" if path.is_dir() else "cells.missing_file"
        raise BadInput([Fault(Place(str(path)), say(key))])
    try:
        import python_calamine as calamine  # noqa: PLC0415 - only a workbook needs it
    except ModuleNotFoundError as error:
        raise WrongUse(say("sheets.extra", package=error.name)) from None
    try:
        book = calamine.CalamineWorkbook.from_path(path)
        return tuple(
            Grid(path.name, name, [[_value(cell) for cell in row] for row in sheet.to_python(skip_empty_area=False)])
            for name, sheet in ((name, book.get_sheet_by_name(name)) for name in book.sheet_names)
        )
    except calamine.PasswordError:
        raise BadInput([Fault(Place(path.name), say("sheets.password"))]) from None
    except calamine.CalamineError as error:
        raise BadInput([Fault(Place(path.name), say("sheets.unsound", reason=str(error).rstrip(".")))]) from None


def _value(cell: Any) -> Value:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, str):
        return cell if cell.strip() else None
    if isinstance(cell, float) and cell.is_integer() and not (cell == 0 and str(cell).startswith("-")):
        return int(cell)
    return cell  # type: ignore[no-any-return]
