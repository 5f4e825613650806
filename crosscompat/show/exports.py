"""Files to take along: rows as CSV or Parquet, days to remember as a calendar, a checklist to print."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from html import escape
from io import BytesIO
from typing import Any

from crosscompat.ground.csv_cells import guarded, sheet_text
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

Records = Sequence[Mapping[str, Any]]
"""Rows with the same columns."""


def csv_text(records: Records) -> str:
    """Return rows as CSV with a heading; an unknown value is a blank, no number is rounded, no text is a formula.

    Examples
    --------
    >>> print(csv_text([{"place": 1, "chance": 0.25, "want": None}]), end="")
    place,chance,want
    1,0.25,
    """
    if not records:
        return ""
    rows = [{key: guarded(cell) if isinstance(cell, str) else cell for key, cell in row.items()} for row in records]
    return sheet_text(list(records[0]), rows)


def parquet(records: Records) -> bytes:
    """Return rows as Parquet; an unknown value is null, a column of nothing else is one of words.

    Where the library that writes it is not installed, `WrongUse` says so.
    """
    try:
        import pyarrow as pa  # noqa: PLC0415 - only Parquet needs it
        from pyarrow.parquet import write_table  # noqa: PLC0415 - as above
    except ModuleNotFoundError:
        raise WrongUse(say("rank.no_parquet")) from None
    table, file = pa.Table.from_pylist(list(records)), BytesIO()
    told = [pa.field(one.name, pa.string()) if pa.types.is_null(one.type) else one for one in table.schema]
    write_table(table.cast(pa.schema(told)), file)
    return file.getvalue()


@dataclass(frozen=True, slots=True)
class Reminder:
    """One day to remember: the same identifier later replaces it."""

    id: str
    day: date
    summary: str
    description: str
    place: str = ""


def calendar_file(name: str, reminders: Iterable[Reminder], stamp: datetime) -> bytes:
    """Return a calendar with an all-day entry and an alarm in the morning for each reminder.

    ``name`` is what a phone calls it, ``stamp`` when what the reminders rest on was last changed, in UTC: a phone takes
    the later of two entries with one identifier.
    """
    from icalendar import Alarm, Calendar, Event  # noqa: PLC0415 - only a calendar needs it

    calendar = Calendar()
    calendar.add("prodid", "-//crosscompat//due//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", " ".join(name.split()))
    for reminder in reminders:
        event = Event()
        event.add("uid", f"{' '.join(reminder.id.split())}@crosscompat")
        event.add("dtstamp", stamp)
        event.add("dtstart", reminder.day)
        event.add("dtend", reminder.day + timedelta(days=1))
        event.add("summary", reminder.summary)
        event.add("description", reminder.description)
        if reminder.place:
            event.add("location", reminder.place)
        event.add("transp", "TRANSPARENT")
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", reminder.summary)
        alarm.add("trigger", timedelta(hours=8))
        event.add_component(alarm)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


_SHEET = """
@page { size: A4 portrait; margin: 12mm; }
body { font: 10pt "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif; margin: 0; }
@media screen { body { margin: 12mm; } }
h2 { font-size: 11pt; margin: 5mm 0 1mm; }
table { border-collapse: collapse; width: 100%; break-inside: avoid; }
th { font-weight: normal; color: #56615b; font-size: 7pt; }
td { border: 0.3mm solid #8d9891; padding: 1mm 1.5mm; }
td.box { width: 7mm; height: 9mm; }
small { color: #56615b; }
"""


def checklist_page(title: str, weeks: Mapping[date, Sequence[tuple[str, str]]], notes: Sequence[str]) -> str:
    """Return a page of HTML to print: for each week a table of what to do, with an empty box for each of its evenings.

    ``weeks`` has by its first day what to do in each, as a line and a remark; ``notes`` stand below the title.

    Examples
    --------
    >>> page = checklist_page("Plan", {date(2026, 5, 4): [("A × B: 3 flowers", "fresh pollen")]}, [])
    >>> page.count('class="box"'), "<th>9</th>" in page
    (7, True)
    """
    parts = [f"<h1>{escape(title)}</h1>", *(f"<p>{escape(note)}</p>" for note in notes)]
    for begins, tasks in weeks.items():
        days = [begins + timedelta(days=n) for n in range(7)]
        heads = "".join(f"<th>{day.day}</th>" for day in days)
        boxes = '<td class="box"></td>' * len(days)
        rows = "".join(
            f"<tr><td>{escape(task)}<br><small>{escape(remark)}</small></td>{boxes}</tr>" for task, remark in tasks
        )
        heading = say("plan.week", date=spoken_date(begins))
        parts.append(f"<h2>{escape(heading)}</h2>\n<table><tr><th></th>{heads}</tr>{rows}</table>")
    head = f'<meta charset="utf-8"><title>{escape(title)}</title>\n<style>{_SHEET}</style>'
    body = "\n".join(parts)
    return f'<!DOCTYPE html>\n<html lang="en-GB">\n<head>{head}</head>\n<body>\n{body}\n</body>\n</html>\n'
