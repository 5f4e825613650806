"""A record put right or taken back, and who changed what and when."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

import typer

from crosscompat.advice.season.history import (
    Correction,
    History,
    HistoryEntry,
    Undone,
    corrected,
    history_of,
    undone_of,
    withdrawn,
)
from crosscompat.book.entry import Bounds
from crosscompat.book.entry import correct as entry
from crosscompat.book.history import FieldChange
from crosscompat.book.numbers_and_names import find_cross_or_plant
from crosscompat.cli.options import By, DryRun, Folder, Json, Why, author, count, number, plain
from crosscompat.cli.output import give, line, paragraph
from crosscompat.cli.session import open_here
from crosscompat.ground.dates import spoken_dates, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

_SHOWN = 8


def correct(
    record: Annotated[str, typer.Argument(metavar="RECORD", help=say("help.correct_record"))],
    given: Annotated[list[str] | None, typer.Argument(metavar="FIELD=VALUE", help=say("help.correct_given"))] = None,
    by: By = None,
    folder: Folder = None,
    *,
    withdraw: Annotated[bool, plain("--withdraw", "help.correct_withdraw")] = False,
    with_rest: Annotated[bool, plain("--with-rest", "help.correct_with_rest")] = False,
    dry_run: DryRun = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    """Write the correction and say what changed."""
    if withdraw and given:
        raise WrongUse(say("correct.both"))
    with open_here(folder) as (settings, store), store.writing("", who=author(by), dry_run=dry_run) as pen:
        bounds = Bounds(today(), settings.pod[1])
        how: dict[str, bool] = {"dry_run": dry_run, "invented": settings.invented}
        if withdraw:
            done = withdrawn(pen, record, bounds, with_rest=with_rest, **how)
        else:
            done = corrected(pen, record, given or (), bounds, **how)
    give(done, lambda one: _print_correction(one, why=why), as_json=as_json)


def _print_correction(done: Correction, *, why: bool) -> None:
    fields = _fields(done.fields)
    gone = "; ".join(say("correct.taken_back", kind=one.kind, says=one.says) for one in done.withdrawn)
    if done.change is None:
        paragraph(say("correct.would", what=fields or gone))
        return
    paragraph(say("correct.done", what=fields or gone, number=done.change))
    if why and not done.withdrawn:
        paragraph(say("correct.now", kind=done.record.kind, says=done.record.says), bullet=f"[{done.record.short}] ")


def history(
    about: Annotated[str | None, typer.Argument(metavar="CROSS|PLANT", help=say("help.history_about"))] = None,
    most: Annotated[int, count("--most", "help.history_most", least=1)] = 20,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Print the changes, the latest first; none makes the exit code 1."""
    with open_here(folder) as (settings, store), store.reading() as page:
        one = find_cross_or_plant(page, about) if about else None
        found = history_of(page, one, most, brief=not as_json, invented=settings.invented)
    give(found, _print_history, as_json=as_json)
    if not found.changes:
        raise typer.Exit(1)


def undo(
    change: Annotated[
        int | None, typer.Argument(metavar="NUMBER", parser=number("NUMBER", int, 1), help=say("help.undo_number"))
    ] = None,
    by: By = None,
    folder: Folder = None,
    *,
    dry_run: DryRun = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    """Take a change back and say what it was."""
    with open_here(folder) as (settings, store), store.writing("", who=author(by), dry_run=dry_run) as pen:
        undone = entry.take_back(pen, change, Bounds(today(), settings.pod[1]))
        new = None if dry_run else pen.change
        done = undone_of(pen, undone, new, brief=not as_json, invented=settings.invented)
    give(done, lambda one: _print_undone(one, why=why), as_json=as_json)


def _print_undone(done: Undone, *, why: bool) -> None:
    key = "would_undo" if done.dry_run else "undid"
    paragraph(say(f"history.{key}", number=done.undone.number, what=done.undone.what, change=done.change))
    if why:
        _print_records(done.undone)


def _print_history(found: History) -> None:
    if found.about:
        line(say("history.about", name=found.about))
    if not found.changes:
        line(say("history.nothing"))
    for change in found.changes:
        who = change.who or say("history.nobody")
        undone = say("history.undone_by", number=change.undone_by) if change.undone_by else ""
        at = f"{spoken_dates(change.at[:10])}, {change.at[11:16]} UTC"
        paragraph(say("history.change", number=change.number, at=at, who=who, what=change.what) + undone)
        _print_records(change)
    if found.earlier:
        paragraph(say("history.earlier", n=found.earlier))


def _print_records(change: HistoryEntry) -> None:
    for touched in change.records[:_SHOWN]:
        fields = f" ({_fields(touched.fields)})" if touched.fields else ""
        head = say("history.touched", kind=touched.kind, how=say(f"history.how.{touched.how}"), says=touched.says)
        paragraph(head + fields, indent=4, bullet=f"[{touched.short}] ")
    more = max(0, len(change.records) - _SHOWN) + change.left_out
    if more:
        paragraph(say("history.more" if change.records else "history.many", n=more), indent=4)


def _fields(changed: Iterable[FieldChange]) -> str:
    return "; ".join(
        say("correct.field_was", field=one.field, was=one.was or "—", now=one.now or "—") for one in changed
    )
