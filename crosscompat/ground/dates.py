"""Dates as hands write them and as people say them; in files they are ISO 8601."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from datetime import date, datetime, timedelta
from typing import Final, Protocol, TypeVar

from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

MONTHS: Final = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
                 "November", "December")  # fmt: skip
_DAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_ISO: Final = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{4})(\d\d)(\d\d)")
_NUMBERS: Final = re.compile(r"(\d{1,2})([-/. ])(\d{1,2})(?:\2\s*(\d{4}|\d\d))?\.?")
_NAMED: Final = re.compile(
    r"(?:(\d{1,2})(?:st|nd|rd|th)?\.? *([a-z]{3,9})|([a-z]{3,9})\.? *(\d{1,2})(?!\d)(?:st|nd|rd|th)?)"
    r"\.?,? *(\d{4}|\d\d)?"
)
_AGO: Final = re.compile(r"(\d+|a|an|one) (day|week)s? ago")
_YEAR_FIRST: Final = re.compile(r"(\d{4})\s?[-/. ]\s?(\d{1,2})\s?[-/. ]\s?(\d{1,2})\.?")
_YEAR_LAST: Final = re.compile(r"(\d{1,2})\s?[-/. ]\s?(\d{1,2})\s?[-/. ]\s?(\d{4}|\d\d)")
_LEAST: Final = 3  # letters of a month or a weekday
_SHORT_YEAR, _CENTURY, _LAST_CENTURY = 2, 2000, 70

FIRST_YEAR, LAST_YEAR = 1700, 2999
"""No day of a grower's lies outside these years."""

DEFAULT_START: Final = {"north": "01-01", "south": "07-01"}
"""Month and day on which seasons start, by hemisphere."""


class _Dated(Protocol):
    @property
    def date(self) -> date | None: ...


_D = TypeVar("_D", bound=_Dated)


class TwoDates(WrongUse):
    """A date of which nobody can tell the day from the month; ``dates`` are day first, then month first."""

    def __init__(self, text: str, dates: tuple[date, date]) -> None:
        self.dates = dates
        said = [spoken_date(day) for day in dates]
        super().__init__(say("dates.two", text=text, first=said[0], second=said[1], iso=dates[0].isoformat()))


def read_date(text: str, today: date, latest: date | None = None) -> date:
    """Return the day that a hand wrote.

    It is written as ``2026-05-20``, ``20/5/2026``, ``20 May``, ``yesterday``, ``last sunday`` or ``3 days ago``. In
    numbers with points the day comes first; without a year it is the last such day. ``latest`` is the last day that can
    be meant; it also settles which number is the month where only one reading keeps to it. Raises `TwoDates` if the day
    could be the month, `WrongUse` if it is no date, or a later one than can be meant.

    Examples
    --------
    >>> today = date(2026, 6, 17)
    >>> [read_date(text, today).isoformat() for text in ("20/5/2026", "20 May", "yesterday", "last sunday")]
    ['2026-05-20', '2026-05-20', '2026-06-16', '2026-06-14']
    >>> read_date("5/6/2026", today)
    Traceback (most recent call last):
    crosscompat.ground.dates.TwoDates: “5/6/2026” could be 5 June 2026 or 6 May 2026. Write it as 2026-06-05.
    """
    given = " ".join(text.casefold().split())
    meant = list(dict.fromkeys(_readings(given, today)))
    if not meant:
        raise WrongUse(say("dates.unread", text=text))
    past = [day for day in meant if latest is None or day <= latest]
    if not past:
        raise WrongUse(say("entry.future", date=spoken_date(meant[0])))
    if len(past) > 1:
        raise TwoDates(text, (past[0], past[1]))
    return past[0]


def readings(text: str, order: str | None = None) -> list[date]:
    """Return every day that a date with its year can mean.

    ``order``, "day-first" or "month-first", is what is said of days that end in the year; without it the day comes
    first, then the month.

    Examples
    --------
    >>> [day.isoformat() for day in readings("03/04/2025")], readings("3-April-2025") == readings("2025.4.3")
    (['2025-04-03', '2025-03-04'], True)
    """
    given = " ".join(text.casefold().split())
    if year_first := _YEAR_FIRST.fullmatch(given):
        return _day(*map(int, year_first.groups()))
    if year_last := _YEAR_LAST.fullmatch(given):
        a, b, year = int(year_last[1]), int(year_last[2]), _full_year(year_last[3])
        ways = {"day-first": (year, b, a), "month-first": (year, a, b)}
        return list(dict.fromkeys(day for way in ways if order in {None, way} for day in _day(*ways[way])))
    named = _NAMED.fullmatch(given.replace("-", " "))
    return _of_month(named, named[5]) if named and named[5] else []


def by_date(dated: Iterable[_D]) -> list[_D]:
    """Return records from the oldest to the latest; one without a date is older than any other."""
    return sorted(dated, key=lambda record: record.date or date.min)


def season_of(day: date, start: str = "01-01") -> int:
    """Return the season of a local day: the year in which the season starts that holds it, on ``MM-DD``.

    Examples
    --------
    A southern season that starts in July runs over the new year.

    >>> season_of(date(2025, 2, 3), "07-01"), season_of(date(2025, 7, 1), "07-01"), season_of(date(2025, 2, 3))
    (2024, 2025, 2025)
    """
    month, first = (int(part) for part in start.split("-"))
    return day.year if (day.month, day.day) >= (month, first) else day.year - 1


def today() -> date:
    """Return the local calendar day."""
    return datetime.now().astimezone().date()


def spoken_date(day: date, today: date | None = None) -> str:
    """Return a day as people say it, the year only where it is not this one.

    Examples
    --------
    >>> spoken_date(date(2026, 6, 5)), spoken_date(date(2026, 6, 5), date(2026, 8, 1))
    ('5 June 2026', '5 June')
    """
    year = "" if today is not None and day.year == today.year else f" {day.year}"
    return f"{day.day} {MONTHS[day.month - 1]}{year}"


def spoken_dates(text: str) -> str:
    """Return a note with its days as people say them, which stand in it as ISO 8601."""

    def spoken(day: re.Match[str]) -> str:
        try:
            return spoken_date(date.fromisoformat(day[0]))
        except ValueError:
            return day[0]

    return re.sub(r"\b\d{4}-\d\d-\d\d\b", spoken, text)


def spoken_span(first: date, last: date, today: date | None = None) -> str:
    """Return a stretch of days as people say it: "5 to 9 June"."""
    if first == last:
        return spoken_date(first, today)
    one_month = (first.year, first.month) == (last.year, last.month)
    return say("dates.span", first=first.day if one_month else spoken_date(first, today), last=spoken_date(last, today))


def _readings(given: str, today: date) -> list[date]:
    """Return every day that a text can mean, day first before month first."""
    if iso := _ISO.fullmatch(given):
        return _day(*(int(part) for part in iso.groups() if part is not None))
    if numbers := _NUMBERS.fullmatch(given):
        a, sign, b, year = numbers.groups()
        day_first, month_first = (_in_year(year, *order, today) for order in ((int(b), int(a)), (int(a), int(b))))
        return day_first + (month_first if sign in "/-" else [])
    if named := _NAMED.fullmatch(given):
        return _of_month(named, named[5], today)
    return _said(given, today)


def _of_month(named: re.Match[str], year: str | None, today: date = date.max) -> list[date]:
    day, month, month_first, day_last, _ = named.groups()
    alike = [i for i, full in enumerate(MONTHS, 1) if full.casefold().startswith(month or month_first)]
    return _in_year(year, alike[0], int(day or day_last), today) if len(alike) == 1 else []


def _said(given: str, today: date) -> list[date]:
    if given in {"today", "now", "yesterday"}:
        return [today - timedelta(days=given == "yesterday")]
    if ago := _AGO.fullmatch(given):
        n = int(ago[1]) if ago[1].isdigit() else 1
        return [today - timedelta(days=n * (7 if ago[2] == "week" else 1))]
    name = given.removeprefix("last ").removeprefix("on ")
    back = [(today.weekday() - i) % 7 for i, full in enumerate(_DAYS) if len(name) >= _LEAST and full.startswith(name)]
    return [today - timedelta(days=back[0] or (7 if given.startswith("last ") else 0))] if back else []


def _full_year(year: str) -> int:
    """Return a year of two figures in full: of the last century from 70 on."""
    if len(year) > _SHORT_YEAR:
        return int(year)
    return int(year) + _CENTURY - (100 if int(year) >= _LAST_CENTURY else 0)


def _in_year(year: str | None, month: int, day: int, today: date) -> list[date]:
    if year is not None:
        return _day(_full_year(year), month, day)
    years = (today.year - back for back in range(9))  # leap years are at most eight apart
    return [one for some in years for one in _day(some, month, day) if one <= today][:1]


def _day(year: int, month: int, day: int) -> list[date]:
    with suppress(ValueError):
        return [date(year, month, day)] if FIRST_YEAR <= year <= LAST_YEAR else []
    return []
