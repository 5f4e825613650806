"""Workbooks (XLSX, ODS) cell by cell: what a cell came to, and where it came to nothing, what stands in it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any, TypeAlias
from xml.etree.ElementTree import Element, ParseError, iterparse
from zipfile import BadZipFile, ZipFile

from crosscompat.ground.csv_cells import raise_faults
from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.wording import say

Value: TypeAlias = str | int | float | date | datetime | time | timedelta | None
"""What a cell holds; None is blank. Yes and no of a workbook are texts."""

_Cell: TypeAlias = tuple[str, int, int, str | None]
"""Sheet, row and column from 1, and what stands in a cell that came to no value."""

_MOST_CELLS = 10_000_000


def read_workbook(path: Path) -> list[tuple[str, list[list[Value]]]]:
    """Return the name and the rows of each sheet, from its first cell on; formulas as what they last came to.

    A formula that came to an error, or to nothing yet, is the text of the error or of the formula: it is no blank.

    Raises
    ------
    BadInput
        If the file is absent or damaged, has a password, or a stray cell makes a sheet too big to be held.
    WrongUse
        If the package that reads workbooks is not installed.
    """
    if not path.is_file():
        key = "cells.is_folder" if path.is_dir() else "cells.missing_file"
        raise BadInput([Fault(Place(str(path)), say(key))])
    try:
        import python_calamine as calamine  # noqa: PLC0415 - only a workbook needs it
    except ModuleNotFoundError as error:
        raise WrongUse(say("sheets.extra", package=error.name)) from None
    try:
        no_value = _cells_without_value(path)
        book = calamine.CalamineWorkbook.from_path(path)
        sheets = {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in book.sheet_names}
    except calamine.PasswordError:
        raise BadInput([Fault(Place(path.name), say("sheets.password"))]) from None
    except calamine.CalamineError as error:
        raise BadInput([Fault(Place(path.name), say("sheets.unsound", reason=str(error).rstrip(".")))]) from None
    values = {name: [list(map(_value, row)) for row in rows] for name, rows in sheets.items()}
    for name, row, column, text in no_value:
        rows = values.get(name, [])
        rows += [[] for _ in range(len(rows), row)]
        rows[row - 1] += [None] * (column - len(rows[row - 1]))
        rows[row - 1][column - 1] = text
    return list(values.items())


def _value(cell: Any) -> Value:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, str):
        return cell if cell.strip() else None
    if isinstance(cell, float) and cell.is_integer() and not (cell == 0 and str(cell).startswith("-")):
        return int(cell)
    return cell  # type: ignore[no-any-return]


def _cells_without_value(path: Path) -> list[_Cell]:
    """Return the cells that came to no value; `BadInput` says that a sheet is too big before it is made."""
    no_value: list[_Cell] = []
    reach: dict[str, tuple[int, int]] = {}
    with suppress(BadZipFile, ParseError, KeyError), ZipFile(path) as file:  # calamine says what is wrong
        for cell in _of_ods(file) if path.suffix.lower() == ".ods" else _of_xlsx(file):
            sheet, row, column, text = cell
            rows, columns = reach.get(sheet, (0, 0))
            reach[sheet] = max(rows, row), max(columns, column)
            if text is not None:
                no_value.append(cell)
    far = [(sheet, *size) for sheet, size in reach.items() if size[0] * size[1] > _MOST_CELLS]
    advice = say("sheets.far_advice")
    raise_faults(
        [Fault(Place(path.name, sheet=name), say("sheets.far", row=r, column=c), advice) for name, r, c in far]
    )
    return no_value


def _of_xlsx(file: ZipFile) -> Iterator[_Cell]:
    """Yield the cells that hold anything."""
    parts = {each.get("Id"): each.get("Target", "") for _, each in _elements(file, "xl/_rels/workbook.xml.rels")}
    for event, each in _elements(file, "xl/workbook.xml"):
        if event == "end" and _tag(each) == "sheet":
            target = parts[next(value for key, value in each.items() if key.endswith("}id"))]
            part = target[1:] if target.startswith("/") else f"xl/{target}"
            yield from _of_sheet(each.get("name", ""), _elements(file, part))


def _of_sheet(name: str, events: Iterator[tuple[str, Element]]) -> Iterator[_Cell]:
    row = column = 0
    for event, element in events:
        tag = _tag(element)
        if tag == "row" and event == "start":
            row, column = int(element.get("r", row + 1)), 0
        elif tag == "row":
            element.clear()
        elif tag == "c" and event == "end":
            column = _column(element.get("r")) or column + 1
            inside = {_tag(each): each.text for each in element}
            if element.get("t") == "e":
                yield name, row, column, inside.get("v") or "#"
            elif "f" in inside and not inside.get("v") and element.get("t") != "str":
                yield name, row, column, f"={inside['f'] or '…'}"
            elif inside:
                yield name, row, column, None


def _column(reference: str | None) -> int:
    """Return the number of the column of a cell's address, such as 28 of AB7."""
    number = 0
    for letter in re.sub("[^A-Z]", "", reference or ""):
        number = 26 * number + ord(letter) - ord("A") + 1
    return number


def _of_ods(file: ZipFile) -> Iterator[_Cell]:
    """Yield the cells that hold anything."""
    name, row, column = "", 0, 0
    for event, element in _elements(file, "content.xml"):
        tag, says = _tag(element), {key.partition("}")[2]: value for key, value in element.items()}
        if tag == "table" and event == "start":
            name, row = says.get("name", ""), 0
        elif tag == "table-row":
            row += 1 if event == "start" else int(says.get("number-rows-repeated", 1)) - 1
            column = 0
        elif tag.endswith("table-cell") and event == "end":
            if says.get("value-type") == "error":
                yield name, row, column + 1, "".join(element.itertext()) or "#"
            elif "value-type" in says or "formula" in says:
                yield name, row, column + 1, None if "value-type" in says else says["formula"].partition(":")[2]
            column += int(says.get("number-columns-repeated", 1))
            element.clear()


def _elements(file: ZipFile, part: str) -> Iterator[tuple[str, Element]]:
    """Yield the start and the end of each element of a part."""
    with file.open(part) as stream:
        yield from iterparse(stream, ["start", "end"])  # noqa: S314 - expat itself bounds what entities come to


def _tag(element: Element) -> str:
    return element.tag.partition("}")[2] or element.tag
