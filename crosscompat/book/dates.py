"""Records in the order of their days, and which season a day belongs to."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Protocol, TypeVar

__all__ = ["DEFAULT_START", "by_date", "season_of"]


class _Dated(Protocol):
    @property
    def date(self) -> date | None: ...


_D = TypeVar("_D", bound=_Dated)


def by_date(found: Iterable[_D]) -> list[_D]:
    """Return records from the oldest to the latest; one without a date is older than any other."""
    return sorted(found, key=lambda one: one.date or date.min)


DEFAULT_START = {"north": "01-01", "south": "07-01"}


def season_of(day: date, start: str = "01-01") -> int:
    """Return the season of a day: the year in which the season that holds the day starts.

    Parameters
    ----------
    day : date
        The local calendar day.
    start : str
        Month and day on which seasons start, as ``MM-DD``.

    Examples
    --------
    A southern season that starts in July runs over the new year.

    >>> season_of(date(2025, 2, 3), "07-01"), season_of(date(2025, 7, 1), "07-01"), season_of(date(2025, 2, 3))
    (2024, 2025, 2025)
    """
    month, first = (int(part) for part in start.split("-"))
    return day.year if (day.month, day.day) >= (month, first) else day.year - 1
