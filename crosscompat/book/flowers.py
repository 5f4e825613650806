"""When a plant has been seen in flower: its usual window, and whether it is open now."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from crosscompat.book import records
from crosscompat.book.store import Reading
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.wording import say

__all__ = ["Sighting", "Window", "latest", "sightings_of", "usual_window"]

_LEAP_YEAR, _DAYS = 2024, 366
_STILL_OPEN = 7
"""Days after which a sighting tells nothing of today: common practice, no source."""

_FEWEST = 3
"""Days seen open that make a window worth trusting: a judgement."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """A plant seen on some day: how many flowers were open, 0 for none; None where they were not counted."""

    date: date
    flowers: int | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """The days of the year on which a plant has been seen open.

    Attributes
    ----------
    first, last : str
        Month and day, ``MM-DD``; a window may run over the new year.
    days : int
        Different days on which it was seen open.
    """

    first: str
    last: str
    days: int

    @property
    def words(self) -> str:
        """The window in words.

        Examples
        --------
        >>> Window("04-20", "05-02", 5).words, Window("04-20", "04-20", 1).words
        ('20 April to 2 May', '20 April')
        """
        first, last = _spoken(self.first), _spoken(self.last)
        return first if first == last else say("rules.from_to", first=first, last=last)

    @property
    def trusted(self) -> bool:
        """Whether enough days stand behind it."""
        return self.days >= _FEWEST

    def away(self, day: date) -> int:
        """Return how many days a day lies outside; 0 inside.

        Examples
        --------
        >>> window = Window("12-20", "01-10", 5)
        >>> window.away(date(2025, 1, 3)), window.away(date(2025, 1, 13)), window.away(date(2025, 12, 18))
        (0, 3, 2)
        """
        first, last = (_of_year(date.fromisoformat(f"{_LEAP_YEAR}-{text}")) for text in (self.first, self.last))
        at = _of_year(day)
        if (at - first) % _DAYS <= (last - first) % _DAYS:
            return 0
        return min((first - at) % _DAYS, (at - last) % _DAYS)


def usual_window(days: Iterable[date]) -> Window | None:
    """Return the shortest stretch of the year that holds all days on which a plant was open; None if there are none.

    Examples
    --------
    >>> usual_window([date(2024, 5, 2), date(2025, 4, 20), date(2025, 4, 28)])
    Window(first='04-20', last='05-02', days=3)
    >>> usual_window([date(2024, 12, 30), date(2026, 1, 4)]).first
    '12-30'
    """
    dates = set(days)
    found = sorted({_of_year(day) for day in dates})
    if not found:
        return None
    gaps = [(found[i] - found[i - 1]) % _DAYS for i in range(len(found))]
    start = gaps.index(max(gaps))
    return Window(_month_day(found[start]), _month_day(found[start - 1]), len(dates))


def latest(sightings: Sequence[Sighting], day: date) -> Sighting | None:
    """Return the last sighting up to a day that still tells of that day; None if there is none.

    Of one day that which stands last counts.

    Examples
    --------
    >>> latest([Sighting(date(2026, 5, 1), 4), Sighting(date(2026, 5, 6), 0)], date(2026, 5, 8))
    Sighting(date=datetime.date(2026, 5, 6), flowers=0)
    >>> latest([Sighting(date(2026, 5, 1), 4)], date(2026, 5, 9)) is None
    True
    """
    recent = [one for one in sightings if 0 <= (day - one.date).days <= _STILL_OPEN]
    return max(reversed(recent), key=lambda one: one.date, default=None)


def sightings_of(page: Reading) -> Mapping[str, list[Sighting]]:
    """Return when each plant was seen, by its identifier.

    What was written down of its flowers comes first; a visit shows that the seed parent was open that day, and fresh
    pollen that its giver was.
    """
    found: dict[str, list[Sighting]] = defaultdict(list)
    noted = page.columns(records.Flowering, "plant", "date", "open_flowers", in_order=True)
    for plant, day, flowers in noted:
        found[plant].append(Sighting(day, flowers))
    known = {(plant, day) for plant, day, _ in noted}
    for plant, day in dict.fromkeys(_at_work(page)):
        if (plant, day) not in known:
            found[plant].append(Sighting(day))
    return found


def _at_work(page: Reading) -> Iterable[tuple[str, date]]:
    mothers = dict(page.columns(records.Cross, "id", "seed_plant"))
    visits = {visit: (cross, day) for visit, cross, day in page.columns(records.Pollination, "id", "cross", "date")}
    for cross, day in visits.values():
        if mothers[cross] is not None:
            yield mothers[cross], day
    for visit, plant in page.columns(records.Pollen, "pollination", "plant", lot=None):
        if plant is not None:
            yield plant, visits[visit][1]


def _of_year(day: date) -> int:
    """Return the place of a day in a leap year, from 0, so that a date is the same place in every year."""
    return (day.replace(year=_LEAP_YEAR) - date(_LEAP_YEAR, 1, 1)).days


def _spoken(month_day: str) -> str:
    day = date.fromisoformat(f"{_LEAP_YEAR}-{month_day}")
    return spoken_date(day, day)


def _month_day(place: int) -> str:
    return (date(_LEAP_YEAR, 1, 1) + timedelta(days=place)).isoformat()[5:]
