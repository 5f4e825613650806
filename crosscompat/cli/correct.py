"""Put a record right, or take it back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from crosscompat.advice.correction import Correction, correction_told
from crosscompat.book.entry.correct import correct, withdraw
from crosscompat.book.entry.validation import Bounds
from crosscompat.book.find_records import find_record
from crosscompat.book.records import Record
from crosscompat.cli.book_session import open_here
from crosscompat.cli.dates_and_author import hand, today
from crosscompat.cli.output import paragraph, print_json
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["run"]


def run(
    folder: Path | None,
    record: str,
    given: Sequence[str],
    *,
    take_back: bool,
    with_rest: bool,
    by: str | None,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Write the correction and print it."""
    if take_back and given:
        raise WrongUse(say("correct.both"))
    with open_here(folder) as (here, store), store.writing("", who=hand(by), dry_run=dry_run) as pen:
        bounds = Bounds(today(), here.settings.pod[1])
        before = find_record(pen, record)
        pen.what = say("correct.withdrew" if take_back else "correct.what", record=record)
        after: Record | None = None
        gone: Sequence[Record] = ()
        if take_back:
            gone = withdraw(pen, before, bounds, with_rest=with_rest)
        else:
            after = correct(pen, before, given, bounds)
        told = correction_told(pen, before, after, gone, change=None if dry_run else pen.change)
    if as_json:
        print_json(told)
    else:
        _print(told)


def _print(told: Correction) -> None:
    for one in told.fields:
        paragraph(say("correct.field_was", field=one.field, was=one.was or "—", now=one.now or "—"), bullet="· ")
    for gone in told.withdrawn:
        paragraph(say("correct.taken_back", kind=gone.kind, says=gone.says), bullet=f"[{gone.short}] ")
    if not told.withdrawn:
        paragraph(say("correct.now", kind=told.record.kind, says=told.record.says), bullet=f"[{told.record.short}] ")
    if told.change is None:
        paragraph(say("entry.dry_run"))
    else:
        paragraph(say("the_book.change", number=told.change))
