"""What is written in a cell, as a value; one small function a kind."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, time

from crosscompat.ground.dates import FIRST_YEAR, LAST_YEAR, readings, spoken_date
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

_WHOLE = re.compile(r"[0-9]{1,9}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_ISO_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIMESTAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}.*")
_FORMULA = ("=", "+", "-", "@")
_YES = frozenset({"yes", "y", "true", "1"})
_NO = frozenset({"no", "n", "false", "0"})


class BadCell(ValueError):
    """A cell does not hold what its column asks for: what is wrong, and what to write."""

    def __init__(self, what: str, advice: str) -> None:
        self.what = what
        self.advice = advice
        super().__init__(what)


def _bad(key: str, advice: str, **values: str) -> BadCell:
    return BadCell(say(f"cells.{key}", **values), say(f"cells.{advice}", **values))


def whole(text: str) -> int:
    """Return a whole number, zero or more; raises `BadCell` on anything else, such as "about 20" or "1,200"."""
    if not _WHOLE.fullmatch(text):
        raise _bad("whole", "whole_advice", text=text)
    return int(text)


def decimal(text: str, *, comma: bool = False) -> float:
    """Return a finite number, else raise `BadCell`; a decimal comma is read only where semicolons part the cells."""
    if _COMMA.fullmatch(text):
        fixed = text.replace(",", ".")
        if not comma:
            raise _bad("decimal_comma", "decimal_comma_advice", text=text, fixed=fixed)
        text = fixed
    value = float(text) if _DECIMAL.fullmatch(text) else math.inf
    if not math.isfinite(value):
        raise _bad("decimal", "decimal_advice", text=text)
    return value


def day(text: str) -> date:
    """Return a calendar day written year-month-day; `BadCell` says how else it could be meant.

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
        days = readings(text)
        advice = {0: "date_advice", 1: "date_write"}.get(len(days), "date_which")
        iso = dict(zip(("one", "two"), map(date.isoformat, days), strict=False))
        spoken = dict(zip(("one_day", "two_day"), map(spoken_date, days), strict=False))
        raise _bad("date", advice, text=text, **iso, **spoken)
    try:
        written = date.fromisoformat(text)
    except ValueError:
        written = date.min
    if not FIRST_YEAR <= written.year <= LAST_YEAR:
        raise _bad("date_none", "date_advice", text=text)
    return written


def timestamp(text: str) -> datetime:
    """Return a moment in UTC, else raise `BadCell`; its time zone must be written, as Z or +02:00."""
    try:
        written = datetime.fromisoformat(text) if _TIMESTAMP.fullmatch(text) else None
        moment = written.astimezone(UTC) if written and written.tzinfo else None
    except (ValueError, OverflowError):
        written = moment = None
    if moment is None:
        raise _bad("timestamp_zone" if written else "timestamp", "timestamp_advice", text=text)
    return moment


def hour(text: str) -> time:
    """Return a time of day, such as 9:05; raises `BadCell` if it is none."""
    try:
        return time.fromisoformat(text if text[1:2] != ":" else f"0{text}")
    except ValueError:
        raise _bad("hour", "hour_advice", text=text) from None


def yes_no(text: str) -> bool:
    """Return yes, y, true and 1 as True, no, n, false and 0 as False, in any case; raises `BadCell` on others."""
    word = text.casefold()
    if word not in _YES | _NO:
        raise _bad("yes_no", "yes_no_advice", text=text)
    return word in _YES


def choice(text: str, words: Iterable[str]) -> str:
    """Return the one of the words that is written, whatever its case and blanks; raises `BadCell` if it is none.

    Examples
    --------
    >>> choice("Damping off", ["damping_off", "mice"])
    'damping_off'
    """
    allowed = {fold(word).casefold(): word for word in words}
    word = allowed.get(fold(text).casefold())
    if word is None:
        raise _bad("choice", "choice_advice", text=text, words=", ".join(allowed.values()))
    return word


def as_text(value: object) -> str:
    """Return a value as it is written into a cell; unknown (None, NaN) is blank.

    Examples
    --------
    >>> as_text(True), as_text(None), as_text(0.1), as_text(datetime(2025, 4, 3, 14, 5, tzinfo=UTC))
    ('yes', '', '0.1', '2025-04-03T14:05:00Z')
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat() if isinstance(value, date) else str(value)


def guarded(text: str) -> str:
    r"""Return the text of a cell so that no spreadsheet takes it for a formula.

    Examples
    --------
    >>> guarded("=1+1"), guarded("red thread")
    ('\\=1+1', 'red thread')
    """
    return f"\\{text}" if text.startswith(_FORMULA) else text


def unguarded(cell: str) -> str:
    r"""Return the text of a cell that was guarded, all else in it left alone.

    Examples
    --------
    >>> unguarded(guarded("+49")), unguarded("red thread")
    ('+49', 'red thread')
    """
    return cell[1:] if cell.startswith("\\") and cell[1:].startswith(_FORMULA) else cell
