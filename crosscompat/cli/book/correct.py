"""A record put right, or taken back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from crosscompat.cli.dates_and_author import author, today
from crosscompat.cli.options import By, DryRun, Folder, Json, Why
from crosscompat.cli.output import give, paragraph
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.advice.history import Correction


def correct(
    record: Annotated[str, typer.Argument(metavar="RECORD", help=say("help.correct_record"))],
    given: Annotated[list[str] | None, typer.Argument(metavar="FIELD=VALUE", help=say("help.correct_given"))] = None,
    by: By = None,
    folder: Folder = None,
    *,
    withdraw: Annotated[bool, typer.Option("--withdraw", help=say("help.correct_withdraw"))] = False,
    with_rest: Annotated[bool, typer.Option("--with-rest", help=say("help.correct_with_rest"))] = False,
    dry_run: DryRun = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    """Write the correction and say what changed."""
    from crosscompat.advice.history import correction_of
    from crosscompat.book.entry import Bounds
    from crosscompat.book.entry import correct as entry
    from crosscompat.book.find_records import find_record
    from crosscompat.cli.book.book_session import open_here

    if withdraw and given:
        raise WrongUse(say("correct.both"))
    with open_here(folder) as (settings, store), store.writing("", who=author(by), dry_run=dry_run) as pen:
        bounds = Bounds(today(), settings.pod[1])
        before = find_record(pen, record)
        pen.what = say("correct.withdrew" if withdraw else "correct.what", record=record)
        gone = entry.withdraw(pen, before, bounds, with_rest=with_rest) if withdraw else ()
        after = None if withdraw else entry.correct(pen, before, given or (), bounds)
        change = None if dry_run else pen.change
        done = correction_of(pen, before, after, gone, change=change, invented=settings.invented)
    give(done, lambda one: _print(one, why=why), as_json=as_json)


def _print(done: Correction, *, why: bool) -> None:
    fields = "; ".join(
        say("correct.field_was", field=one.field, was=one.was or "—", now=one.now or "—") for one in done.fields
    )
    gone = "; ".join(say("correct.taken_back", kind=one.kind, says=one.says) for one in done.withdrawn)
    if done.change is None:
        paragraph(say("correct.would", what=fields or gone))
        return
    paragraph(say("correct.done", what=fields or gone, number=done.change))
    if why and not done.withdrawn:
        paragraph(say("correct.now", kind=done.record.kind, says=done.record.says), bullet=f"[{done.record.short}] ")
