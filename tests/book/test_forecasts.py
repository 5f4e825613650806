from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crosscompat.book.forecasts import HEADER, GivenForecast, add_forecasts, read_forecasts
from crosscompat.ground.errors import BadInput

GIVEN = GivenForecast(date(2026, 10, 31), "ab12", "Echinocereus laui", "Echinocereus scheeri", 4, 0.1 + 0.2, 0.05, 0.75)
UNDER_WAY = replace(GIVEN, cross="26-01", seed_plant="L1", pollen_plant="S1", flowers=2)


def test_what_is_written_is_read_back_to_the_last_digit(tmp_path):
    path = tmp_path / "forecasts.csv"
    add_forecasts(path, [GIVEN, UNDER_WAY])
    assert read_forecasts(path) == (GIVEN, UNDER_WAY)


def test_rows_are_only_ever_added_and_none_twice(tmp_path):
    path = tmp_path / "forecasts.csv"
    add_forecasts(path, [GIVEN])
    first = path.read_bytes()
    add_forecasts(path, [GIVEN])
    assert path.read_bytes() == first
    later = replace(GIVEN, date=date(2027, 10, 31))
    add_forecasts(path, [GIVEN, later, later])
    assert path.read_bytes().startswith(first)
    assert read_forecasts(path) == (GIVEN, later)


def test_every_fault_is_told(tmp_path):
    path = tmp_path / "forecasts.csv"
    path.write_text(
        ",".join(HEADER) + "\n2026,m,,A,B,,,x,0.5,0.1,0.9\n2026-01-01,m,,A,,,,1,,0.1,0.9\n", encoding="utf-8"
    )
    with pytest.raises(BadInput) as caught:
        read_forecasts(path)
    places = [(fault.place.row, fault.place.column) for fault in caught.value.faults]
    assert places == [(2, "date"), (2, "flowers"), (3, "pollen_parent"), (3, "mean")]


def test_a_damaged_file_is_not_written_over(tmp_path):
    path = tmp_path / "forecasts.csv"
    path.write_text("nonsense\n", encoding="utf-8")
    with pytest.raises(BadInput):
        add_forecasts(path, [GIVEN])
    assert path.read_text(encoding="utf-8") == "nonsense\n"
