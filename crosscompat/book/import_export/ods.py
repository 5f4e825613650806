"""Workbooks of OpenDocument 1.3 (OASIS Standard, 2021, part 3: schema), written straight as XML: a record is a row."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from io import BytesIO
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo

if TYPE_CHECKING:
    from crosscompat.book.import_export.whole_book import Table

__all__ = ["ods_of"]

_TYPE = "application/vnd.oasis.opendocument.spreadsheet"
_NAMES = "urn:oasis:names:tc:opendocument:xmlns:"
_SPACES = re.compile(r"^ +| {2,}| $")
_MANIFEST = f"""<?xml version="1.0" encoding="UTF-8"?>
<manifest:manifest xmlns:manifest="{_NAMES}manifest:1.0" manifest:version="1.3">
<manifest:file-entry manifest:full-path="/" manifest:version="1.3" manifest:media-type="{_TYPE}"/>
<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>
</manifest:manifest>
"""
_HEAD = f"""<?xml version="1.0" encoding="UTF-8"?>
<office:document-content xmlns:office="{_NAMES}office:1.0" xmlns:table="{_NAMES}table:1.0" \
xmlns:text="{_NAMES}text:1.0" office:version="1.3"><office:body><office:spreadsheet>"""
_FOOT = "</office:spreadsheet></office:body></office:document-content>"


def ods_of(tables: Iterable[Table]) -> bytes:
    """Return a workbook with a sheet for each table; the same tables always give the same bytes."""
    out = BytesIO()
    with ZipFile(out, "w") as package:
        package.writestr(_entry("mimetype", ZIP_STORED), _TYPE)
        package.writestr(_entry("META-INF/manifest.xml"), _MANIFEST)
        content = (_HEAD, *(part for table in tables for part in _sheet(table)), _FOOT)
        package.writestr(_entry("content.xml"), "".join(content).encode())
    return out.getvalue()


def _entry(name: str, compression: int = ZIP_DEFLATED) -> ZipInfo:
    """Name a part of the package; the first one must lie there as it is (ODF 1.3, part 2, 3.3)."""
    entry = ZipInfo(name)
    entry.compress_type = compression
    return entry


def _sheet(table: Table) -> Iterator[str]:
    yield f"<table:table table:name={quoteattr(table.name)}>"
    yield f'<table:table-column table:number-columns-repeated="{len(table.header)}"/>'
    yield from map(_row, (table.header, *table.rows))
    yield "</table:table>"


def _row(cells: Sequence[str | float | None]) -> str:
    return f"<table:table-row>{''.join(map(_cell, cells))}</table:table-row>"


def _cell(cell: str | float | None) -> str:
    if cell is None:
        return "<table:table-cell/>"
    if isinstance(cell, str):
        lines = "".join(f"<text:p>{_line(line)}</text:p>" for line in cell.split("\n"))
        return f'<table:table-cell office:value-type="string">{lines}</table:table-cell>'
    value = f'office:value-type="float" office:value="{cell!r}"'
    return f"<table:table-cell {value}><text:p>{cell!r}</text:p></table:table-cell>"


def _line(text: str) -> str:
    """Return one line; blanks that a reader would run together are counted (ODF 1.3, part 3, 6.1.3)."""
    return _SPACES.sub(_spaces, escape(text))


def _spaces(found: re.Match[str]) -> str:
    many = len(found[0])
    plain = " " if found.start() and many > 1 else ""
    return f'{plain}<text:s text:c="{many - len(plain)}"/>'
