"""What commands that write into the cross book share: the day and the hand."""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import date, datetime, time

from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["GROWER_VARIABLE", "blanks_told", "day_told", "hand", "hour_told", "today"]

GROWER_VARIABLE = "CROSSCOMPAT_GROWER"
"""The environment's variable that names who writes."""


def today() -> date:
    """Return the local calendar day."""
    return datetime.now().astimezone().date()


def day_told(given: datetime | None) -> date:
    """Return the day that something happened on, today if none was given.

    Raises
    ------
    WrongUse
        If it is still to come.
    """
    day = given.date() if given else today()
    if day > today():
        raise WrongUse(say("entry.future", date=day.isoformat()))
    return day


def hour_told(given: str | None) -> time | None:
    """Return an hour written as 14:05.

    Raises
    ------
    WrongUse
        If it is none.
    """
    if given is None:
        return None
    try:
        return datetime.strptime(given.strip(), "%H:%M").time()  # noqa: DTZ007 - an hour of the local day
    except ValueError:
        raise WrongUse(say("entry.hour", got=given)) from None


def blanks_told(options: Mapping[str, object]) -> str:
    """Return what is told of options that were given and are blank; nothing if none is.

    Examples
    --------
    >>> blanks_told({"--note": " ", "--lot": None, "--seeds": 0})
    '--note is blank, so it says nothing. Leave it out, or say something.'
    """
    blank = [name for name, value in options.items() if isinstance(value, str) and not value.strip()]
    if not blank:
        return ""
    return say("entry.blank" if len(blank) > 1 else "entry.blank_one", options=", ".join(blank))


def hand(by: str | None) -> str | None:
    """Return who did it, by the option or else by the environment.

    Raises
    ------
    WrongUse
        If the option is blank.
    """
    blank = blanks_told({"--by": by})
    if blank:
        raise WrongUse(blank)
    return (by if by is not None else os.environ.get(GROWER_VARIABLE, "")).strip() or None
