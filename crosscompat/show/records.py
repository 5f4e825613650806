"""Rows of plain values as a file for other programs: CSV, or Parquet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any

from crosscompat.book.import_export.row_meaning import guarded
from crosscompat.ground.csv_cells import sheet_text
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["csv_text", "parquet"]

Records = Sequence[Mapping[str, Any]]
"""Rows with the same columns."""


def csv_text(records: Records) -> str:
    """Return rows as CSV with a heading; an unknown value is a blank, no number is rounded, no text is a formula.

    Examples
    --------
    >>> print(csv_text([{"place": 1, "chance": 0.25, "want": None}]), end="")
    place,chance,want
    1,0.25,
    """
    if not records:
        return ""
    rows = [{key: guarded(cell) if isinstance(cell, str) else cell for key, cell in row.items()} for row in records]
    return sheet_text(list(records[0]), rows)


def parquet(records: Records) -> bytes:
    """Return rows as Parquet; an unknown value is null, and a column of nothing else is one of words.

    Raises
    ------
    WrongUse
        If the library that writes it is not installed.
    """
    try:
        import pyarrow as pa  # noqa: PLC0415 - only Parquet needs it
        from pyarrow.parquet import write_table  # noqa: PLC0415 - as above
    except ModuleNotFoundError:
        raise WrongUse(say("rank.no_parquet")) from None
    table, file = pa.Table.from_pylist(list(records)), BytesIO()
    told = [pa.field(one.name, pa.string()) if pa.types.is_null(one.type) else one for one in table.schema]
    write_table(table.cast(pa.schema(told)), file)
    return file.getvalue()
