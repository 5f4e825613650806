"""Which forecast of a cross counts: every rule of the module's head, one by one."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import hypothesis
import pytest
from hypothesis import HealthCheck
from hypothesis import strategies as st

from crosscompat.advice.in_force import told_before
from crosscompat.advice.predict import training_set_of
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant
from crosscompat.book.records import GivenForecast

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
        return {evidence.crosses[told.at].cross: told.forecast for told in told_before(made, ledger, evidence)}

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
