"""Days to remember as an iCalendar file (RFC 5545), for any phone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

__all__ = ["Reminder", "calendar_file"]


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

    Parameters
    ----------
    name : str
        What a phone calls the calendar.
    reminders : iterable of Reminder
    stamp : datetime
        When what they rest on was last changed, in UTC; a phone takes the later of two entries with one identifier.
    """
    from icalendar import Alarm, Calendar, Event  # noqa: PLC0415 - only a calendar needs it

    calendar = Calendar()
    calendar.add("prodid", "-//crosscompat//due//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", name)
    for reminder in reminders:
        event = Event()
        event.add("uid", f"{reminder.id}@crosscompat")
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
