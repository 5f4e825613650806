from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book.crosses import COUNT_COLUMNS, STAGE_COLUMNS, outcomes_of


def naive(count, *, lost):
    """Read one row as a grower would: units, takes, and "some of them"; None while the outcome is open."""
    one_by_one = count["tried"] is not None and count["took"] is not None
    units, up = (count["tried"], count["took"]) if one_by_one else (count["units"], count["seedlings"])
    found = None
    if one_by_one and not lost:
        found = units, up, False
    elif up is not None and up > 0:
        found = (1, 1, False) if units in {1, None} else (units, None, True)
    elif not lost and not one_by_one:
        nothing_left = any(count[stage] == 0 for stage in ("pods_set", "pods_held", "seeds", "seeds_filled"))
        if nothing_left or (up == 0 and count["seeds_sown"] != 0):
            found = units or 1, 0, False
    return None if units == 0 else found


def arrays(rows):
    return {
        name: np.array([np.nan if row[name] is None else row[name] for row in rows], dtype=float)
        for name in COUNT_COLUMNS
    }


row = st.fixed_dictionaries({name: st.sampled_from([None, None, 0, 1, 4]) for name in COUNT_COLUMNS})


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(row, st.booleans()), min_size=1, max_size=8))
def test_columns_are_read_as_a_row_by_row_reading_reads_them(rows):
    counts, lost = arrays([row for row, _ in rows]), np.array([lost for _, lost in rows])
    found = outcomes_of(counts, lost)
    for i, (row, was_lost) in enumerate(rows):
        expected = naive(row, lost=was_lost)
        assert found.known[i] == (expected is not None)
        if expected is None:
            assert not found.some[i]
            assert not found.uncounted[i]
            continue
        units, took, some = expected
        assert (found.tried[i], found.some[i]) == (units, some)
        assert some or found.took[i] == took
        counted = row["tried"] if row["tried"] is not None and row["took"] is not None else row["units"]
        assert found.uncounted[i] == (counted is None)


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ({"units": 4, "pods_set": 0}, (4, 0, False)),
        ({"units": 4, "pods_set": 3, "pods_held": 0}, (4, 0, False)),
        ({"units": 4, "pods_held": 2, "seeds_filled": 0}, (4, 0, False)),
        ({"units": 4, "seeds_sown": 30, "seedlings": 0}, (4, 0, False)),
        ({"units": 4, "seedlings": 0}, (4, 0, False)),
        ({"units": 4, "seedlings": 9}, (4, None, True)),
        ({"units": 1, "seedlings": 9}, (1, 1, False)),
        ({"seedlings": 9}, (1, 1, False)),
        ({"pods_set": 0}, (1, 0, False)),
        ({"tried": 6, "took": 2, "seedlings": 0}, (6, 2, False)),
        ({"units": 4}, None),
        ({"units": 4, "pods_set": 3}, None),
        ({"units": 4, "pods_held": 3, "seeds_filled": 90}, None),
        ({"units": 4, "seeds_filled": 90, "seeds_sown": 0, "seedlings": 0}, None),
        ({"units": 0, "seedlings": 3}, None),
        ({}, None),
    ],
)
def test_blank_is_unknown_and_never_a_failure(told, expected):
    found = outcomes_of(
        {name: np.array([float(value)]) for name, value in told.items()} or {"units": np.array([np.nan])}
    )
    assert found.known[0] == (expected is not None)
    if expected is not None:
        units, took, some = expected
        assert (found.tried[0], found.some[0]) == (units, some)
        assert some or found.took[0] == took


@pytest.mark.parametrize(
    ("told", "known", "some"),
    [
        ({"units": 4, "pods_set": 3, "pods_held": 0}, False, False),
        ({"units": 4, "seeds_sown": 30, "seedlings": 0}, False, False),
        ({"units": 4, "seeds_sown": 30, "seedlings": 5}, True, True),
        ({"tried": 6, "took": 0}, False, False),
        ({"tried": 6, "took": 2}, True, True),
        ({"tried": 1, "took": 1}, True, False),
    ],
)
def test_an_accident_is_no_failure_of_the_cross(told, known, some):
    found = outcomes_of({name: np.array([float(value)]) for name, value in told.items()}, np.array([True]))
    assert (found.known[0], found.some[0]) == (known, some)
    assert not known or some or found.took[0] == 1


@settings(max_examples=100, deadline=None)
@given(row, st.sampled_from(STAGE_COLUMNS))
def test_blanking_a_count_never_makes_a_failure_of_anything(row, column):
    """What is not written down may hide an outcome, but a take can never turn into a failure by it."""
    before = outcomes_of(arrays([row]))
    after = outcomes_of(arrays([{**row, column: None}]))
    if column != "seedlings" and before.known[0] and (before.some[0] or before.took[0] > 0):
        assert after.known[0]
        assert after.some[0] or after.took[0] > 0
    if not before.known[0] and after.known[0]:
        assert row["seeds_sown"] == 0  # "sown none, none up" says nothing; "none up" alone does


def test_no_crosses_have_no_outcomes():
    for counts in ({}, {"units": np.array([])}):
        assert outcomes_of(counts).known.shape == (0,)
