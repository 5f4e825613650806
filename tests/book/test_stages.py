from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from crosscompat.book.outcomes import impossible, outcomes_of
from crosscompat.book.stages import STAGES, stage_outcomes, unplaced_failures

WINDOWS = {"set": 30, "hold": 150, "fill": 200, "germinate": 365}
FULL = {"units": 6, "pods_set": 4, "pods_held": 3, "seeds": 90, "seeds_filled": 60, "seeds_sown": 50, "seedlings": 20}


def arrays(rows):
    return {name: np.array([np.nan if row.get(name) is None else row[name] for row in rows], float) for name in FULL}


def one(age=400.0, lost=None, **counts):
    """What one cross says about each stage: ``(tried, took)``, ``(tried, "some")`` or None."""
    found = stage_outcomes(arrays([counts]), np.array([age]), WINDOWS, None if lost is None else np.array([lost]))
    return {
        stage: (o.tried[0], "some" if o.some[0] else o.took[0]) if o.known[0] else None for stage, o in found.items()
    }


def test_every_count_enters_its_stage():
    assert one(**FULL) == {stage: (FULL[tried], FULL[took]) for stage, (tried, took) in STAGES.items()}


@pytest.mark.parametrize(
    ("age", "known"), [(0, 0), (29, 0), (30, 1), (149, 1), (150, 2), (199, 2), (200, 3), (364, 3), (365, 4)]
)
def test_a_stage_says_nothing_before_its_window_has_passed(age, known):
    told = one(age=float(age), **FULL)
    assert [told[stage] is not None for stage in STAGES] == [True] * known + [False] * (4 - known)


@pytest.mark.parametrize(
    ("counts", "stage", "says"),
    [
        ({"units": 5}, "set", None),
        ({"units": 5, "pods_set": 0}, "set", (5, 0)),
        ({"units": 5, "seedlings": 1}, "set", (5, "some")),
        ({"units": 5, "seeds_sown": 8}, "set", (5, "some")),
        ({"units": 5, "seedlings": 0}, "set", None),
        ({"pods_set": 0}, "set", (1, 0)),
        ({"pods_set": 7}, "set", (1, 1)),
        ({"pods_held": 2}, "set", (1, "some")),
        ({}, "set", None),
        ({"pods_set": 3}, "hold", None),
        ({"pods_set": 0, "pods_held": 0}, "hold", None),
        ({"pods_held": 2}, "hold", None),
        ({"pods_set": 3, "seeds": 0}, "hold", None),  # held but without seed, or not held
        ({"pods_set": 3, "seeds_filled": 2}, "hold", (3, "some")),
        ({"seeds": 9, "seeds_sown": 5}, "fill", None),  # empty ones may be among them
        ({"seeds": 9, "seedlings": 1}, "fill", (9, "some")),
        ({"seeds": 0, "seeds_filled": 0}, "fill", None),
        ({"seeds": 9, "seeds_filled": 0, "seedlings": 2}, "fill", (9, 2)),  # taken for empty, and they came up
        ({"seeds_sown": 9}, "germinate", None),
        ({"seedlings": 2}, "germinate", None),
        ({"seeds_sown": 0, "seedlings": 0}, "germinate", None),
    ],
)
def test_a_blank_is_unknown_and_never_a_failure(counts, stage, says):
    assert one(**counts)[stage] == says


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"seedlings": 0}, {"fill": (90, 60), "germinate": None}),
        ({"seedlings": 20}, {"fill": (90, 60), "germinate": (50, "some")}),
        ({"seedlings": None}, {"hold": (4, 3), "fill": (90, "some"), "germinate": None}),
        ({"seedlings": None, "seeds_filled": 0}, {"hold": (4, 3), "fill": None}),
    ],
)
def test_an_accident_is_no_failure_of_the_stage_it_struck(change, told):
    found = one(lost=True, **FULL | change)
    assert {stage: found[stage] for stage in told} == told
    assert found["set"] == (6, 4)
    assert one(lost=False, **FULL | change) == one(**FULL | change)


@pytest.mark.parametrize(
    ("counts", "placed"),
    [
        ({"pods_set": 0}, True),
        ({"units": 3, "pods_held": 0}, False),  # perhaps none had set
        ({"pods_set": 2, "pods_held": 0}, True),
        ({"pods_held": 2, "seeds": 0}, True),
        ({"seeds": 0}, False),
        ({"seeds": 9, "seeds_filled": 0}, True),
        ({"seeds_filled": 0}, False),
        ({"seeds_sown": 9, "seedlings": 0}, True),
        ({"units": 3, "seedlings": 0}, False),
        ({"units": 3, "pods_set": 2}, False),
    ],
)
def test_failures_that_do_not_say_where_are_unplaced(counts, placed):
    assert unplaced_failures(arrays([counts]), np.array([True])).tolist() == [not placed]
    assert unplaced_failures(arrays([counts]), np.array([False])).tolist() == [False]


def plainly(row, age, lost):
    """One cross, read stage by stage as a person would."""
    order = list(STAGES.items())
    last = max((i for i, (_, (_, took)) in enumerate(order) if row[took] is not None), default=None)
    for i, (stage, (entered, passed)) in enumerate(order):
        n, k = row[entered], row[passed]
        if stage == "set" and n is None:
            n, k = 1, None if k is None else min(k, 1)
        if stage == "fill" and n and k is not None:
            k = max(k, min(row["seedlings"] or 0, n))
        beyond = {"set": list(FULL)[2:], "hold": list(FULL)[3:], "fill": ["seedlings"], "germinate": []}[stage]
        if age < WINDOWS[stage] or not n:
            yield None
        elif k is None:
            yield (n, "some") if age >= WINDOWS["germinate"] and any(row[name] for name in beyond) else None
        elif lost and i == last:
            yield (n, "some") if k else None
        else:
            yield (n, k)


count = st.none() | st.integers(0, 3)
rows = st.fixed_dictionaries(dict.fromkeys(FULL, count)).filter(lambda row: not impossible(arrays([row])))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(rows, st.integers(0, 400), st.booleans()), min_size=1, max_size=8))
def test_columns_are_read_as_a_row_by_row_reading_reads_them(book):
    counts, ages, lost = arrays([row for row, *_ in book]), *map(np.array, ([b[1] for b in book], [b[2] for b in book]))
    found = stage_outcomes(counts, ages.astype(float), WINDOWS, lost)
    for i, (row, age, gone) in enumerate(book):
        judge = list(plainly(row, age, gone))
        assert [
            (o.tried[i], "some" if o.some[i] else o.took[i]) if o.known[i] else None for o in found.values()
        ] == judge


@settings(max_examples=60, deadline=None)
@given(st.lists(rows, min_size=1, max_size=8))
def test_no_failure_is_dropped(book):
    """A finished failure enters a stage as none of n, tells of pods without seed, or waits to be shared out."""
    counts = arrays(book)
    plain = outcomes_of(counts)
    failed = plain.known & ~plain.some & (plain.took == 0)
    found = stage_outcomes(counts, np.full(len(book), 400.0), WINDOWS)
    none = np.any([o.known & ~o.some & (o.took == 0) for o in found.values()], axis=0)
    seedless = (counts["pods_held"] > 0) & (counts["seeds"] == 0)
    assert (none | seedless | unplaced_failures(counts, failed))[failed].all()
    assert not none[~failed & plain.known].any()


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
        closed = stage_outcomes(counts, age.astype(float), WINDOWS)["hold"]
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
