"""Learn from the season and print what moved."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

import typer

from crosscompat.advice.retrain import Lesson, Weighting, keep, learn, note_forecasts
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import columns, line, paragraph, print_json, screen_width, talk
from crosscompat.cli.track_record import print_track_record
from crosscompat.ground.names import bracketed
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent

__all__ = ["print_lesson", "run"]

_MOST_MOVED, _FEW_MOVED = 10, 5
_MOST_NAMED = 12


def run(folder: Path | None, *, as_of: date | None, dry_run: bool, as_json: bool = False, why: bool = False) -> None:
    """Retrain, keep the model and print the lesson; without a finished cross the exit code is 1.

    The model is kept before anything is printed: a reader who goes away early must not lose it.
    """
    collection = collection_at(folder)
    day = as_of or datetime.now().astimezone().date()
    lesson, saved = learn(collection, as_of=day)
    finished = lesson.learned
    kept = keep(folder or Path(), saved) if finished and not dry_run else None
    noted = note_forecasts(collection, saved, day) if kept is not None else 0
    if as_json:
        print_json(lesson)
    else:
        print_lesson(lesson, why=why)
    if not finished:
        talk(say("retrain.nothing"))
        raise typer.Exit(1)
    if kept is not None and not as_json:
        talk(say("cli.written", file=str(kept)))
        if noted:
            talk(say("retrain.noted", n=noted))


def print_lesson(lesson: Lesson, *, why: bool = False) -> None:
    """Print what a season changed: in a few lines, or with every figure behind them."""
    if lesson.learned:
        paragraph(lesson.after.words)
        _print_seasons(lesson)
    if lesson.left_out and not why:
        paragraph(say("retrain.left_out_count", n=sum(len(entry.crosses) for entry in lesson.left_out)))
    if lesson.track_record is not None and not why:
        paragraph(lesson.track_record.says[0])
    if why:
        _print_left_out(lesson)
        _print_checks(lesson)
        if lesson.track_record is not None:
            line()
            print_track_record(lesson.track_record)
    if lesson.learned and lesson.moved:
        line(say("retrain.moved"))
        _print_moved(lesson, _MOST_MOVED if why else _FEW_MOVED)
    if lesson.learned and why:
        line()
        line(say("retrain.weights"))
        heading, rows = _weights(lesson.weightings)
        for text in columns([heading, *rows], right=range(1, len(heading))):
            line("  " + text)


def _weights(entries: Sequence[Weighting]) -> tuple[list[str], list[list[str]]]:
    """Return a table of what weighs how much: before and after, or after at every stage of the chain."""
    stages = list(dict.fromkeys(entry.stage for entry in entries))
    if len(stages) == 1:
        heading = [say(f"retrain.columns.{key}") for key in ("feature", "before", "after", "unsure")]
        return heading, [[e.words, _signed(e.before), _signed(e.after), _spread(e.after_sd)] for e in entries]
    at = {(entry.stage, entry.words): _signed(entry.after) for entry in entries}
    heading = [say("retrain.columns.feature"), *(say(f"retrain.columns.{stage}") for stage in stages)]
    words = dict.fromkeys(entry.words for entry in entries)
    return heading, [[word, *(at.get((stage, word), "") for stage in stages)] for word in words]


def _print_seasons(lesson: Lesson) -> None:
    counts = [say("retrain.season", season=str(s.season), took=s.took, n=s.crosses) for s in lesson.seasons]
    paragraph(say("retrain.seasons", seasons="; ".join(counts)))


def _print_left_out(lesson: Lesson) -> None:
    if lesson.uncounted:
        paragraph(say("retrain.uncounted", n=lesson.uncounted), indent=2)
    if lesson.left_out:
        line(say("retrain.left_out"))
    for entry in lesson.left_out:
        named = ", ".join(entry.crosses[:_MOST_NAMED])
        more = ", …" if len(entry.crosses) > _MOST_NAMED else ""
        paragraph(f"{entry.words} ({named}{more})", indent=2, bullet="· ")


def _print_checks(lesson: Lesson) -> None:
    if lesson.checks:
        line()
        line(say("checks.heading"))
    for check in lesson.checks:
        paragraph(say("checks.line", cross=check.cross, says=check.says), indent=2, bullet="· ")


def _print_moved(lesson: Lesson, most: int) -> None:
    rows = [
        [
            say("retrain.pairing", seed=bracketed(moved.seed_parent), pollen=bracketed(moved.pollen_parent)),
            percent(moved.before.mean),
            percent(moved.after.mean),
            moved.after.words,
            moved.why,
        ]
        for moved in lesson.moved[:most]
    ]
    heading = [say(f"retrain.columns.{key}") for key in ("pairing", "before", "after", "words", "why")]
    table = columns([heading, *rows], right=[1, 2])
    if max(map(len, table)) + 2 <= screen_width():
        for text in table:
            line("  " + text)
        return
    for pairing, before, after, words, why in rows:
        line("  " + pairing)
        paragraph(say("retrain.stacked", before=before, after=after, words=words, why=why), indent=6)


def _signed(value: float | None) -> str:
    return say("retrain.none") if value is None else f"{value:+.2f}"


def _spread(value: float | None) -> str:
    return "" if value is None else f"±{value:.2f}"
