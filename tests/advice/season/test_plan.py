"""A season's plan: the best there is, and never what cannot be."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crosscompat.advice.season import allocation
from crosscompat.advice.season.allocation import solve
from crosscompat.advice.season.plan import plan_season
from crosscompat.book import records
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import open_store
from crosscompat.model.forecast import Logits, chances
from crosscompat.traits import TraitTable

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
    flowers, week, gap = solve(*problem)
    assert 0 <= gap <= 1e-3
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


@settings(max_examples=40, deadline=None)
@given(problems())
def test_of_many_options_the_plan_falls_short_of_the_best_by_no_more_than_it_says(problem):
    """The way of large problems, on small ones, against the programme solved at once."""
    gain = problem[0]
    best = value(gain, solve(*problem)[0])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(allocation, "_AT_ONCE", 0)
        flowers, week, gap = solve(*problem)
    assert allowed(problem, flowers, week)
    assert 0 <= gap <= 1e-3
    assert value(gain, flowers) >= best * (1 - gap) - 0.002 * len(gain) * problem[1].shape[1] - 1e-6


def test_the_same_question_has_the_same_plan():
    rng = np.random.default_rng(3)
    chance = chances(Logits(rng.normal(-1, 1, 40), np.ones(40)), 1).mean[:, None] ** np.arange(1, 9)
    problem = (chance, rng.random((40, 12)) < 0.3, rng.integers(0, 20, 40), rng.integers(0, 15, 40), 4)
    one, two = solve(*problem), solve(*problem)
    assert np.array_equal(one[0], two[0])
    assert np.array_equal(one[1], two[1])
    assert allowed(problem, *one[:2])


PLANTS = [
    Plant("B1", "Aus bus", "B", sex="female"), Plant("B2", "Aus bus", "B2", sex="male"),
    Plant("C1", "Aus cus", "C"), Plant("D1", "Aus dus", "D"), Plant("D2", "Aus dus", "D2", sex="male"),
]  # fmt: skip


@pytest.fixture
def planned(collection, traits):
    """Plan from April for six weeks: bus flowers in April and May, cus in May and June, dus in September."""

    def build(wanted, plants=PLANTS, lots=(), day=SPRING, weeks=6, months=None, crosses=(), **more):
        columns = [
            replace(column, values=tuple(months)) if months and column.name == "flowering" else column
            for column in traits.columns
        ]
        made = collection(crosses, plants, wanted, traits=TraitTable(traits.species, tuple(columns)))
        store = open_store("sqlite://")
        with store.writing("bench") as pen:
            kept = {plant.plant: records.Plant(name=plant.plant, received_as=plant.species) for plant in plants}
            pen.add(*kept.values(), *(replace(lot, plant=kept[lot.plant].id) if lot.plant else lot for lot in lots))
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


MONTHS = st.frozensets(st.integers(4, 9), min_size=1, max_size=2)
SPECIES = ("Aus bus", "Aus cus", "Aus dus", "Aus eus")
LOTS = st.lists(st.tuples(st.sampled_from(SPECIES), st.integers(0, 400), st.sampled_from(["freezer", "fridge", None])),
                max_size=2)  # fmt: skip


@st.composite
def benches(draw):
    """Up to seven plants of four species, of every sex, some of them offsets of another."""
    kinds = st.tuples(st.sampled_from(SPECIES), st.sampled_from(["female", "male", "both", None]), st.booleans())
    plants = []
    for i, (species, sex, offset) in enumerate(draw(st.lists(kinds, min_size=2, max_size=7))):
        same = [plant for plant in plants if plant.species == species]
        new = Plant(f"P{i}", species, f"P{i}", sex=sex)
        plants.append(replace(same[0], plant=new.plant) if offset and same else new)
    return plants


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(MONTHS, min_size=4, max_size=4),
    benches(),
    st.lists(st.tuples(st.sampled_from(SPECIES), st.sampled_from(SPECIES), st.integers(1, 5)), min_size=1, max_size=5),
    LOTS,
    st.booleans(),
)
def test_what_cannot_meet_in_flower_needs_pollen_that_is_kept(planned, months, plants, wanted, lots, controls):
    stored = [
        records.PollenLot(name=f"L{i}", species=species, collected=SPRING - timedelta(days=age), kept=kept)
        for i, (species, age, kept) in enumerate(lots)
    ]
    plan = planned(wanted, plants, stored, weeks=26, months=months, spare=4, controls=controls)
    plant, begins = {each.plant: each for each in plants}, date.fromisoformat(plan.begins)
    days = [begins + timedelta(days=n) for n in range(26 * 7)]
    open_on = {name: {day for day in days if day.month in months[SPECIES.index(each.species)]}
               for name, each in plant.items()}  # fmt: skip
    for cross in plan.crosses:
        mother, week = plant[cross.seed_plant], date.fromisoformat(cross.week)
        this_week = {week + timedelta(days=n) for n in range(7)}
        assert mother.sex != "male"
        assert open_on[mother.plant] & this_week
        for name in cross.pollen_plants:
            assert plant[name].sex != "female"
            assert plant[name].clone != mother.clone
            meet = open_on[name] & open_on[mother.plant] & this_week
            earlier = [day for day in open_on[name] if day < week and (week - day).days <= 270 + 7]
            assert meet if cross.says == "fresh pollen" else earlier
        if not cross.pollen_plants:
            [lot] = [lot for lot in stored if lot.name in cross.says]
            keeps = {"freezer": 270, "fridge": 30, None: 10_000}[lot.kept]
            assert (lot.species, (week - lot.collected).days <= keeps) == (cross.pollen_parent, True)
    for name in plant:
        spent = sum(cross.flowers for cross in plan.crosses if cross.seed_plant == name)
        assert spent + sum(control.seed_plant == name for control in plan.controls) <= 4
    assert {control.seed_plant for control in plan.controls} == (
        {cross.seed_plant for cross in plan.crosses} if controls else set()
    )
    assert len(plan.crosses) + len(plan.left_out) == len(wanted)


def test_pollen_of_the_seed_plant_itself_is_no_pollen_in_store(planned):
    """Bus by bus: both plants shed no pollen any more, and there is some of B1 in store."""
    plants = [Plant("B1", "Aus bus", "B", sex="female"), Plant("B2", "Aus bus", "B2", sex="female")]
    lot = records.PollenLot(name="L1", plant="B1", collected=SPRING, kept="freezer")
    assert [cross.seed_plant for cross in planned([("Aus bus", "Aus bus", 3)], plants, [lot]).crosses] == ["B2"]
    assert planned([("Aus bus", "Aus bus", 3)], plants[:1], [lot]).crosses == []


def test_pollen_of_a_plant_that_is_named_comes_from_no_other(planned):
    lot = records.PollenLot(name="L1", plant="D2", collected=SPRING, kept="freezer")
    assert len(planned([("Aus bus", "D2", 3)], lots=[lot]).crosses) == 1
    assert planned([("Aus bus", "D1", 3)], lots=[lot]).crosses == []


def test_what_one_more_flower_or_borrowed_pollen_would_bring(planned):
    plan = planned([("Aus bus", "Aus cus", 5), ("Aus cus", "Aus dus", 4)], spare=2, weeks=12)
    [cross] = plan.crosses
    assert (plan.one_more.seed_plant, plan.one_more.flowers) == ("B1", 3)
    assert plan.one_more.before == pytest.approx(cross.chance.mean)
    again = planned([("Aus bus", "Aus cus", 5)], spare=3, weeks=12)
    assert plan.one_more.after == pytest.approx(again.crosses[0].chance.mean)
    lot = records.PollenLot(name="L1", species="Aus dus", collected=SPRING, kept="freezer")
    lent = planned([("Aus bus", "Aus cus", 5), ("Aus cus", "Aus dus", 4)], spare=2, weeks=12, lots=[lot])
    [gained] = [each for each in lent.crosses if each.seed_plant == "C1"]
    assert plan.borrowed.seed_plant == "C1"
    assert (plan.borrowed.before, plan.borrowed.after, plan.borrowed.flowers) == (
        0.0, pytest.approx(gained.chance.mean), gained.flowers,
    )  # fmt: skip
    full = planned([("Aus bus", "Aus cus", 5), ("Aus cus", "Aus dus", 4)], spare=2, evenings=1, weeks=1,
                   day=date(2026, 5, 4))  # fmt: skip
    assert full.borrowed is None


def test_the_other_way_round_is_told_where_it_is_likelier(planned, cross):
    made = [cross("Aus bus", "Aus cus", 6, 6), cross("Aus cus", "Aus bus", 6, 0)] * 3
    [better], [worse] = (
        planned([pair], weeks=10, crosses=made).crosses
        for pair in (("Aus bus", "Aus cus", 5), ("Aus cus", "Aus bus", 5))
    )
    assert better.other_way is None
    assert worse.other_way.mean > worse.chance.mean + 0.1
