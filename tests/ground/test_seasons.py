from __future__ import annotations

from calendar import isleap
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.ground.dates import DEFAULT_START, season_of

starts = st.dates(date(2024, 1, 1), date(2024, 12, 31)).map(lambda day: f"{day:%m-%d}")
days = st.dates(date(1900, 1, 1), date(2100, 12, 31))


@pytest.mark.parametrize(
    ("day", "start", "season"),
    [
        (date(2025, 12, 31), "01-01", 2025),
        (date(2026, 1, 1), "01-01", 2026),
        (date(2025, 6, 30), "07-01", 2024),
        (date(2025, 7, 1), "07-01", 2025),
        (date(2026, 2, 28), "07-01", 2025),
        (date(2025, 2, 28), "02-29", 2024),  # no such day that year: the season starts on the first of March
        (date(2025, 3, 1), "02-29", 2025),
        (date(2024, 2, 29), "02-29", 2024),
        (date(2025, 12, 30), "12-31", 2024),
    ],
)
def test_a_season_is_named_for_the_year_in_which_it_starts(day, start, season):
    assert season_of(day, start) == season


@given(days, starts)
def test_a_new_season_begins_on_its_day_and_on_no_other(day, start):
    tomorrow = day + timedelta(days=1)
    first = {start} if start != "02-29" or isleap(tomorrow.year) else {"03-01"}
    assert season_of(tomorrow, start) - season_of(day, start) == (f"{tomorrow:%m-%d}" in first)


@given(days)
def test_a_northern_season_is_the_calendar_year(day):
    assert season_of(day, DEFAULT_START["north"]) == day.year
    assert season_of(day, DEFAULT_START["south"]) in {day.year - 1, day.year}
