"""What is written into the ledger of forecasts, and which line of it counts for a cross: rule by rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import hypothesis
import numpy as np
import pytest
from hypothesis import HealthCheck
from hypothesis import strategies as st

from crosscompat.advice.ask import ask
from crosscompat.advice.forecast_record import flowers_to_forecast, forecasts_due, in_force
from crosscompat.advice.predict import basis_of, chances_of, training_set_of
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant
from crosscompat.book.records import GivenForecast
from crosscompat.collection.opening import add_forecasts, read_book
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
    assert flowers_to_forecast(crosses, date(2025, 1, 1)) == [1, 2, 3, 6]
    assert flowers_to_forecast(crosses, date(2023, 1, 1)) == [1]
    assert flowers_to_forecast([cross("a", "b", 4, 1), cross("a", "b")], date(2025, 1, 1)) == [1, 4]
    assert np.array(flowers_to_forecast([], date(2025, 1, 1))).tolist() == [1]


MADE = date(2024, 5, 1)
READ = date(2026, 6, 1)


def given(day, seed="Aus bus", pollen="Aus cus", flowers=5, mean=0.5, **more):
    return GivenForecast(day, "model", seed, pollen, flowers, mean, 0.1, 0.9, **more)


@pytest.fixture
def counted(collection):
    """The forecasts that count, by the number of their cross."""

    def counted(ledger, crosses, plants=(), as_of=READ):
        made = collection(crosses, plants)
        evidence = training_set_of(made, as_of)
        return {evidence.crosses[at].cross: told for at, told in in_force(made, ledger, evidence).items()}

    return counted


@pytest.fixture
def one(cross):
    def one(**more):
        return cross("Aus bus", "Aus cus", 5, 2, **({"cross": "1"} | more))

    return one


def test_a_forecast_from_before_the_pollination_counts(counted, one):
    line = given(date(2023, 11, 1))
    assert counted([line], [one()]) == {"1": line}


def test_one_of_the_very_day_counts_and_one_of_the_next_day_does_not(counted, one):
    same, next_day = given(MADE), given(date(2024, 5, 2))
    assert counted([same], [one()]) == {"1": same}
    assert counted([next_day], [one()]) == {}


def test_of_several_the_one_in_force_counts_the_last_before_the_pollination(counted, one):
    lines = [given(date(year, 11, 1), mean=year / 1e4) for year in (2021, 2022, 2023, 2024)]
    assert counted(lines, [one()]) == {"1": lines[2]}
    assert counted(lines[::-1], [one()]) == {"1": lines[2]}


def test_of_one_day_the_first_line_counts_whatever_a_replay_says_later(counted, one):
    lines = [given(MADE, mean=0.3), given(MADE, mean=0.4)]
    assert counted(lines, [one()]) == {"1": lines[0]}
    during = [given(date(2024, 6, 1), cross="1", mean=mean) for mean in (0.3, 0.4)]
    assert counted(during, [one()]) == {"1": during[0]}


@pytest.mark.parametrize("parents", [("Aus cus", "Aus bus"), ("Aus bus", "Aus dus"), ("Aus nus", "Aus cus")])
def test_a_forecast_of_another_pairing_or_of_the_other_way_round_does_not(counted, one, parents):
    assert counted([given(MADE, *parents)], [one()]) == {}


def test_a_forecast_for_other_flowers_does_not_and_an_earlier_one_for_as_many_does(counted, one):
    assert counted([given(MADE, flowers=1)], [one()]) == {}
    right, wrong = given(date(2022, 11, 1)), given(date(2023, 11, 1), flowers=4)
    assert counted([right, wrong], [one()]) == {"1": right}


def test_flowers_that_were_not_counted_are_one(counted, cross):
    line = given(MADE, flowers=1)
    assert counted([line], [cross("Aus bus", "Aus cus", cross="1", seedlings=3)]) == {"1": line}


def test_a_forecast_speaks_for_the_first_cross_alone(counted, one):
    line = given(date(2023, 11, 1))
    second = one(day=date(2024, 5, 20), cross="2")
    assert counted([line], [second, one()]) == {"1": line}
    again = given(date(2024, 5, 10))
    assert counted([line, again], [second, one()]) == {"1": line, "2": again}


@pytest.mark.parametrize(
    "what",
    [
        {"lost_to": "mice"},
        {},
        {"tried": 5, "took": 2, "proof": "like the mother"},
        {"tried": 5, "took": 2, "recorded_at": datetime(2027, 1, 1, tzinfo=UTC)},
    ],
)
def test_a_first_cross_without_an_outcome_uses_the_forecast_up(counted, cross, one, what):
    first = cross("Aus bus", "Aus cus", **({"cross": "0", "day": date(2024, 4, 1), "units": 5} | what))
    assert counted([given(date(2024, 4, 10))], [first, one()]).keys() == {"1"}
    assert counted([given(date(2023, 11, 1))], [first, one()]) == {}


@pytest.mark.parametrize("what", [{"technique": "bud pollination"}, {"pollen_kind": "open"}, {"only_successes": True}])
def test_a_cross_of_another_kind_does_not(counted, one, what):
    line = given(date(2023, 11, 1))
    assert counted([line], [one(cross="0", day=date(2024, 4, 1), **what), one()]) == {"1": line}


PLANTS = [
    Plant("B1", "Aus bus", "B"),
    Plant("B2", "Aus bus", "B"),
    Plant("B9", "Aus bus", "B9"),
    Plant("C1", "Aus cus", "C1"),
]


@pytest.mark.parametrize(
    ("named", "used", "counts"),
    [
        ((None, None), ("B1", "C1"), True),
        (("B1", None), ("B1", "C1"), True),
        (("B1", "C1"), (None, None), True),
        (("B2", "C1"), ("B1", "C1"), True),  # offsets of one plant are that plant
        (("B9", None), ("B1", "C1"), False),
        (("B1", "C7"), ("B1", "C1"), False),
        (("B1", "C7"), ("B1", None), True),
    ],
)
def test_plants_must_be_the_same_where_both_name_them(counted, one, named, used, counts):
    line = given(MADE, seed_plant=named[0], pollen_plant=named[1])
    crossed = one(seed_plant=used[0], pollen_plant=used[1])
    assert counted([line], [crossed], PLANTS) == ({"1": line} if counts else {})


def test_a_cross_of_other_plants_does_not_use_a_forecast_up(counted, one):
    line = given(date(2023, 11, 1), seed_plant="B9")
    other = one(cross="0", day=date(2024, 4, 1), seed_plant="B1")
    assert counted([line], [other, one(seed_plant="B9")], PLANTS) == {"1": line}


def test_of_one_day_the_forecast_that_names_the_plants_counts(counted, one):
    named, general = given(MADE, seed_plant="B1"), given(MADE)
    for lines in ([named, general], [general, named]):
        assert counted(lines, [one(seed_plant="B2")], PLANTS) == {"1": named}


def test_a_cross_that_is_not_finished_has_none(counted, one):
    line = given(MADE)
    assert counted([line], [one()], as_of=date(2025, 4, 30)) == {}
    assert counted([line], [one()], as_of=date(2025, 5, 1)) == {"1": line}


def test_for_want_of_an_earlier_one_the_first_while_it_was_under_way_counts(counted, one):
    first, second = given(date(2024, 6, 1), cross="1"), given(date(2024, 11, 1), cross="1", mean=0.4)
    assert counted([second, first], [one()]) == {"1": first}
    before = given(date(2023, 11, 1), mean=0.3)
    assert counted([first, second, before], [one()]) == {"1": before}


def test_a_cross_under_way_is_found_by_its_identifier_or_by_its_number(counted, one):
    uuid = "6574aef3-81db-5ea1-a894-ad2fa9ccc1e5"
    by_id, by_number = given(date(2024, 6, 1), cross=uuid), given(date(2024, 6, 1), cross="1")
    for line in (by_id, by_number):
        assert counted([line], [one(id=uuid)]) == {"1": line}
    assert counted([given(date(2024, 6, 1), cross="2")], [one()]) == {}


def test_a_number_that_two_crosses_bear_finds_none_of_them(counted, one):
    line = given(date(2024, 6, 1), cross="1")
    assert counted([line], [one(), one(day=date(2024, 5, 3))]) == {}
    assert counted([line], [one(), one(day=date(2024, 7, 3))]) == {"1": line}  # it was not made by then


def test_a_number_of_another_pairing_finds_none(counted, one):
    assert counted([given(date(2024, 6, 1), pollen="Aus dus", cross="1")], [one()]) == {}


def test_a_model_that_could_have_learned_of_the_cross_does_not_count(counted, one, cross):
    """A plain cross teaches at the end of its year; where stages are counted, pod set teaches after thirty days."""
    line = given(date(2024, 10, 31), cross="1")
    by_stage = cross("Aus eus", "Aus fus", units=4, pods_set=2, pods_held=0, cross="9")
    assert counted([line], [one()]) == {"1": line}
    assert counted([line], [one(), by_stage]) == {}
    early = given(date(2024, 5, 30), cross="1")
    assert counted([early, line], [one(), by_stage]) == {"1": early}
    assert counted([given(date(2024, 5, 31), cross="1")], [one(), by_stage]) == {}


def test_nor_does_a_forecast_from_when_the_outcome_was_in_the_book(counted, one):
    line = given(date(2024, 8, 1), cross="1")
    for day, counts in ((31, False), (30, False)):
        told = one(recorded_at=datetime(2024, 7, day, 18, tzinfo=UTC))
        assert counted([line], [told]) == ({"1": line} if counts else {})
    assert counted([line], [one(recorded_at=datetime(2024, 8, 1, 9, tzinfo=UTC))]) == {}
    assert counted([line], [one(recorded_at=datetime(2024, 8, 2, 9, tzinfo=UTC))]) == {}  # an evening in the west
    assert counted([line], [one(recorded_at=datetime(2024, 8, 3, 9, tzinfo=UTC))]) == {"1": line}


def test_nothing_was_forecast(counted, one):
    assert counted([], [one()]) == {}
    assert counted([given(MADE)], []) == {}


DAYS = st.integers(0, 60).map(lambda n: MADE + timedelta(days=n))
SIDES = st.sampled_from([(None, None), ("B1", None), ("B9", "C1"), (None, "C1")])
WAYS = st.sampled_from([("Aus bus", "Aus cus"), ("Aus cus", "Aus bus")])


@st.composite
def books(draw):
    crosses = [
        Cross(day, *way, cross=str(at), row=at, tried=n, took=0, seed_plant=mother, pollen_plant=father)
        for at, (day, way, n, (mother, father)) in enumerate(
            draw(st.lists(st.tuples(DAYS, WAYS, st.integers(1, 2), SIDES), max_size=5))
        )
    ]
    lines = [
        given(day, *way, n, mean=at / 100, cross=number, seed_plant=mother, pollen_plant=father)
        for at, (day, way, n, (mother, father), number) in enumerate(
            draw(
                st.lists(
                    st.tuples(DAYS, WAYS, st.integers(1, 2), SIDES, st.sampled_from([None, None, "0", "1", "2"])),
                    max_size=8,
                )
            )
        )
    ]
    return crosses, lines


def in_words(crosses, lines):
    """The rule as it is told, cross by cross and line by line."""
    clone = {"B1": "B", "B9": "B9", "C1": "C1", None: None}

    def same(line, cross):
        sides = [(line.seed_plant, cross.seed_plant), (line.pollen_plant, cross.pollen_plant)]
        return (line.seed_parent, line.pollen_parent) == (cross.seed_parent, cross.pollen_parent) and all(
            clone[a] == clone[b] for a, b in sides if a and b
        )

    found = {}
    for cross in crosses:
        before, during = [], []
        for at, line in enumerate(lines):
            if line.flowers != cross.tried:
                continue
            if line.cross is None:
                later = [other for other in crosses if other.date >= line.date and same(line, other)]
                if later and min(later, key=lambda other: (other.date, other.row)) is cross:
                    before.append((line.date, sum(p is not None for p in (line.seed_plant, line.pollen_plant)), -at))
            elif (line.cross, line.seed_parent) == (cross.cross, cross.seed_parent) and line.date >= cross.date:
                during.append((line.date, at))
        if before:
            found[cross.cross] = lines[-max(before)[2]]
        elif during:
            found[cross.cross] = lines[min(during)[1]]
    return found


@hypothesis.settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@hypothesis.given(books())
def test_the_rule_is_the_one_that_is_told(counted, book):
    crosses, lines = book
    assert counted(lines, crosses, PLANTS) == in_words(crosses, lines)
