"""A season's plan: the best there is, and never what cannot be."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.advice.plan import plan_season, solve
from crosscompat.book import records
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import open_store
from crosscompat.model.forecast import Logits, chances

SPRING = date(2026, 4, 6)


@st.composite
def problems(draw, most_options=4):
    options, most = draw(st.integers(1, most_options)), draw(st.integers(1, 3))
    weeks, mothers = draw(st.integers(1, 2)), draw(st.integers(1, 2))
    drawn = draw(
        st.lists(st.lists(st.floats(0.0, 3.0), min_size=most, max_size=most), min_size=options, max_size=options)
    )
    gain = -np.sort(-np.array(drawn), axis=1) - 0.5
    open_in = np.array(draw(st.lists(st.lists(st.booleans(), min_size=weeks, max_size=weeks), min_size=options,
                                     max_size=options)), dtype=bool)  # fmt: skip
    wishes = np.array([draw(st.integers(0, options - 1)) for _ in range(options)])
    of = np.array([draw(st.integers(0, mothers - 1)) for _ in range(options)])
    return gain, open_in, wishes, of, draw(st.integers(1, 2))


def value(gain, flowers):
    return sum(gain[k, : flowers[k]].sum() for k in range(len(gain)))


def allowed(problem, flowers, week):
    gain, open_in, wishes, mothers, evenings = problem
    chosen = np.flatnonzero(flowers)
    return (
        all(open_in[k, week[k]] for k in chosen)
        and all(np.bincount(wishes[chosen], minlength=1) <= 1)
        and all(np.bincount(week[chosen], minlength=1) <= evenings)
        and all(np.bincount(mothers, weights=flowers) <= gain.shape[1])
    )


@settings(max_examples=40, deadline=None)
@given(problems())
def test_it_is_the_best_of_all_plans(problem):
    """Against every plan there is."""
    gain, open_in = problem[:2]
    flowers, week = solve(*problem)
    assert allowed(problem, flowers, week)
    choices = [
        [(0, 0), *((n, w) for n in range(1, gain.shape[1] + 1) for w in np.flatnonzero(open_in[k]))]
        for k in range(len(gain))
    ]
    best = max(
        value(gain, np.array([n for n, _ in plan]))
        for plan in product(*choices)
        if allowed(problem, np.array([n for n, _ in plan]), np.array([w for _, w in plan]))
    )
    assert value(gain, flowers) >= best - 0.002 * len(gain) * open_in.shape[1] - 1e-6


def test_the_same_question_has_the_same_plan():
    rng = np.random.default_rng(3)
    chance = chances(Logits(rng.normal(-1, 1, 40), np.ones(40)), 1).mean[:, None] ** np.arange(1, 9)
    problem = (chance, rng.random((40, 12)) < 0.3, rng.integers(0, 20, 40), rng.integers(0, 15, 40), 4)
    one, two = solve(*problem), solve(*problem)
    assert np.array_equal(one[0], two[0])
    assert np.array_equal(one[1], two[1])
    assert allowed(problem, *one)


PLANTS = [
    Plant("B1", "Aus bus", "B", sex="female"), Plant("B2", "Aus bus", "B2", sex="male"),
    Plant("C1", "Aus cus", "C"), Plant("D1", "Aus dus", "D"), Plant("D2", "Aus dus", "D2", sex="male"),
]  # fmt: skip


@pytest.fixture
def planned(collection):
    """Plan from April for six weeks: bus flowers in April and May, cus in May and June, dus in September."""

    def build(wanted, plants=PLANTS, lots=(), day=SPRING, weeks=6, **more):
        made = collection([], plants, wanted)
        store = open_store("sqlite://")
        with store.writing("bench") as pen:
            pen.add(*(records.Plant(name=plant.plant, received_as=plant.species) for plant in plants), *lots)
        with store.reading() as page:
            return plan_season(made, page, day, weeks=weeks, **more)

    return build


def test_parents_meet_in_flower_and_sexes_are_minded(planned):
    plan = planned([("Aus bus", "Aus cus", 5), ("Aus cus", "Aus bus", 3)])
    assert {(cross.seed_plant, *cross.pollen_plants) for cross in plan.crosses} == {("B1", "C1"), ("C1", "B2")}
    assert all(date.fromisoformat(cross.week) + timedelta(days=6) >= date(2026, 5, 1) for cross in plan.crosses)
    assert 0 < plan.expected <= 2
    assert 0 <= plan.low <= plan.expected <= plan.high <= 2


def test_what_never_meets_needs_pollen_in_store(planned):
    wish = [("Aus bus", "Aus dus", 4)]
    alone = planned(wish)
    assert alone.crosses == []
    assert "no pollen in store" in alone.left_out[0].why
    lot = records.PollenLot(name="L1", species="Aus dus", collected=SPRING - timedelta(days=200), kept="freezer")
    [cross] = planned(wish, lots=[lot]).crosses
    assert (cross.seed_plant, cross.pollen_plants) == ("B1", [])
    assert "L1" in cross.says
    spoilt = records.PollenLot(name="L1", species="Aus dus", collected=SPRING - timedelta(days=200), kept="fridge")
    assert planned(wish, lots=[spoilt]).crosses == []


def test_pollen_that_comes_first_is_kept(planned):
    """Cus flowers until June, dus in September."""
    [cross] = planned([("Aus dus", "Aus cus", 4)], day=date(2026, 6, 15), weeks=16).crosses
    assert (cross.seed_plant, cross.pollen_plants, cross.week) == ("D1", ["C1"], "2026-08-31")
    assert cross.says == "collect pollen in the week of 29 June, dry it and freeze it"


@pytest.mark.parametrize(("wanted", "why"), [
    (("Aus eus", "Aus bus", 3), "no living plant of the seed parent"),
    (("Aus bus", "Aus eus", 3), "neither a plant that gives this pollen"),
    (("Aus nus", "Aus bus", 3), "Aus nus"),
])  # fmt: skip
def test_what_is_left_out_says_why(planned, wanted, why):
    [left] = planned([wanted]).left_out
    assert why in left.why


def test_flowers_are_never_given_twice_and_a_season_of_few_evenings_takes_the_most_wanted(planned):
    wanted = [("Aus bus", "Aus cus", 5), ("Aus cus", "Aus bus", 1)]
    plan = planned(wanted, spare=3)
    assert all(sum(cross.flowers for cross in plan.crosses if cross.seed_plant == plant) <= 3 for plant in ("B1", "C1"))
    narrow = planned(wanted, day=date(2026, 5, 4), weeks=1, evenings=1)
    assert [cross.want for cross in narrow.crosses] == [5]


def test_a_plan_in_autumn_begins_when_the_first_parent_opens(planned):
    """Bus flowers from April: nothing wanted can be done before."""
    plan = planned([("Aus bus", "Aus cus", 5)], day=date(2026, 11, 20))
    assert plan.begins == "2027-04-01"
    assert [cross.seed_plant for cross in plan.crosses] == ["B1"]
    assert planned([("Aus bus", "Aus cus", 5)], day=date(2026, 4, 9)).begins == "2026-04-09"
