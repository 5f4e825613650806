"""What no grower can have meant does not get into the book, whichever way it comes."""

from __future__ import annotations

from datetime import UTC, date, datetime
from math import inf, nan

import pytest

from crosscompat.book import records
from crosscompat.book.records import Cross, Flowering, GivenForecast, Observation, Plant, Pollination
from crosscompat.book.store import open_store
from crosscompat.book.store.pages import Change, Version, restore_history
from crosscompat.ground.errors import WrongUse

DAY = date(2026, 5, 1)
PLANT, CROSS = Plant(name="coc-1"), Cross(number="26-01")
ODD = [
    (Plant(name="a\0b"), "name cannot be 'a\\x00b'"),
    (Plant(name="a\ud800"), "name cannot be 'a\\ud800'"),
    (Plant(name="\x1b[31mred"), "name cannot be"),
    (Plant(name="a\u202eb"), "name cannot be"),
    (Plant(name="a", note="\x85"), "note cannot be"),
    (Plant(name="a" * 100_001), "name cannot be 'aaaaaaaaaa"),
    (Plant(name="a", acquired=date(26, 5, 1)), "acquired cannot be 0026-05-01"),
    (Plant(name="a", died=date(9999, 12, 31)), "died cannot be 9999-12-31"),
    (Flowering(plant=PLANT.id, date=DAY, open_flowers=2**63), "open_flowers cannot be 9223372036854775808"),
    (Flowering(plant=PLANT.id, date=DAY, open_flowers=-1), "open_flowers cannot be -1"),
    (Observation(cross=CROSS.id, what="pods", count=1), "what cannot be 'pods'"),
    (Cross(number="1", wanted=6), "wanted cannot be 6"),
    (Cross(number="1", recorded_at=datetime(1, 1, 1, tzinfo=UTC)), "recorded_at cannot be 0001-01-01"),
    (Pollination(cross=CROSS.id, date=DAY, temperature=-400.0), "temperature cannot be -400.0"),
    (Pollination(cross=CROSS.id, date=DAY, temperature=inf), "temperature cannot be inf"),
    (Pollination(cross=CROSS.id, date=DAY, humidity=nan), "humidity cannot be nan"),
    (GivenForecast(DAY, "m", "a", "b", 1, 0.5, 0.1, inf), "high cannot be inf"),
]


@pytest.mark.parametrize(("record", "says"), ODD)
def test_what_cannot_be_is_refused_by_its_field(book, record, says):
    with book.writing("before") as pen:
        pen.add(PLANT, CROSS)
    with pytest.raises(WrongUse) as told, book.writing("odd") as pen:
        pen.add(record)
    assert says in str(told.value)
    assert len(str(told.value)) < 200
    with book.reading() as page:
        assert len(page.changes()) == 1


def test_a_history_from_elsewhere_passes_the_same_border():
    store = open_store("sqlite://")
    change = Change(1, datetime(2026, 5, 1, tzinfo=UTC), None, "planted")
    for record, says in ODD[:3]:
        with pytest.raises(WrongUse) as told, store.writing("never seen") as pen:
            restore_history(pen, [change], {type(record): [Version(record, 1, None)]})
        assert says in str(told.value)


@pytest.mark.parametrize("who", ["Ida\x1b[2J", "\ud800", "a\0"])
def test_who_writes_has_a_name_that_can_be_printed(book, who):
    with pytest.raises(WrongUse, match="written down as of"), book.writing("planted", who=who) as pen:
        pen.add(PLANT)


def test_what_growers_write_is_admitted(book):
    note = "two\nlines, \ttabbed, “quoted” × ☿ ♀ שלום العربية 木 𝔘 e\u0301 \u200f"
    with book.writing("planted", who="Jürgen O'Neill-Žák") as pen:
        pen.add(Plant(name="=1+1", note=note, acquired=date(1899, 12, 31)), CROSS)
        pen.add(Pollination(cross=CROSS.id, date=DAY, units=0, temperature=-4.5, humidity=100.0))
    with book.reading() as page:
        assert page.current(records.Plant)[0].note == note
