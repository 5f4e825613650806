from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crosscompat.book.entry import Bounds
from crosscompat.book.entry.correct import take_back
from crosscompat.book.records import Cross, Finding, Observation, Plant
from crosscompat.ground.errors import WrongUse


def _undo(book, number=None):
    with book.writing("undone") as pen:
        return take_back(pen, number, Bounds(date.max))


@pytest.fixture
def plant(book):
    plant = Plant(name="coc-1", place="bench 1")
    with book.writing("planted") as pen:
        pen.add(plant)
    return plant


def _places(book):
    with book.reading() as page:
        return [found.place for found in page.current(Plant)]


def test_a_correction_taken_back_lets_the_old_record_stand(book, plant):
    with book.writing("moved") as pen:
        pen.replace(replace(plant, place="bench 2"))
    assert _undo(book).what == "moved"
    assert _places(book) == ["bench 1"]


def test_a_withdrawal_taken_back_lets_it_stand(book, plant):
    with book.writing("gone") as pen:
        pen.withdraw(plant)
    _undo(book)
    assert _places(book) == ["bench 1"]


def test_what_was_added_stands_no_more_and_each_undo_goes_one_further_back(book, plant):
    with book.writing("another") as pen:
        pen.add(Plant(name="coc-2"))
    _undo(book)
    assert _places(book) == ["bench 1"]
    assert _undo(book).what == "planted"
    assert _places(book) == []
    with pytest.raises(WrongUse, match="no change to undo"):
        _undo(book)


def test_an_undo_can_be_undone(book, plant):
    _undo(book)
    with book.reading() as page:
        number = page.changes()[-1].id
    _undo(book, number)
    assert _places(book) == ["bench 1"]
    assert _undo(book).what == "planted"


def test_every_change_stays_in_the_history(book, plant):
    _undo(book)
    with book.reading() as page:
        assert [(change.what, change.undoes) for change in page.changes()] == [
            ("planted", None), ("change 1 undone: planted", 1),
        ]  # fmt: skip


@pytest.mark.parametrize(("number", "words"), [(99, "no change 99"), (1, "undone already")])
def test_what_cannot_be_taken_back_is_said(book, plant, number, words):
    if number == 1:
        _undo(book)
    with pytest.raises(WrongUse, match=words):
        _undo(book, number)


def test_a_change_that_was_corrected_since_is_not_taken_back_first(book, plant):
    with book.writing("moved") as pen:
        pen.replace(replace(plant, place="bench 2"))
    with pytest.raises(WrongUse, match="a later change corrects it"):
        _undo(book, 1)
    assert _places(book) == ["bench 2"]


def test_a_change_on_which_later_records_rest_is_not_taken_back_first(book):
    cross = Cross(number="26-01")
    with book.writing("crossed") as pen:
        pen.add(cross)
    with book.writing("seen") as pen:
        pen.add(Observation(cross=cross.id, what="pods_set", count=1))
    with pytest.raises(WrongUse, match="1 record written since"):
        _undo(book, 1)
    _undo(book)
    _undo(book)
    with book.reading() as page:
        assert page.current(Cross) == ()


def test_each_undo_goes_one_further_back_through_corrections_too(book, plant):
    for place in ("bench 2", "bench 3"):
        with book.writing(f"moved to {place}") as pen:
            pen.replace(replace(plant, place=place))
    found = []
    for _ in range(3):
        _undo(book)
        found.append(_places(book))
    assert found == [["bench 2"], ["bench 1"], []]


def test_what_would_hang_in_the_air_does_not_stand_again(book, plant):
    finding = Finding(plant=plant.id, what="sex", value="female")
    with book.writing("found") as pen:
        pen.add(finding)
    with book.writing("a mistake") as pen:
        pen.withdraw(finding)
    with book.writing("gone") as pen:
        pen.withdraw(plant)
    with pytest.raises(WrongUse, match="it belongs to a record"):
        _undo(book, 3)
    _undo(book)
    _undo(book)
    with book.reading() as page:
        assert page.current(Finding) == (finding,)


def test_a_name_that_was_given_away_meanwhile_is_not_taken_from_its_owner(book, plant):
    with book.writing("gone") as pen:
        pen.withdraw(plant)
    with book.writing("another") as pen:
        pen.add(Plant(name="coc-1", place="bench 9"))
    with pytest.raises(WrongUse, match="another record uses its name"):
        _undo(book, 2)
    assert _places(book) == ["bench 9"]
