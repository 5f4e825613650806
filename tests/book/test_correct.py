from __future__ import annotations

from datetime import date, time

import pytest

from crosscompat.book.entry import Bounds
from crosscompat.book.entry.correct import correct, take_back, withdraw
from crosscompat.book.numbers_and_names import find_cross, find_cross_or_plant, find_plant, find_record, short_ids
from crosscompat.book.records import Cross, Finding, Observation, Plant, Pollen, Pollination, Sowing
from crosscompat.ground.errors import UnknownName, WrongUse

BOUNDS = Bounds(date(2026, 11, 1))
PLANT = Plant(id="aaaa1111", name="COC-1")
OTHER = Plant(id="aaaa2222", name="DAS-1")
CROSS = Cross(id="bbbb1111", number="26-01", seed_plant=PLANT.id)
SECOND = Cross(id="cccc1111", number="26-1-1")
THIRD = Cross(id="cccc2222", number="26–11 B")
VISIT = Pollination(id="dddd1111", cross=CROSS.id, date=date(2026, 5, 1), units=4, hour=time(9, 30))
POLLEN = Pollen(id="eeee1111", pollination=VISIT.id, plant=OTHER.id)
SEEN = Observation(id="ffff1111", cross=CROSS.id, what="pods_set", count=3, date=date(2026, 5, 12))
FOUND = Finding(id="9999aaaa", plant=PLANT.id, what="sex", value="female")


@pytest.fixture
def filled(book):
    visits = [Pollination(cross=one.id, date=date(2026, 5, 2)) for one in (SECOND, THIRD)]
    with book.writing("written", who="Ida") as pen:
        pen.add(PLANT, OTHER, CROSS, SECOND, THIRD, VISIT, POLLEN, SEEN, FOUND, *visits)
    return book


def corrected(book, record, *pairs):
    with book.writing("corrected") as pen:
        return correct(pen, find_record(pen, record), pairs, BOUNDS)


@pytest.mark.parametrize(
    ("record", "pair", "field", "value"),
    [
        ("ffff", "count=2", "count", 2),
        ("ffff", "date=2026-05-13", "date", date(2026, 5, 13)),
        ("ffff", "note=on raceme = 2", "note", "on raceme = 2"),
        ("ffff", "date=", "date", None),
        ("ffff", "cross=26 11b", "cross", THIRD.id),
        ("dddd", "unit kind=raceme", "unit_kind", "raceme"),
        ("dddd", "stamens-removed=Yes", "stamens_removed", True),
        ("dddd", "hour=14:05", "hour", time(14, 5)),
        ("dddd", "temperature=21.5", "temperature", 21.5),
        ("dddd", "flowers=Same again", "flowers", "same again"),
        ("26-01", "seed_plant=das-1", "seed_plant", OTHER.id),
        ("COC-1", "died=2026-08-01", "died", date(2026, 8, 1)),
        ("9999", "value=both", "value", "both"),
    ],
)
def test_a_field_is_put_right_and_what_stood_there_is_kept(filled, record, pair, field, value):
    new = corrected(filled, record, pair)
    assert getattr(new, field) == value
    with filled.reading() as page:
        versions = page.versions(type(new), ids=[new.id])
    assert [version.replaced_in for version in versions] == [2, None]
    assert versions[1].record == new


@pytest.mark.parametrize(
    ("record", "pairs", "says"),
    [
        ("ffff", ["count=5"], r"units pollinated \(5 > 4\)"),
        ("dddd", ["units=2"], r"units pollinated \(3 > 2\)"),
        ("dddd", ["date=2026-06-01"], "before the pollination"),
        ("dddd", ["date=2026-12-01"], "in the future"),
        ("COC-1", ["died=2027-01-01"], "in the future"),
        ("ffff", ["count=many"], "count: “many”"),
        ("ffff", ["count="], "must not be blank"),
        ("ffff", ["colour=red"], "its fields are cross, date, what, count"),
        ("ffff", ["count"], "not a FIELD=VALUE"),
        ("ffff", ["id=x"], "not a FIELD=VALUE"),
        ("ffff", ["what=flowers"], "pods_set"),
        ("ffff", ["count=3"], "says that already"),
        ("ffff", [], "FIELD=VALUE, or --withdraw"),
        ("COC-1", ["name=DAS-1"], "taken already"),
        ("26-01", ["number=26-1-1"], "taken already"),
        ("26-01", ["wanted=6"], "from 1 to 5"),
        ("dddd", ["humidity=101"], "from 0 to 100"),
        ("dddd", ["hour=late"], "14:05"),
        ("9999", ["value=green"], "female, male"),
        ("eeee", ["lot=COC-1"], "no stored pollen"),
    ],
)
def test_what_cannot_stand_there_is_refused_and_nothing_is_written(filled, record, pairs, says):
    with pytest.raises(WrongUse, match=says):
        corrected(filled, record, *pairs)
    with filled.reading() as page:
        assert len(page.changes()) == 1


def test_a_count_that_moves_to_another_cross_is_judged_there(filled):
    with filled.writing("units") as pen:
        correct(pen, find_cross(pen, "26-11 b"), ["wanted=2"], BOUNDS)
        pen.add(
            Observation(cross=THIRD.id, what="pods_set", count=1),
            Observation(id="8888aaaa", cross=CROSS.id, what="pods_held", count=2),
        )
    with pytest.raises(WrongUse, match=r"\(2 > 1\)"):
        corrected(filled, "8888", "cross=26-11 B")


def test_a_plant_cannot_be_made_its_own_ancestor(filled):
    with pytest.raises(WrongUse, match="COC-1 would be its own ancestor"):
        corrected(filled, "COC-1", "cross=26-01")


def test_what_others_rest_on_goes_only_with_them(filled):
    with pytest.raises(WrongUse, match="2 records depend on this one"), filled.writing("gone") as pen:
        withdraw(pen, find_cross(pen, "26-01"), BOUNDS)
    with filled.writing("gone") as pen:
        gone = withdraw(pen, find_cross(pen, "26-01"), BOUNDS, with_rest=True)
    assert {record.id for record in gone} == {CROSS.id, VISIT.id, POLLEN.id, SEEN.id}
    with filled.writing("back") as pen:
        take_back(pen, None, BOUNDS)
    with filled.reading() as page:
        assert page.find(Pollen, id=POLLEN.id) == POLLEN


def test_the_only_visit_of_a_cross_stays(filled):
    with pytest.raises(WrongUse, match="at least one pollination"), filled.writing("gone") as pen:
        withdraw(pen, find_record(pen, "dddd"), BOUNDS, with_rest=True)


def test_a_correction_that_later_counts_need_is_not_taken_back(filled):
    corrected(filled, "ffff", "count=4")
    with filled.writing("seen") as pen:
        pen.add(Observation(cross=CROSS.id, what="pods_held", count=4))
    with pytest.raises(WrongUse, match=r"pods set \(4 > 3\)"), filled.writing("") as pen:
        take_back(pen, 2, BOUNDS)
    with filled.reading() as page:
        assert page.find(Observation, id=SEEN.id).count == 4


@pytest.mark.parametrize("text", ["26-01", "26 01", "2601", "26–01", " 26-01 ", "26_01", "bbbb"])
def test_a_cross_is_found_however_its_number_is_typed(filled, text):
    with filled.reading() as page:
        assert find_cross(page, text) == CROSS


@pytest.mark.parametrize("text", ["26-001k", "26-001", "26-1", "26-1k", "26 01", "26–1"])
@pytest.mark.parametrize("find", [find_cross, find_record, find_cross_or_plant])
def test_a_number_with_a_check_letter_is_found_without_it_and_without_zeros(book, find, text):
    ours = Cross(number="26-001K")
    with book.writing("ours") as pen:
        pen.add(ours, Cross(number="26-002H"), Plant(name="COC-1"))
    with book.reading() as page:
        assert find(page, text) == ours
        with pytest.raises(UnknownName, match="26-001K"):
            find(page, "26-001H")


def test_a_number_that_could_be_two_is_neither(filled):
    with filled.writing("another") as pen:
        pen.add(Cross(number="261 1"))
    with filled.reading() as page:
        assert find_cross(page, "26-1-1") == SECOND
        with pytest.raises(UnknownName, match=r"26-1-1|261 1"):
            find_cross(page, "26-11")


@pytest.mark.parametrize("text", ["26-02", "", "zz", "aaaa", "ffff1111"])
def test_an_unknown_number_names_the_nearest(filled, text):
    with filled.reading() as page, pytest.raises(UnknownName) as told:
        find_cross(page, text)
    if text == "26-02":
        assert "26-01" in told.value.nearest


def test_a_plant_is_found_by_its_name_and_nothing_else(filled):
    with filled.reading() as page:
        assert find_plant(page, "coc 1") == PLANT
        with pytest.raises(UnknownName, match="COC-1"):
            find_plant(page, "COC-2")


def test_a_record_is_found_by_letters_that_no_other_begins_with(filled):
    with filled.reading() as page:
        assert find_record(page, "AAAA1") == PLANT
        assert find_record(page, "coc-1") == PLANT
        with pytest.raises(WrongUse, match="several records: aaaa1111, aaaa2222"):
            find_record(page, "aaaa")
        for text in ("aaa", "ab%_", "1234"):
            with pytest.raises(UnknownName):
                find_record(page, text)
        assert short_ids(page, [PLANT.id, CROSS.id]) == {PLANT.id: "aaaa1", CROSS.id: "bbbb"}


def test_a_record_that_was_taken_back_is_told_as_gone(filled):
    with filled.writing("gone") as pen:
        withdraw(pen, FOUND, BOUNDS)
    with filled.reading() as page, pytest.raises(WrongUse, match="was withdrawn"):
        find_record(page, "9999")
    with filled.reading() as page:
        assert page.find(Sowing) is None
