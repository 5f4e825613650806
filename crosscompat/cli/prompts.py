"""What somebody types: answers at the terminal, days and hours, and who writes."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from datetime import date, datetime, time

import typer

from crosscompat.cli.output import shown
from crosscompat.ground.dates import TwoDates, read_date, spoken_date, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["any_day", "author", "choose", "confirm", "hour", "on_a_terminal", "past_day", "spoken", "today"]


def on_a_terminal() -> bool:
    """Tell whether somebody can answer."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def confirm(question: str) -> bool | None:
    """Ask yes or no, a blank being no; None where nobody can be asked."""
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return None
    return typer.confirm(shown(question), err=True)


def choose(question: str, words: Sequence[str]) -> str | None:
    """Ask for one of some words, of which the beginning is enough, until it is one; None if there is no answer."""
    prompt = shown(say("asking.choose", question=question, words="/".join(words)))
    while True:
        try:
            typed = input(prompt).strip().casefold()
        except EOFError:
            return None
        meant = [word for word in words if word == typed] or [
            word for word in words if typed and word.startswith(typed)
        ]
        if len(meant) == 1:
            return meant[0]


def spoken(day: str) -> str:
    """Return a day of an answer, ISO 8601, as people say it."""
    return spoken_date(date.fromisoformat(day), today())


def any_day(text: str, latest: date | None = None) -> date:
    """Return the day that was typed, asking where the day could be the month; `read_date` says what it raises."""
    try:
        return read_date(text, today(), latest)
    except TwoDates as two:
        words = {spoken_date(day).casefold(): day for day in two.dates}
        answer = choose(say("dates.which", text=text), tuple(words)) if on_a_terminal() else None
        if answer is None:
            raise
        return words[answer]


def past_day(text: str) -> date:
    """Return the day that was typed, which is none to come; `read_date` says what it raises."""
    return any_day(text, today())


def hour(text: str) -> time:
    """Return an hour written as 14:05; raises `WrongUse` if it is none."""
    try:
        return datetime.strptime(text.strip(), "%H:%M").time()  # noqa: DTZ007 - an hour of the local day
    except ValueError:
        raise WrongUse(say("entry.hour", got=text)) from None


def author(by: str | None) -> str | None:
    """Return who did it, by the option or else by the environment."""
    return (os.environ.get("CROSSCOMPAT_GROWER", "") if by is None else by).strip() or None
