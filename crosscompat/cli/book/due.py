"""What to look at this week, on the screen or in a phone's calendar."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Annotated

from crosscompat.advice.season.due import Due, DueList, due_list
from crosscompat.book.timelines import Life, lives_of
from crosscompat.cli.options import Day, Folder, Json, count, plain
from crosscompat.cli.output import deliver_calendar, give, line, paragraph
from crosscompat.cli.session import settings_at
from crosscompat.collection.settings import Settings, book_place, open_book
from crosscompat.ground.dates import spoken_date, spoken_span, today
from crosscompat.ground.wording import say
from crosscompat.show.exports import Reminder

_MOST_ENDLESS = 10


def due(
    as_of: Day = None,
    days: Annotated[int, count("--days", "help.due_days", least=1)] = 7,
    ics: Annotated[Path | None, plain("--ics", "help.due_ics", "FILE")] = None,
    folder: Folder = None,
    *,
    everything: Annotated[bool, plain("--all", "help.due_all")] = False,
    as_json: Json = False,
) -> None:
    """Say what is due, and write the calendar if one is asked for."""
    place, settings = settings_at(folder)
    day = as_of or today()
    lives, changed = _lives(place, settings, day)
    asked = due_list(lives, settings, day, ahead=None if everything else days)
    give(asked, lambda answer: _print(answer, settings), as_json=as_json)
    if ics is not None:
        entries = [entry for entry in due_list(lives, settings, day, ahead=None).due if entry.task != "tell"]
        stamp = changed or datetime.combine(day, time(), UTC)
        name = say("due.calendar.name", name=settings.name)
        deliver_calendar(name, [_reminder(entry, settings, day) for entry in entries], stamp, ics)


def _lives(place: Path, settings: Settings, day: date) -> tuple[tuple[Life, ...], datetime | None]:
    """Return the crosses of the book, and when it was last written in."""
    where = book_place(place, settings)
    if isinstance(where, Path) and not where.exists():
        return (), None
    with open_book(place, settings) as store, store.reading() as page:
        return lives_of(page, day), max((change.at for change in page.changes()), default=None)


def _print(answer: DueList, settings: Settings) -> None:
    day, until = (date.fromisoformat(text) if text else None for text in (answer.as_of, answer.until))
    if not answer.due:
        line(say("due.nothing", until=spoken_date(until, day)) if until else say("due.nothing_at_all"))
        return
    when = spoken_span(day, until, day) if day and until else spoken_date(day or today())
    paragraph(say("due.heading" if until else "due.heading_all", when=when))
    for task in dict.fromkeys(entry.task for entry in answer.due):
        entries = [entry for entry in answer.due if entry.task == task]
        line()
        line(say(f"due.tasks.{task}", fruit=settings.fruit_word))
        shown = entries[-_MOST_ENDLESS:] if task == "tell" and until else entries
        for entry in shown:
            paragraph(f"{entry.cross}  {entry.pairing}", indent=2, bullet="! " if entry.late else "- ")
            paragraph("; ".join(part for part in (entry.says, entry.where) if part), indent=6)
        if len(shown) < len(entries):
            paragraph(say("due.more", n=len(entries) - len(shown)), indent=2)
    line()
    line(say("due.spans"))
    for known in answer.known:
        paragraph(known.says, indent=2, bullet="· ")
    if answer.caution:
        line()
        paragraph(answer.caution)


def _reminder(entry: Due, settings: Settings, day: date) -> Reminder:
    """Return what a phone shows: on the first day, or today where that has passed, for a phone only rings ahead."""
    task = say(f"due.tasks.{entry.task}", fruit=settings.fruit_word)
    summary = say(f"due.calendar.summary{'_late' if entry.late else ''}", task=task, cross=entry.cross)
    sure = say("due.calendar.sure", sure=entry.sure) if entry.sure else ""
    where = say("due.calendar.where", where=entry.where) if entry.where else ""
    first, last, since = map(date.fromisoformat, (entry.first, entry.last, entry.since))
    when = {"expected": spoken_span(first, last), "since": spoken_date(since)}
    says = [say("due.calendar.description", pairing=entry.pairing, where=where, sure=sure, **when)]
    says += [say("cli.invented")] if settings.invented else []
    return Reminder(entry.id, max(first, day), summary, " ".join(says), entry.where)
