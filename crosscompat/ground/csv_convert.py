"""What is written in a cell, as a value; one small function a kind."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, time

from crosscompat.ground.dates import readings, spoken_date
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

__all__ = ["BadCell", "as_text", "choice", "day", "decimal", "hour", "timestamp", "whole", "yes_no"]

_WHOLE = re.compile(r"[0-9]{1,9}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_ISO_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIMESTAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}.*")
_YES = frozenset({"yes", "y", "true", "1"})
_NO = frozenset({"no", "n", "false", "0"})


class BadCell(ValueError):
    """A cell does not hold what its column asks for: what is wrong, and what to write."""

    def __init__(self, what: str, advice: str) -> None:
        self.what = what
        self.advice = advice
        super().__init__(what)


def _bad(key: str, text: str) -> BadCell:
    return BadCell(say(f"cells.{key}", text=text), say(f"cells.{key}_advice"))


def whole(text: str) -> int:
    """Return a whole number, zero or more.

    Raises
    ------
    BadCell
        If it is anything else, such as "about 20" or "1,200".

    Examples
    --------
    >>> whole("12")
    12
    """
    if not _WHOLE.fullmatch(text):
        raise _bad("whole", text)
    return int(text)


def decimal(text: str, *, comma: bool = False) -> float:
    """Return a finite number; a decimal comma is read only where the file's cells are parted by semicolons.

    Raises
    ------
    BadCell
        If it is no finite number.

    Examples
    --------
    >>> decimal("3.5"), decimal("3,5", comma=True)
    (3.5, 3.5)
    """
    if _COMMA.fullmatch(text):
        fixed = text.replace(",", ".")
        if not comma:
            what = say("cells.decimal_comma", text=text)
            raise BadCell(what, say("cells.decimal_comma_advice", fixed=fixed))
        text = fixed
    value = float(text) if _DECIMAL.fullmatch(text) else math.inf
    if not math.isfinite(value):
        raise _bad("decimal", text)
    return value


def day(text: str) -> date:
    """Return a calendar day written year-month-day; the order of day and month is never guessed.

    Raises
    ------
    BadCell
        With the ways in which it could be written.

    Examples
    --------
    >>> day("2025-04-03")
    datetime.date(2025, 4, 3)
    >>> try:
    ...     day("03/04/2025")
    ... except BadCell as bad:
    ...     print(bad.advice)
    Write 2025-04-03 for 3 April 2025, or 2025-03-04 for 4 March 2025.
    """
    if not _ISO_DAY.fullmatch(text):
        raise BadCell(say("cells.date", text=text), _date_advice(text))
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadCell(say("cells.date_none", text=text), say("cells.date_advice")) from None


def _date_advice(text: str) -> str:
    days = readings(text)
    if not days:
        return say("cells.date_advice")
    if len(days) == 1:
        return say("cells.date_write", one=days[0].isoformat())
    one, two = days
    values = {"one": one.isoformat(), "two": two.isoformat(), "one_day": spoken_date(one), "two_day": spoken_date(two)}
    return say("cells.date_which", **values)


def timestamp(text: str) -> datetime:
    """Return a moment in UTC; its time zone must be written, as Z or +02:00.

    Raises
    ------
    BadCell
        If it is no ISO 8601 date and time, or has no zone.

    Examples
    --------
    >>> timestamp("2025-04-03T14:05:00+02:00").isoformat()
    '2025-04-03T12:05:00+00:00'
    """
    try:
        written = datetime.fromisoformat(text) if _TIMESTAMP.fullmatch(text) else None
        moment = written.astimezone(UTC) if written and written.tzinfo else None
    except (ValueError, OverflowError):
        written = moment = None
    if moment is None:
        key = "timestamp_zone" if written else "timestamp"
        raise BadCell(say(f"cells.{key}", text=text), say("cells.timestamp_advice"))
    return moment


def hour(text: str) -> time:
    """Return a time of day.

    Raises
    ------
    BadCell
        If it is none.

    Examples
    --------
    >>> hour("9:05")
    datetime.time(9, 5)
    """
    try:
        return time.fromisoformat(text if text[1:2] != ":" else f"0{text}")
    except ValueError:
        raise _bad("hour", text) from None


def yes_no(text: str) -> bool:
    """Return yes as True and no as False.

    Raises
    ------
    BadCell
        If it is none of yes, no, y, n, true, false, 1, 0, in any case.

    Examples
    --------
    >>> yes_no("Y"), yes_no("false")
    (True, False)
    """
    word = text.casefold()
    if word not in _YES | _NO:
        raise _bad("yes_no", text)
    return word in _YES


def choice(text: str, words: Iterable[str]) -> str:
    """Return the one of the words that is written, whatever its case and with underscores or spaces.

    Raises
    ------
    BadCell
        If it is none of them.

    Examples
    --------
    >>> choice("Damping off", ["damping_off", "mice"])
    'damping_off'
    """
    allowed = {fold(word).casefold(): word for word in words}
    word = allowed.get(fold(text).casefold())
    if word is None:
        advice = say("cells.choice_advice", words=", ".join(allowed.values()))
        raise BadCell(say("cells.choice", text=text), advice)
    return word


def as_text(value: object) -> str:
    """Return a value as it is written into a cell; unknown (None, NaN) is blank.

    Examples
    --------
    >>> as_text(True), as_text(None), as_text(0.1), as_text(date(2025, 4, 3))
    ('yes', '', '0.1', '2025-04-03')
    >>> as_text(datetime(2025, 4, 3, 14, 5, tzinfo=UTC))
    '2025-04-03T14:05:00Z'
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, date) else str(value)
