from __future__ import annotations

import numpy as np
import pytest

from crosscompat.book.stages import STAGES, stage_outcomes, unplaced_failures

WINDOWS = {"set": 30, "hold": 150, "fill": 200, "germinate": 365}
FULL = {"units": 6, "pods_set": 4, "pods_held": 3, "seeds": 90, "seeds_filled": 60, "seeds_sown": 50, "seedlings": 20}


def one(age=400.0, lost=None, **counts):
    arrays = {name: np.array([float(value)]) for name, value in counts.items()}
    return stage_outcomes(arrays, np.array([age]), WINDOWS, None if lost is None else np.array([lost]))


def test_every_count_enters_its_stage():
    found = one(**FULL)
    assert {stage: (o.tried[0], o.took[0]) for stage, o in found.items()} == {
        stage: (FULL[tried], FULL[took]) for stage, (tried, took) in STAGES.items()
    }
    assert not any(o.some[0] for o in found.values())


@pytest.mark.parametrize(("age", "known"), [(29, 0), (30, 1), (150, 2), (200, 3), (365, 4)])
def test_a_stage_says_nothing_before_its_window_has_passed(age, known):
    assert sum(bool(o.known[0]) for o in one(age=float(age), **FULL).values()) == known


def test_a_blank_is_never_a_failure():
    assert not any(o.known[0] for o in one(units=5).values())


def test_an_accident_is_no_failure_of_the_stage_it_ended():
    counts = FULL | {"seedlings": 0}
    assert one(**counts)["germinate"].known[0]
    found = one(lost=True, **counts)
    assert not found["germinate"].known[0]
    assert found["fill"].known[0]


def test_a_seedling_shows_that_some_units_set():
    found = one(units=5, seedlings=1)["set"]
    assert (found.tried[0], bool(found.some[0])) == (5, True)


def test_failures_that_say_where_are_placed():
    counts = {"pods_held": np.array([0.0, np.nan, np.nan]), "seedlings": np.array([np.nan, 0.0, np.nan])}
    assert unplaced_failures(counts, np.array([True, True, True])).tolist() == [False, False, True]
