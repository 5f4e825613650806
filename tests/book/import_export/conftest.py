from __future__ import annotations

import datetime as dt

import pytest


@pytest.fixture
def ods():
    """Write a workbook of OpenDocument by its own library, a sheet a name; None is a blank cell."""
    from odf import teletype
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    def cell(value):
        if value is None:
            return TableCell()
        if isinstance(value, dt.date):
            return TableCell(valuetype="date", datevalue=value.isoformat())
        if isinstance(value, (int, float)):
            return TableCell(valuetype="float", value=repr(value))
        found, text = TableCell(valuetype="string"), P()
        teletype.addTextToElement(text, value)
        found.addElement(text)
        return found

    def write(path, **sheets):
        book = OpenDocumentSpreadsheet()
        for name, rows in sheets.items():
            table = Table(name=name)
            for row in rows:
                line = TableRow()
                for value in row:
                    line.addElement(cell(value))
                table.addElement(line)
            book.spreadsheet.addElement(table)
        book.save(path)
        return path

    return write


@pytest.fixture
def xlsx():
    """Write a workbook of Excel, a sheet a name."""
    import openpyxl

    def write(path, *, epoch=None, **sheets):
        book = openpyxl.Workbook()
        book.remove(book.active)
        if epoch is not None:
            book.epoch = epoch
        for name, rows in sheets.items():
            sheet = book.create_sheet(name)
            for row in rows:
                sheet.append(list(row))
        book.save(path)
        return path

    return write
