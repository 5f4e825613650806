from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from crosscompat.advice.ask import ask
from crosscompat.advice.ledger import forecasts_due, usual_flowers
from crosscompat.advice.predict import basis_of, chances_of
from crosscompat.book.current_plants import Plant
from crosscompat.collection.recorded import add_forecasts, read_book
from crosscompat.collection.settings import Settings
from crosscompat.model.pairings import Parents
from crosscompat.phylogeny.newick import parse_newick

DAY = date(2026, 1, 1)
PLANTS = [Plant("B1", "Aus bus", "B"), Plant("B2", "Aus bus", "B"), Plant("C1", "Aus cus", "C1")]


@pytest.fixture
def due(trained):
    """The forecasts due on a day, by the model of that day."""

    def due(crosses, plants=PLANTS, wanted=(), as_of=DAY):
        made = trained(crosses, plants, wanted, as_of=as_of)
        return made, forecasts_due(made, made.saved.model, made.saved.fingerprint, as_of)

    return due


@pytest.fixture
def under_way(cross):
    def under_way(**more):
        return cross("Aus bus", "Aus dus", **({"day": date(2025, 5, 1), "units": 3, "cross": "25-01"} | more))

    return under_way


def test_crosses_wanted_are_forecast_for_the_flowers_that_the_grower_uses(due, book):
    made, found = due(book, wanted=[("Aus bus", "Aus cus"), ("B1", "Aus dus", 4)])
    assert [(line.seed_parent, line.pollen_parent, line.seed_plant, line.flowers) for line in found] == [
        ("Aus bus", "Aus cus", None, 1),
        ("Aus bus", "Aus cus", None, 5),
        ("Aus bus", "Aus dus", "B1", 1),
        ("Aus bus", "Aus dus", "B1", 5),
    ]
    assert {(line.date, line.model, line.cross) for line in found} == {(DAY, made.saved.fingerprint[:12], None)}


def test_a_forecast_is_the_chance_that_a_question_gets(due, book):
    made, found = due(book, wanted=[("B1", "Aus dus")])
    for line in found:
        chance = ask(made, "B1", "Aus dus", flowers=line.flowers).pairing.chance
        assert [line.mean, line.low, line.high] == pytest.approx([chance.mean, chance.low, chance.high], rel=1e-5)


def test_chances_have_six_digits_so_that_a_second_run_writes_the_same(due, book, under_way):
    _, found = due([*book, under_way()], wanted=[("Aus bus", "Aus cus")])
    assert all(len(f"{n:.15g}".lstrip("0.").replace(".", "")) <= 6 for line in found for n in (line.mean, line.low))


def test_a_cross_under_way_is_forecast_for_its_own_plants_and_flowers(due, book, under_way):
    crossed = [*book, *(replace(cross, seed_plant="B2", cross=None) for cross in book[:2])]
    made, found = due([*crossed, under_way(seed_plant="B1", pollen_plant="D7")])
    [line] = found
    assert (line.cross, line.flowers, line.seed_plant, line.pollen_plant) == ("25-01", 3, "B1", "D7")
    basis = basis_of(made)
    ours, stranger = (
        chances_of(made, basis.model, Parents(["Aus_bus"], ["Aus_dus"], [clone], ["D7"]), 3).mean[0]
        for clone in ("B", None)
    )
    assert line.mean == pytest.approx(ours, rel=1e-5)
    assert abs(line.mean - stranger) > 1e-4  # offsets of one plant are known by what the other did


def test_the_identifier_comes_before_the_number(due, book, under_way):
    uuid = "6574aef3-81db-5ea1-a894-ad2fa9ccc1e5"
    assert [line.cross for line in due([*book, under_way(id=uuid)])[1]] == [uuid]


def at(*day):
    return datetime(*day, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("what", "is_due"),
    [
        ({}, True),
        ({"pods_set": 2, "pods_held": 1}, True),
        ({"units": None}, True),
        ({"day": DAY}, True),
        ({"day": date(2026, 1, 2)}, False),  # not made yet
        ({"day": date(2025, 1, 1)}, False),  # finished, though nobody wrote down how
        ({"day": date(2025, 1, 2)}, True),
        ({"pods_held": 0}, False),  # over
        ({"seedlings": 2}, False),
        ({"pods_held": 0, "recorded_at": at(2025, 12, 31)}, False),
        ({"pods_held": 0, "recorded_at": at(2026, 1, 2)}, False),  # in UTC
        ({"pods_held": 0, "recorded_at": at(2026, 1, 3)}, True),  # the book did not know it that day
        ({"proof": "like the mother"}, False),
        ({"lost_to": "mice"}, False),
        ({"lost_to": "mice", "recorded_at": at(2026, 2, 1)}, True),
        ({"technique": "bud pollination"}, False),
        ({"pollen_kind": "open", "pollen_parent": None}, False),
        ({"seed_plant": "B1", "pollen_plant": "B2"}, False),  # within one clone
        ({"seed_parent": "Aus nus"}, False),  # no place on the tree
        ({"cross": None}, False),  # could not be found again
    ],
    ids=str,
)
def test_what_is_under_way(due, book, under_way, what, is_due):
    fits = {key: value for key, value in what.items() if key not in {"seed_parent", "pollen_parent"}}
    crossed = replace(under_way(**fits), **{key: what[key] for key in what.keys() - fits.keys()})
    assert bool(due([*book, crossed])[1]) == is_due


def test_a_day_in_the_past_sees_only_what_was_made_by_then(due, book, under_way):
    later = under_way(day=date(2026, 5, 1), units=9, cross="26-01")
    crosses = [*book, under_way(), later]
    wanted = [("Aus bus", "Aus cus")]
    _, then = due(crosses, wanted=wanted, as_of=DAY)
    _, without = due(crosses[:-1], wanted=wanted, as_of=DAY)
    assert [replace(line, model="") for line in then] == [replace(line, model="") for line in without]
    assert 9 not in {line.flowers for line in then}


def test_rows_that_can_be_no_pairing_are_passed_over(due, book):
    assert due(book, wanted=[("B1", "B2"), ("Aus nus", "Aus bus")])[1] == []


def test_a_pairing_that_is_wanted_twice_is_forecast_once(due, book):
    _, found = due(book, wanted=[("Aus bus", "Aus cus", 5), ("Aus_bus", "A. cus", 1), ("B1", "Aus cus")])
    assert [(line.seed_plant, line.flowers) for line in found] == [(None, 1), (None, 5), ("B1", 1), ("B1", 5)]


def test_nothing_wanted_and_nothing_under_way_is_nothing_due(due, book):
    assert due(book)[1] == []


def test_what_is_due_can_be_written_and_read(due, book, under_way, tmp_path):
    _, found = due([*book, under_way(seed_plant="B1")], wanted=[("Aus bus", "Aus cus")])
    for times in range(2):
        assert add_forecasts(tmp_path, Settings(), found) == (0 if times else len(found))
    assert read_book(tmp_path, Settings()).forecasts == tuple(found)
    assert all(0 <= line.low < line.mean < line.high <= 1 for line in found)


def test_a_species_whose_correct_form_is_anothers_is_written_as_the_tree_has_it(trained, book):
    tree = parse_newick("(('Aus bus cf.':1,Aus_bus:1):1,Aus_cus:2,Aus_dus:2,Aus_eus:2,Aus_fus:2);", unit="My")
    made = trained(book, wanted=[("Aus bus cf.", "Aus cus"), ("Aus bus", "Aus cus")], distances=tree, as_of=DAY)
    found = forecasts_due(made, made.saved.model, made.saved.fingerprint, DAY)
    assert [line.seed_parent for line in found if line.flowers == 1] == ["Aus bus cf.", "Aus bus"]


def test_flowers_followed_one_by_one_are_those_that_count(due, book, under_way):
    assert [
        line.flowers for line in due([*book, under_way(units=9, tried=4, took=0, recorded_at=at(2026, 2, 1))])[1]
    ] == [4]


def test_the_usual_flowers_are_those_of_most_crosses(cross):
    crosses = [cross("a", "b", units=n) for n in (3, 3, 3, 8, 8, 2, 2, 7, 7, 6, 6, 5)]
    assert usual_flowers(crosses, date(2025, 1, 1)) == [1, 2, 3, 6]
    assert usual_flowers(crosses, date(2023, 1, 1)) == [1]
    assert usual_flowers([cross("a", "b", 4, 1), cross("a", "b")], date(2025, 1, 1)) == [1, 4]
    assert np.array(usual_flowers([], date(2025, 1, 1))).tolist() == [1]
