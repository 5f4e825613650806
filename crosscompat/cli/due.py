"""Print what to look at this week, or write it for a phone's calendar."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path

from crosscompat.advice.due import Due, DueList, due_list
from crosscompat.advice.next_steps import TASKS
from crosscompat.book.timelines import Life, lives_of
from crosscompat.cli.locate import settings_at
from crosscompat.cli.output import line, paragraph, print_json, talk
from crosscompat.collection.books import book_place, open_book
from crosscompat.collection.settings import Settings
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say
from crosscompat.show.calendar import Reminder, calendar_file

__all__ = ["run"]

_MOST_TO_TELL = 10


def run(folder: Path | None, *, as_of: date | None, ahead: int | None, calendar: Path | None, as_json: bool) -> None:
    """Say what is due, and write the calendar if one is asked for."""
    place, settings = settings_at(folder)
    day = as_of or datetime.now().astimezone().date()
    lives, changed = _book(place, settings, day)
    caution = say(f"cautions.handling.{settings.group}") if settings.group else ""
    found = due_list(lives, settings, day, ahead=ahead, caution=caution)
    if calendar is not None:
        entries = [entry for entry in due_list(lives, settings, day, ahead=None).due if entry.task != "tell"]
        write_atomically(calendar, _calendar(settings, entries, day, changed or datetime.combine(day, time(), UTC)))
    if as_json:
        print_json(found)
    else:
        _print(found, settings)
    if calendar is not None:
        talk(say("due.written", n=len(entries), file=str(calendar)))


def _book(place: Path, settings: Settings, day: date) -> tuple[tuple[Life, ...], datetime | None]:
    """Return the crosses of the book, and when it was last written in."""
    where = book_place(place, settings)
    if isinstance(where, Path) and not where.exists():
        return (), None
    store = open_book(place, settings)
    with store.reading() as page:
        changes = page.changes()
        lives = lives_of(page, day)
    store.engine.dispose()
    return lives, max((change.at for change in changes), default=None)


def _print(found: DueList, settings: Settings) -> None:
    if found.invented:
        paragraph(say("cli.invented"))
        line()
    if not found.due:
        line(say("due.nothing", until=found.until) if found.until else say("due.nothing_at_all"))
        return
    key = "heading" if found.until else "heading_all"
    paragraph(say(f"due.{key}", as_of=found.as_of, until=found.until))
    for task in TASKS:
        entries = [entry for entry in found.due if entry.task == task]
        if entries:
            line()
            line(_task(task, settings))
        shown = entries[-_MOST_TO_TELL:] if task == "tell" and found.until else entries
        for entry in shown:
            _print_entry(entry)
        if len(shown) < len(entries):
            paragraph(say("due.more", n=len(entries) - len(shown)), indent=2)
    line()
    line(say("due.spans"))
    for known in found.known:
        paragraph(known.says, indent=2, bullet="· ")
    if found.caution:
        line()
        paragraph(found.caution)


def _print_entry(entry: Due) -> None:
    late = f"{say('due.late')}: " if entry.late else ""
    paragraph(f"{entry.cross}  {entry.pairing}", indent=2, bullet="! " if entry.late else "- ")
    told = [f"{late}{_days(entry)}", entry.why, *([entry.where] if entry.where else [])]
    paragraph("; ".join(told), indent=6)


def _days(entry: Due) -> str:
    if entry.first == entry.last:
        return say("due.on_one", first=entry.first)
    return say("due.on", first=entry.first, last=entry.last)


def _task(task: str, settings: Settings) -> str:
    return say(f"due.tasks.{task}", fruit=settings.fruit_word)


def _calendar(settings: Settings, entries: list[Due], day: date, changed: datetime) -> bytes:
    reminders = [_reminder(entry, settings, day) for entry in entries]
    return calendar_file(say("due.calendar.name", name=settings.name), reminders, changed)


def _reminder(entry: Due, settings: Settings, day: date) -> Reminder:
    """Return what a phone shows: on the first day, or today where that has passed, for a phone only rings ahead."""
    late = "_late" if entry.late else ""
    description = say(
        f"due.calendar.description{'_one' if entry.first == entry.last else ''}",
        pairing=entry.pairing,
        where=say("due.calendar.where", where=entry.where) if entry.where else "",
        first=entry.first,
        last=entry.last,
        sure=say("due.calendar.sure", sure=entry.sure) if entry.sure else "",
        since=entry.since,
    )
    summary = say(f"due.calendar.summary{late}", task=_task(entry.task, settings), cross=entry.cross)
    return Reminder(entry.id, max(date.fromisoformat(entry.first), day), summary, description, entry.where)
