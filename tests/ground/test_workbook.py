"""Workbooks cell by cell: nothing in them becomes a silent blank, and none is too big to be refused."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import openpyxl
import pytest

from crosscompat.ground.errors import BadInput
from crosscompat.ground.workbook import read_workbook

WORD = '<table:table-cell office:value-type="string"><text:p>hi</text:p></table:table-cell>'
FORMULA = '<table:table-cell table:formula="of:=1+2"/>'
ERROR = WORD.replace('"string"', '"string" calcext:value-type="error"').replace("hi", "#N/A")
BLANK_ROWS = '<table:table-row table:number-rows-repeated="1048000"><table:table-cell/></table:table-row>'


def ods(path: Path, rows: str) -> Path:
    names = {"office": "office", "table": "table", "text": "text"}
    spaces = " ".join(f'xmlns:{key}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"' for key, name in names.items())
    spaces += ' xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0"'
    table = f'<office:spreadsheet><table:table table:name="S">{rows}</table:table></office:spreadsheet>'
    with zipfile.ZipFile(path, "w") as file:
        manifest = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
        file.writestr("META-INF/manifest.xml", f'<m:manifest xmlns:m="{manifest}"/>')
        file.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        text = f"<office:document-content {spaces}><office:body>{table}</office:body></office:document-content>"
        file.writestr("content.xml", text)
    return path


@pytest.fixture
def xlsx(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["tried", "took"])
    book.active.append([4, None])
    book.active.append([5, "=1+2"])
    book.active["B2"].value, book.active["B2"].data_type = "#N/A", "e"
    return book, tmp_path / "sheet.xlsx"


def test_an_error_and_a_formula_without_a_value_are_what_stands_in_the_cell(xlsx):
    book, path = xlsx
    book.create_sheet("more").append(["=SUM(A2:A9)"])
    book.save(path)
    assert read_workbook(path) == [
        ("Sheet", [["tried", "took"], [4, "#N/A"], [5, "=1+2"]]),
        ("more", [["=SUM(A2:A9)"]]),
    ]


def test_cells_that_do_not_say_where_they_stand(xlsx):
    """Some programs leave the addresses out."""
    book, path = xlsx
    book.save(path)
    with zipfile.ZipFile(path) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    with zipfile.ZipFile(path, "w") as file:
        for name, content in parts.items():
            file.writestr(name, re.sub(rb'(<(?:c|row)) r="\w+"', rb"\1", content) if "sheet1" in name else content)
    assert read_workbook(path)[0][1][1:] == [[4, "#N/A"], [5, "=1+2"]]


def test_the_same_in_ods(tmp_path):
    path = ods(tmp_path / "s.ods", f"<table:table-row>{WORD}{FORMULA}{ERROR}</table:table-row>{BLANK_ROWS}")
    assert read_workbook(path) == [("S", [["hi", "=1+2", "#N/A"]])]


@pytest.mark.parametrize("kind", ["xlsx", "ods"])
def test_a_stray_cell_at_the_far_corner_is_named_and_nothing_is_made_of_it(xlsx, kind):
    book, path = xlsx
    if kind == "xlsx":
        book.active["XFD1048576"] = "stray"
        book.save(path)
    else:
        far = f'<table:table-cell table:number-columns-repeated="16000"/>{WORD}'
        path = ods(path.with_suffix(".ods"), f"{BLANK_ROWS}<table:table-row>{far}</table:table-row>")
    with pytest.raises(BadInput, match=r"reaches down to row \d{7} and right to column 16\d{3}, .*\n.*one stray cell"):
        read_workbook(path)
