from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from crosscompat.book.crosses import COUNT_COLUMNS, impossible, outcomes_of
from crosscompat.model.training_set import step_counts
from crosscompat.stages import STAGES, STEPS, WHOLE

WINDOWS = {"set": 30, "hold": 150, "fill": 200, "germinate": 365}
FULL = {"units": 6, "pods_set": 4, "pods_held": 3, "seeds": 90, "seeds_filled": 60, "seeds_sown": 50, "seedlings": 20}
SHORT = {
    "u": "units", "s": "pods_set", "h": "pods_held", "n": "seeds", "f": "seeds_filled", "o": "seeds_sown",
    "g": "seedlings", "tried": "tried", "took": "took",
}  # fmt: skip


def arrays(rows):
    return {name: np.array([np.nan if row.get(name) is None else row[name] for row in rows]) for name in COUNT_COLUMNS}


def one(age=400.0, lost=None, **counts):
    """What one cross says, by step: ``(tried, took)`` or ``(tried, "some")``."""
    found = step_counts(arrays([counts]), np.array([age]), WINDOWS, None if lost is None else np.array([lost]))
    assert set(found.steps) == set(STEPS)
    return {
        name: (step.tried[0], "some" if step.some[0] else step.took[0])
        for name, step in found.steps.items()
        if step.known[0]
    }


@pytest.mark.parametrize(
    ("counts", "says"),
    [
        # nothing is known of the end
        ({}, {}),
        ({"u": 5}, {}),
        ({"u": 5, "s": 3}, {"set": (5, 3)}),
        ({"s": 7}, {"set": (1, 1)}),  # of flowers that were not counted there was one
        ({"u": 4, "s": 3, "h": 2}, {"set": (4, 3), "hold": (3, 2)}),
        ({"u": 4, "h": 2}, {"pod": (4, 2)}),
        ({"h": 2}, {"pod": (1, 1)}),
        ({"u": 4, "n": 30}, {"pod": (4, "some")}),  # seeds speak for the pods that nobody counted
        ({"u": 5, "s": 3, "f": 2}, {"set": (5, 3), "hold": (3, "some")}),
        ({"u": 4, "h": 2, "n": 30, "f": 20}, {"pod": (4, 2), "fill": (30, 20)}),
        ({"u": 2, "o": 8}, {"pod": (2, "some")}),
        # it failed, and it is known where
        ({"u": 5, "s": 0}, {"set": (5, 0)}),
        ({"u": 5, "s": 0, "h": 0, "g": 0}, {"set": (5, 0)}),
        ({"u": 4, "s": 3, "h": 0}, {"set": (4, 3), "hold": (3, 0)}),
        ({"u": 4, "h": 0, "g": 0}, {"pod": (4, 0)}),
        ({"u": 4, "h": 2, "n": 0}, {"pod": (4, 2), "fruitful": (2, 0)}),
        ({"u": 4, "h": 2, "f": 0}, {"pod": (4, 2), "fruitful": (2, 0)}),
        ({"u": 4, "s": 3, "h": 2, "n": 621, "f": 0}, {"set": (4, 3), "hold": (3, 2), "fill": (621, 0)}),
        ({"u": 4, "s": 3, "h": 2, "n": 621, "f": 0, "g": 0}, {"set": (4, 3), "hold": (3, 2), "fill": (621, 0)}),
        ({"u": 4, "n": 621, "f": 0}, {"pod": (4, "some"), "fill": (621, 0)}),
        ({"u": 2, "o": 50, "g": 0}, {"pod": (2, "some"), "germinate": (50, 0)}),
        ({"u": 4, "h": 2, "g": 0}, {"pod": (4, 2), "fruitful": (2, 0)}),
        ({"u": 4, "n": 30, "g": 0}, {"pod": (4, "some"), "seed": (30, 0)}),
        ({"u": 3, "h": 2, "n": 9, "f": 6, "g": 0}, {"pod": (3, 2), "fill": (9, 6), "fruitful": (2, 0)}),
        # it failed, nobody knows where: the counts of pods go with it
        ({"u": 3, "g": 0}, {"whole": (3, 0)}),
        ({"u": 3, "s": 2, "g": 0}, {"whole": (3, 0)}),
        ({"u": 3, "s": 2, "tried": 3, "took": 0}, {"whole": (3, 0)}),
        ({"u": 5, "s": 3, "n": 0}, {"whole": (5, 0)}),  # held without a seed, or not held
        ({"u": 3, "f": 0}, {"whole": (3, 0)}),
        ({"tried": 5, "took": 0}, {"whole": (5, 0)}),
        # it took
        (dict(zip("ushnfog", FULL.values(), strict=True)),
         {"set": (6, 4), "hold": (4, 3), "fill": (90, 60), "germinate": (50, 20)}),
        ({"u": 3, "g": 2}, {"whole": (3, "some")}),
        ({"u": 1, "g": 2}, {"whole": (1, 1)}),  # some of one is one of one
        ({"g": 2}, {"whole": (1, 1)}),
        ({"tried": 5, "took": 2}, {"whole": (5, 2)}),
        ({"u": 3, "s": 2, "g": 1}, {"whole": (3, "some")}),  # as it would be had it failed
        ({"u": 3, "s": 2, "tried": 3, "took": 1}, {"whole": (3, "some")}),
        ({"u": 4, "h": 2, "g": 5}, {"pod": (4, 2), "fruitful": (2, "some")}),
        ({"u": 4, "n": 30, "g": 3}, {"pod": (4, "some"), "seed": (30, "some")}),
        ({"u": 4, "h": 2, "n": 9, "f": 0, "g": 2}, {"pod": (4, 2), "fill": (9, 2), "fruitful": (2, "some")}),
    ],
)  # fmt: skip
def test_every_count_enters_at_the_finest_step_that_it_is_known_for(counts, says):
    assert one(**{SHORT[name]: count for name, count in counts.items()}) == says


@pytest.mark.parametrize(
    ("counts", "says"),
    [
        ({"u": 5, "s": 0}, {}),
        ({"u": 5, "s": 3}, {"set": (5, "some")}),
        ({"u": 4, "h": 2}, {"pod": (4, "some")}),
        ({"u": 4, "h": 2, "g": 0}, {"pod": (4, 2)}),  # the seedlings were lost, not the pods
        ({"u": 3, "g": 0}, {}),
        ({"u": 3, "g": 2}, {"whole": (3, "some")}),
        ({"tried": 4, "took": 0}, {}),
        ({"tried": 4, "took": 1}, {"whole": (4, "some")}),
        (dict(zip("ushnfo", FULL.values(), strict=False)), {"set": (6, 4), "hold": (4, 3), "fill": (90, "some")}),
        (dict(zip("ushnfog", FULL.values(), strict=True)),
         {"set": (6, 4), "hold": (4, 3), "fill": (90, 60), "germinate": (50, "some")}),
    ],
)  # fmt: skip
def test_an_accident_is_no_failure_of_the_step_it_struck(counts, says):
    told = {SHORT[name]: count for name, count in counts.items()}
    assert one(lost=True, **told) == says
    assert one(lost=False, **told) == one(**told)


@pytest.mark.parametrize(
    ("age", "known"), [(0, 0), (29, 0), (30, 1), (149, 1), (150, 2), (199, 2), (200, 3), (364, 3), (365, 4)]
)
def test_a_stage_says_nothing_before_its_window_has_passed(age, known):
    assert list(one(age=float(age), **FULL)) == list(STAGES)[:known]


@pytest.mark.parametrize("counts", [{"units": 3, "seedlings": 2}, {"units": 3, "seedlings": 0}, {"tried": 3, "took": 2},
                                    {"units": 3, "pods_set": 0, "seedlings": 0}])  # fmt: skip
@pytest.mark.parametrize("age", [10.0, 29.0])
def test_no_end_is_known_before_its_day(counts, age):
    assert one(age=age, **counts) == {}


@pytest.mark.parametrize(
    ("change", "opened"),
    [({}, (3, 90)), ({"seeds": 0}, (3, 0)), ({"pods_held": None}, (0, 0)), ({"seeds": None}, (0, 0)),
     ({"age": 199.0}, (0, 0)), ({"lost": True}, (0, 0))],
)  # fmt: skip
def test_pods_that_were_opened_tell_how_many_seeds_they_hold(change, opened):
    told = {**FULL, "age": 400.0, "lost": False, **change}
    age, lost = told.pop("age"), told.pop("lost")
    found = step_counts(arrays([told]), np.array([age]), WINDOWS, np.array([lost]))
    assert (found.pods[0], found.seeds[0]) == opened


def test_crosses_are_read_one_by_one_and_may_be_picked():
    rows = [FULL, {"units": 3, "seedlings": 0}, {}, {"tried": 4, "took": 2}]
    whole = step_counts(arrays(rows), np.full(4, 400.0), WINDOWS)
    assert whole.speaks.tolist() == [True, True, False, True]
    assert [whole[np.array([i])].counted for i in range(4)] == [True, False, False, False]
    picked = whole[np.array([3, 0])]
    assert picked.steps[WHOLE].tried.tolist() == [4, 1]
    assert picked.pods.tolist() == [0, 3]


count = st.none() | st.integers(0, 3)


def sound(row):
    """Tell whether the counts of a cross can stand together, those of units with a seedling among them."""
    took, along = row["took"], [row[name] for name in ("pods_set", "pods_held", "seeds", "seeds_sown", "seedlings")]
    if took is not None and row["tried"] is not None and ((took and 0 in along) or (took == 0 and row["seedlings"])):
        return False
    return not impossible(arrays([row]))


rows = st.fixed_dictionaries(dict.fromkeys(COUNT_COLUMNS, count)).filter(sound)
STEPS_BELOW = {
    "pod": {"set", "hold"}, "seed": {"fill", "germinate"}, "fruitful": {"seed", "fill", "germinate"},
    "whole": {"pod", "set", "hold", "fruitful", "seed", "germinate"},
}  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(rows, st.sampled_from([10.0, 40.0, 160.0, 210.0, 400.0]), st.booleans())
def test_steps_are_counted_once_and_soundly(row, age, lost):
    said = one(age=age, lost=lost, **row)
    for tried, took in said.values():
        assert tried >= 1
        assert took == "some" or 0 <= took <= tried
        assert not (took == "some" and tried == 1)
    none = {step for step, (_, took) in said.items() if took == 0}
    for step in none:  # a failure stands at one step, and not at one that it joins as well
        assert not STEPS_BELOW.get(step, set()) & none
    if WHOLE in said:
        assert not (STEPS_BELOW[WHOLE]) & said.keys()
    if lost:
        assert not none & {"whole", "fruitful", "seed"} or row["seeds"] == 0


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 400), st.booleans(), st.none() | st.integers(1, 9))
def test_a_blank_record_says_nothing(age, lost, units):
    assert one(age=float(age), lost=lost, units=units) == {}


@settings(max_examples=250, deadline=None)
@given(rows)
def test_no_outcome_of_a_finished_cross_is_dropped(row):
    """A failure enters as none of some step, a success as none of no step, and lowers nothing by what it leaves out."""
    outcome, said = outcomes_of(arrays([row])), one(**row)
    none = {step for step, (_, took) in said.items() if took == 0}
    if not outcome.known[0]:
        assert not none & {"whole", "pod", "set"}
    elif outcome.fruitful[0]:
        assert not none
        assert said
    else:
        assert none


CHANCE = 0.40


def held_of_set(rng, n, day):
    """Pods of ``n`` flowers that all set, as the book stands: drops show early, ripeness late."""
    made = rng.integers(0, day, n)
    holds = rng.random(n) < CHANCE
    shown = made + np.where(holds, rng.integers(60, 140, n), rng.integers(5, 60, n)) <= day
    return day - made, np.where(shown, holds, np.nan)


def test_a_season_read_halfway_does_not_lie():
    """90% intervals hold the chance as often as they promise where a stage waits for its window, and else far less."""
    rng = np.random.default_rng(4)
    told = []
    for _ in range(400):
        age, held = held_of_set(rng, 200, day=250)
        counts = {"pods_set": np.ones(200), "pods_held": held}
        closed = step_counts(counts, age.astype(float), WINDOWS).steps["hold"]
        told.append(
            [closed.took.sum(), closed.tried[closed.known].sum(), np.nansum(held), np.count_nonzero(~np.isnan(held))]
        )
    took, tried, took_so_far, told_so_far = np.array(told).T
    waiting, hasty = (
        stats.beta.ppf([[0.05], [0.95]], k + 1, n - k + 1) for k, n in ((took, tried), (took_so_far, told_so_far))
    )
    holds, lies = (((low < CHANCE) & (high > CHANCE)).mean() for low, high in (waiting, hasty))
    assert holds == pytest.approx(0.9, abs=3 * np.sqrt(0.9 * 0.1 / 400))
    assert lies < 0.5
