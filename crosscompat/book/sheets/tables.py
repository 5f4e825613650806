"""Tables of cells, written as CSV, XLSX or ODS: texts stay texts, whatever they look like."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, TypeAlias

from crosscompat.book.sheets.escapes import guarded
from crosscompat.book.sheets.ods import ods_of
from crosscompat.ground.csv_cells import write_sheet
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say

__all__ = ["Cell", "Table", "write_folder", "write_workbook"]

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
