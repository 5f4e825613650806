"""Days as spreadsheets write them: read where only one day can be meant, never guessed."""

from __future__ import annotations

import re
from datetime import date

from crosscompat.ground.wording import catalogue

__all__ = ["ORDERS", "is_open", "iso_day"]

ORDERS = ("day-first", "month-first")
_YEAR_FIRST = re.compile(r"(\d{4})\s?[-/. ]\s?(\d{1,2})\s?[-/. ]\s?(\d{1,2})\.?")
_YEAR_LAST = re.compile(r"(\d{1,2})\s?[-/. ]\s?(\d{1,2})\s?[-/. ]\s?(\d{4})")
_DAY_WORD = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[-. ]+([A-Za-z]+)\.?[-, ]+(\d{4})")
_WORD_DAY = re.compile(r"([A-Za-z]+)\.?[- ]+(\d{1,2})(?:st|nd|rd|th)?[-, ]+(\d{4})")
_LETTERS = 3


def iso_day(text: str, order: str | None = None) -> str:
    """Return a day as year-month-day where it is certain; else the text as it is.

    Parameters
    ----------
    text : str
    order : {"day-first", "month-first"}, optional
        What the grower says of days that end in the year; without it such a day is certain only where it has one
        reading.

    Examples
    --------
    >>> iso_day("25/4/2025"), iso_day("3 April 2025"), iso_day("03/04/2025"), iso_day("03/04/2025", "day-first")
    ('2025-04-25', '2025-04-03', '03/04/2025', '2025-04-03')
    """
    days = {found for found in _readings(text.strip(), order) if found is not None}
    return days.pop().isoformat() if len(days) == 1 else text


def is_open(text: str) -> bool:
    """Tell whether a day could be two, by the order of day and month.

    Examples
    --------
    >>> is_open("03/04/2025"), is_open("25/04/2025"), is_open("2025-04-03")
    (True, False, False)
    """
    return len({found for found in _readings(text.strip(), None) if found is not None}) > 1


def _readings(text: str, order: str | None) -> list[date | None]:
    if found := _YEAR_FIRST.fullmatch(text):
        year, month, day = map(int, found.groups())
        return [_calendar(year, month, day)]
    if found := _YEAR_LAST.fullmatch(text):
        first, second, year = map(int, found.groups())
        both = {"day-first": _calendar(year, second, first), "month-first": _calendar(year, first, second)}
        return [both[order]] if order else list(both.values())
    if found := _DAY_WORD.fullmatch(text):
        return [_calendar(int(found[3]), _month(found[2]), int(found[1]))]
    if found := _WORD_DAY.fullmatch(text):
        return [_calendar(int(found[3]), _month(found[1]), int(found[2]))]
    return []


def _month(word: str) -> int:
    """Return the number of a month by its name or the beginning of that, 0 for none."""
    names = [name.casefold() for name in catalogue("cells")["month_names"]]
    found = [i for i, name in enumerate(names, 1) if name.startswith(word.casefold())]
    return found[0] if len(word) >= _LETTERS and len(found) == 1 else 0


def _calendar(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
