"""What commands that write into the cross book share: the day and the hand."""

from __future__ import annotations

import os
from datetime import date, datetime, time

from crosscompat.errors import WrongUse
from crosscompat.wording import say

__all__ = ["GROWER_VARIABLE", "day_told", "hand", "hour_told", "today"]

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


def hand(by: str | None) -> str | None:
    """Return who did it, by the option or else by the environment."""
    return (by if by is not None else os.environ.get(GROWER_VARIABLE, "")).strip() or None
