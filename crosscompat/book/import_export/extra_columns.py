"""What a table may say of a cross beyond its one line in the summary, each in the record that it belongs to."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import time
from types import MappingProxyType
from typing import Any

from crosscompat.book import records
from crosscompat.book.records import Record
from crosscompat.book.store import Reading
from crosscompat.ground.csv_cells import Cells, Sheet
from crosscompat.ground.csv_convert import BadCell, whole
from crosscompat.ground.errors import Fault
from crosscompat.ground.wording import say

__all__ = ["EXTRA", "extra_in", "extra_noted", "with_extra"]

EXTRA: Mapping[str, type[Record]] = MappingProxyType(
    {
        "aim": records.Cross,
        "wanted": records.Cross,
        "hour": records.Pollination,
        "marker": records.Pollination,
        "temperature": records.Pollination,
        "humidity": records.Pollination,
        "weight": records.SeedLot,
    }
)
"""Columns, and the kind of record that holds each."""

_MOST_WANTED = 5


def extra_in(sheet: Sheet, faults: list[Fault]) -> dict[int, dict[str, Any]]:
    """Return what each row says beyond the summary, by its number; what cannot be read adds a fault."""
    return {row.number: _row(Cells(sheet, row, faults)) for row in sheet.rows}


def extra_noted(page: Reading) -> Mapping[str, Mapping[str, set[Any]]]:
    """Return what the book says of each cross beyond the summary, by its identifier."""
    found: dict[str, dict[str, set[Any]]] = defaultdict(lambda: defaultdict(set))
    for name, kind in EXTRA.items():
        for cross, value in page.columns(kind, _cross_column(kind), name):
            found[cross][name].add(value)
    return found


def with_extra(found: Iterable[Record], extra: Mapping[str, Mapping[str, Any]]) -> Iterator[Record]:
    """Yield records with what their rows said beyond the summary.

    Parameters
    ----------
    found : iterable of Record
        Those of new crosses.
    extra : mapping
        By the identifier of the cross, then by column.
    """
    weighed = set()
    for record in found:
        cross = getattr(record, _cross_column(type(record)), "")
        own = {name: value for name, value in extra.get(cross, {}).items() if EXTRA[name] is type(record)}
        weighed |= {cross} if isinstance(record, records.SeedLot) else set()
        yield replace(record, **own) if own else record
    for cross, values in extra.items():
        if values.get("weight") is not None and cross not in weighed:
            yield records.SeedLot(cross=cross, weight=values["weight"])


def _row(cells: Cells) -> dict[str, Any]:
    found: dict[str, Any] = {
        "aim": cells.text("aim"),
        "wanted": cells.read("wanted", _wanted),
        "hour": cells.read("hour", _hour),
        "marker": cells.text("marker"),
        **{name: cells.decimal(name) for name in ("temperature", "humidity", "weight")},
    }
    return {name: value for name, value in found.items() if value is not None}


def _cross_column(kind: type[Record]) -> str:
    return "id" if kind is records.Cross else "cross"


def _wanted(text: str) -> int:
    found = whole(text)
    if not 1 <= found <= _MOST_WANTED:
        raise BadCell(say("sheets.wanted", text=text), say("sheets.wanted_advice"))
    return found


def _hour(text: str) -> time:
    try:
        return time.fromisoformat(text if text[1:2] != ":" else f"0{text}")
    except ValueError:
        raise BadCell(say("sheets.hour", text=text), say("sheets.hour_advice")) from None
