from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.book import records
from crosscompat.book.current_plants import Sighting, Window, latest, sightings_of, usual_window

DAYS = st.dates(date(2001, 1, 1), date(2040, 12, 31))


def in_leap_year(day):
    return day.replace(year=2024)


def naive_window(days):
    """Try every stretch of the year that starts and ends with a day seen open; the shortest that holds them all."""
    found = sorted({in_leap_year(day) for day in days})
    year = timedelta(days=366)
    stretches = []
    for at, first in enumerate(found):
        turned = [*found[at:], *[day + year for day in found[:at]]]
        stretches.append((turned[-1] - first, first, turned[-1]))
    length, first, last = min(stretches, key=lambda one: one[0])
    return length, first, (last - year if last.year > 2024 else last)


@given(st.lists(DAYS, min_size=1, max_size=12))
def test_the_window_is_the_shortest_stretch_that_holds_every_day(days):
    window = usual_window(days)
    length, _, _ = naive_window(days)
    first, last = (date.fromisoformat(f"2024-{text}") for text in (window.first, window.last))
    assert (last - first) % timedelta(days=366) == length
    assert all(window.away(day) == 0 for day in days)
    assert window.days == len(set(days))


@given(st.lists(DAYS, min_size=1, max_size=6), DAYS)
def test_a_day_outside_is_as_far_away_as_the_nearer_end(days, day):
    window = usual_window(days)
    ends = [date.fromisoformat(f"2024-{text}") for text in (window.first, window.last)]
    apart = [abs((in_leap_year(day) - end).days) for end in ends]
    nearest = min(min(days, 366 - days) for days in apart)
    assert window.away(day) in {0, nearest}


def test_no_day_makes_no_window():
    assert usual_window([]) is None


@pytest.mark.parametrize(("days", "trusted"), [(1, False), (2, False), (3, True)])
def test_a_window_is_trusted_from_three_days_on(days, trusted):
    assert Window("05-01", "05-09", days).trusted is trusted


@pytest.mark.parametrize(
    ("ago", "flowers", "found"),
    [(0, 4, True), (7, None, True), (8, 4, False), (-1, 4, False), (3, 0, True)],
)
def test_a_sighting_tells_of_a_week(ago, flowers, found):
    day = date(2026, 5, 10)
    seen = Sighting(day - timedelta(days=ago), flowers)
    assert (latest([seen], day) is not None) is found


def test_what_was_noted_comes_before_what_a_visit_shows(book):
    mother, father, kept = (records.Plant(name=name) for name in ("F", "M", "K"))
    cross = records.Cross(seed_plant=mother.id)
    days = [date(2026, 5, 1), date(2026, 5, 2)]
    visits = [records.Pollination(cross=cross.id, date=day) for day in days]
    lot = records.PollenLot(name="L", plant=kept.id)
    brought = [
        records.Pollen(pollination=visits[0].id, plant=father.id),
        records.Pollen(pollination=visits[1].id, plant=kept.id, lot=lot.id),
        records.Pollen(pollination=visits[1].id, name="Aus bus"),
    ]
    noted = records.Flowering(plant=mother.id, date=days[0], open_flowers=4)
    with book.writing("a season") as pen:
        pen.add(mother, father, kept, cross, *visits, lot, *brought, noted)
    with book.reading() as page:
        found = sightings_of(page)
    assert found == {
        mother.id: [Sighting(days[0], 4), Sighting(days[1])],
        father.id: [Sighting(days[0])],
    }
