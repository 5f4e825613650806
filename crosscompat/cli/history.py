"""Show who changed what and when, and take the last change back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import typer

from crosscompat.advice.history import ChangeTold, History, Touched, Undone, change_told, history_of
from crosscompat.book.entry.undo import take_back
from crosscompat.book.entry.validation import Bounds
from crosscompat.book.find_records import find_cross, find_plant
from crosscompat.book.records import Cross, Plant
from crosscompat.book.store import Reading
from crosscompat.cli.book_session import open_here
from crosscompat.cli.dates_and_author import hand, today
from crosscompat.cli.output import line, paragraph, print_json
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.wording import say

__all__ = ["print_change", "run", "run_undo"]

_SHOWN = 8


def run(folder: Path | None, about: str | None, *, most: int, as_json: bool) -> None:
    """Print the changes, the latest first; none makes the exit code 1."""
    with open_here(folder) as (_, store), store.reading() as page:
        found = history_of(page, _meant(page, about) if about else None, most, brief=not as_json)
    if as_json:
        print_json(found)
    else:
        _print(found)
    if not found.changes:
        raise typer.Exit(1)


def run_undo(folder: Path | None, number: int | None, *, by: str | None, dry_run: bool, as_json: bool) -> None:
    """Take a change back and print what it was."""
    with open_here(folder) as (here, store), store.writing("", who=hand(by), dry_run=dry_run) as pen:
        undone = take_back(pen, number, Bounds(today(), here.settings.pod[1]))
        told = Undone(
            replace(change_told(pen, undone, brief=not as_json), undone_by=None),
            None if dry_run else pen.change,
            dry_run,
        )
    if as_json:
        print_json(told)
        return
    line(say("history.would_undo" if dry_run else "history.undid"))
    print_change(told.undone)
    paragraph(say("entry.dry_run") if dry_run else say("the_book.change", number=told.change))


def _meant(page: Reading, text: str) -> Cross | Plant:
    """Return the cross of a number, or else the plant of a name."""
    try:
        return find_cross(page, text)
    except UnknownName as no_cross:
        try:
            return find_plant(page, text)
        except UnknownName as no_plant:
            message = f"{no_cross} {no_plant}"
            raise UnknownName(message, text, (*no_cross.nearest, *no_plant.nearest)) from None


def _print(history: History) -> None:
    if history.about:
        line(say("history.about", name=history.about))
    if not history.changes:
        line(say("history.nothing"))
    for change in history.changes:
        print_change(change)
    if history.earlier:
        paragraph(say("history.earlier", n=history.earlier))


def print_change(change: ChangeTold) -> None:
    """Print one change and what it did."""
    who = change.who or say("history.nobody")
    undone = say("history.undone_by", number=change.undone_by) if change.undone_by else ""
    at = change.at.replace("T", " ").replace("+00:00", " UTC")
    paragraph(say("history.change", number=change.number, at=at, who=who, what=change.what) + undone)
    for touched in change.records[:_SHOWN]:
        paragraph(_told(touched), indent=4, bullet=f"[{touched.short}] ")
    more = max(0, len(change.records) - _SHOWN) + change.left_out
    if more:
        paragraph(say("history.more" if change.records else "history.many", n=more), indent=4)


def _told(touched: Touched) -> str:
    head = say("history.touched", kind=touched.kind, how=say(f"history.how.{touched.how}"), says=touched.says)
    fields = "; ".join(
        say("correct.field_was", field=one.field, was=one.was or "—", now=one.now or "—") for one in touched.fields
    )
    return f"{head} ({fields})" if fields else head
