from __future__ import annotations

import builtins
import csv
import io
from datetime import UTC, date, datetime

import pyarrow as pa
import pytest
from pyarrow import parquet as reader

from crosscompat.ground.errors import WrongUse
from crosscompat.show.exports import Reminder, calendar_file, csv_text, parquet

ROWS = [
    {"place": 1, "name": 'Echinocereus "x", var.', "chance": 0.1 + 0.2, "want": None},
    {"place": 2, "name": "Echinocereus × roetteri", "chance": 1e-9, "want": None},
]


def test_csv_keeps_every_digit_and_every_letter():
    assert list(csv.DictReader(io.StringIO(csv_text(ROWS)))) == [
        {key: "" if value is None else str(value) for key, value in row.items()} for row in ROWS
    ]
    assert csv_text([]) == ""


def test_parquet_comes_back_as_it_went():
    table = reader.read_table(io.BytesIO(parquet(ROWS)))
    assert table.to_pylist() == ROWS
    assert table.schema.field("want").type == pa.string()


def test_without_its_library_parquet_says_what_to_do(monkeypatch):
    real = builtins.__import__

    def without(name, *rest, **more):
        if name.startswith("pyarrow"):
            raise ModuleNotFoundError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(WrongUse, match=r"crosscompat\[parquet\]"):
        parquet(ROWS)


def test_line_breaks_in_names_do_not_break_a_calendar():
    from icalendar import Calendar

    entry = Reminder("plan\nX-A:1", date(2026, 5, 1), "Open\nX-B:1", "A\rX-C:1", "Bench\r\nX-D:1")
    calendar = Calendar.from_ical(calendar_file("Our\nX-E:1", [entry], datetime(2026, 4, 1, tzinfo=UTC)))
    (event,) = calendar.walk("VEVENT")
    assert (str(event["UID"]), str(event["SUMMARY"])) == ("plan X-A:1@crosscompat", "Open\nX-B:1")
    assert not [name for part in calendar.walk() for name in part if name in {"X-A", "X-B", "X-C", "X-D", "X-E"}]
