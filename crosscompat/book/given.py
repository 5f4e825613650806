"""The forecasts of a book, as they were given."""

from __future__ import annotations

from crosscompat.book import records
from crosscompat.book.forecasts import HEADER, GivenForecast
from crosscompat.book.store import Reading

__all__ = ["forecasts_of"]


def forecasts_of(page: Reading) -> tuple[GivenForecast, ...]:
    """Return every forecast that stands in a book, in the order in which they were given."""
    rows = page.columns(records.Forecast, *HEADER, in_order=True)
    return tuple(GivenForecast(**dict(zip(HEADER, row, strict=True))) for row in rows)
