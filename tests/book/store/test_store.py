from __future__ import annotations

import sqlite3
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from crosscompat.book.records import Cross, Determination, Finding, Observation, Plant, Pollination
from crosscompat.book.store import open_store
from crosscompat.ground.errors import Busy, WrongUse


def test_what_was_written_is_read_back_to_the_last_field(book):
    plant = Plant(name="coc-1", acquired=date(2019, 4, 1), note="× with a “quote”")
    cross = Cross(number="26-01", seed_plant=plant.id, recorded_at=datetime(2026, 5, 1, 9, 30, tzinfo=UTC), wanted=3)
    visit = Pollination(
        cross=cross.id, date=date(2026, 5, 1), hour=time(14, 5), units=4, stamens_removed=False, temperature=21.5
    )
    with book.writing("a visit", who="A. Grower") as pen:
        pen.add(visit, cross, plant)
    with book.reading() as page:
        assert page.current(Plant) == (plant,)
        assert page.current(Cross) == (cross,)
        assert page.current(Pollination) == (visit,)
        (change,) = page.changes()
    assert (change.who, change.what, change.undoes, change.imported) == ("A. Grower", "a visit", None, False)
    assert abs(datetime.now(UTC) - change.at) < timedelta(minutes=1)


def test_records_come_in_the_order_in_which_they_were_first_written(book):
    plants = [Plant(name=f"p{i}") for i in range(5)]
    with book.writing("plants") as pen:
        pen.add(*plants)
    with book.writing("a correction") as pen:
        pen.replace(replace(plants[1], place="bench 2"))
    with book.reading() as page:
        assert [plant.name for plant in page.current(Plant)] == ["p0", "p1", "p2", "p3", "p4"]


def test_a_correction_is_a_new_row_and_the_old_one_is_kept(book):
    plant = Plant(name="coc-1", place="bench 1")
    with book.writing("planted") as pen:
        pen.add(plant)
    with book.writing("moved") as pen:
        pen.replace(replace(plant, place="bench 2"))
    with book.reading() as page:
        assert [found.place for found in page.current(Plant)] == ["bench 2"]
        versions = page.versions(Plant, ids=[plant.id])
    assert [(version.record.place, version.made_in, version.replaced_in) for version in versions] == [
        ("bench 1", 1, 2),
        ("bench 2", 2, None),
    ]


def test_a_record_that_is_withdrawn_stands_no_more_and_stays_in_the_history(book):
    plant = Plant(name="coc-1")
    with book.writing("planted") as pen:
        pen.add(plant)
    with book.writing("a mistake") as pen:
        pen.withdraw(plant)
    with book.reading() as page:
        assert page.current(Plant) == ()
        assert [version.replaced_in for version in page.versions(Plant)] == [2]


def test_nothing_is_written_when_anything_goes_wrong_inside(book):
    def half():
        with book.writing("half") as pen:
            pen.add(Plant(name="coc-1"))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        half()
    with book.reading() as page:
        assert page.current(Plant) == ()
        assert page.changes() == ()


def test_an_empty_transaction_leaves_no_change(book):
    plant = Plant(name="coc-1")
    with book.writing("nothing") as pen:
        pen.add()
        pen.replace()
        pen.withdraw()
        assert pen.change is None
    with book.writing("planted", dry_run=True) as pen:
        pen.add(plant)
        assert pen.change is not None
    with book.reading() as page:
        assert page.changes() == ()


def refused(store):
    """What the driver raises where a row contradicts others."""
    with store.reading() as page:
        return page.connection.contradiction


def test_a_record_cannot_point_to_what_is_not_there(book):
    with pytest.raises(refused(book)), book.writing("a determination") as pen:
        pen.add(Determination(plant="nobody", name="Echinocereus coccineus"))


def test_no_two_plants_share_a_name_and_no_two_crosses_a_number(book):
    for one, other in ((Plant(name="a"), Plant(name="a")), (Cross(number="1"), Cross(number="1"))):
        with pytest.raises(refused(book)), book.writing("twice") as pen:
            pen.add(one, other)


def test_several_records_are_withdrawn_at_once_and_stand_again_unless_their_name_is_taken(book):
    plants = [Plant(name=f"coc-{i}") for i in range(3)]
    with book.writing("planted") as pen:
        pen.add(*plants)
    with book.writing("gone") as pen:
        pen.withdraw(*plants)
    with book.reading() as page:
        assert page.current(Plant) == ()
    with book.writing("planted anew") as pen:
        pen.add(Plant(name="coc-1"))

    def back():
        with book.writing("back") as pen:
            pen.undoes = 2
            pen.put_back(*plants)

    with pytest.raises(WrongUse, match="another record uses its name"):
        back()


def test_a_fault_of_whoever_reads_a_sound_book_stays_theirs(book):
    with pytest.raises(ValueError, match=r"^mine$"), book.reading():
        raise ValueError("mine")


def test_what_no_screen_can_show_is_not_admitted(book):
    with pytest.raises(WrongUse, match="name cannot be"), book.writing("planted") as pen:
        pen.add(Plant(name="coc\x1b[2J"))
    with book.reading() as page:
        assert page.current(Plant) == ()


def test_a_name_is_free_again_once_its_plant_was_withdrawn(book):
    plant = Plant(name="coc-1")
    with book.writing("one") as pen:
        pen.add(plant)
    with book.writing("two") as pen:
        pen.withdraw(plant)
        pen.add(Plant(name="coc-1"))
    with book.reading() as page:
        assert len(page.current(Plant)) == 1


def test_a_record_that_somebody_has_replaced_meanwhile_is_not_replaced_blindly(book):
    plant = Plant(name="coc-1")
    with book.writing("planted") as pen:
        pen.add(plant)
    with book.writing("gone") as pen:
        pen.withdraw(plant)
    with pytest.raises(Busy, match="just now"), book.writing("moved") as pen:
        pen.replace(replace(plant, place="bench 2"))


@pytest.mark.parametrize(
    ("where", "found"),
    [
        ({}, ["a", "b", "c"]),
        ({"clone": "x"}, ["a", "b"]),
        ({"clone": None}, ["c"]),
        ({"name": ("a", "c")}, ["a", "c"]),
        ({"clone": "x", "name": "b"}, ["b"]),
        ({"name": ()}, []),
    ],
)
def test_records_are_chosen_by_their_fields(book, where, found):
    with book.writing("plants") as pen:
        pen.add(Plant(name="a", clone="x"), Plant(name="b", clone="x"), Plant(name="c"))
    with book.reading() as page:
        assert [plant.name for plant in page.current(Plant, **where)] == found
        assert [name for (name,) in page.columns(Plant, "name", in_order=True, **where)] == found
        assert sorted(name for (name,) in page.columns(Plant, "name", **where)) == found


def test_a_field_that_no_record_has_is_a_wrong_call(book):
    with book.reading() as page, pytest.raises(KeyError):
        page.current(Plant, colour="red")


def test_the_latest_time_of_what_points_to_a_record_leaves_out_what_was_imported(book):
    cross, other = Cross(number="1"), Cross(number="2")
    with book.writing("made") as pen:
        pen.add(cross, other)
        pen.add(Observation(cross=cross.id, what="pods_set", count=1))
    with book.writing("from a table") as pen:
        pen.imported = True
        pen.add(Observation(cross=other.id, what="pods_set", count=1))
    with book.reading() as page:
        times = page.times(Observation, "cross")
        made = page.changes()[0].at
    assert times == {cross.id: made}


def test_the_kind_of_a_record_is_known_by_its_identifier(book):
    plant = Plant(name="coc-1")
    with book.writing("planted") as pen:
        pen.add(plant)
        pen.add(Finding(plant=plant.id, what="sex", value="female"))
    with book.reading() as page:
        assert page.kind_of(plant.id) is Plant
        assert page.kind_of("nobody") is None
        assert len(page.current(Finding)) == 1


def test_a_file_is_kept_so_that_a_power_cut_loses_nothing(tmp_path):
    store = open_store(tmp_path / "book.sqlite")
    with store.reading() as page:
        pragmas = {
            name: page.connection.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    assert pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}


def test_the_book_is_a_plain_database_that_any_tool_can_read(tmp_path):
    store = open_store(tmp_path / "book.sqlite")
    with store.writing("planted") as pen:
        pen.add(Plant(name="coc-1"))
    rows = sqlite3.connect(tmp_path / "book.sqlite").execute("SELECT name FROM plants").fetchall()
    assert rows == [("coc-1",)]
