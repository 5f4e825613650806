from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from crosscompat.advice.made_crosses import checks_of

DAY = date(2026, 1, 1)
SEED, POLLEN, ALONE = "check of the seed parent", "check of the pollen", "left alone"


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"kind": SEED, "seed_plant": "A1", "units": 3, "pods_set": 2}, "A1 sets as a seed parent (2 of 3 set"),
        ({"kind": SEED, "units": 3, "pods_set": 0}, "Aus bus set nothing with good pollen (0 of 3 set)"),
        ({"kind": SEED}, "no result is recorded yet"),
        ({"kind": POLLEN, "pollen_plant": "C1", "pods_set": 1}, "The pollen of C1 was alive (1 set"),
        ({"kind": POLLEN, "pods_set": 0, "units": 2}, "The pollen of Aus cus set nothing"),
        ({"kind": ALONE, "pods_set": 2, "units": 4}, "Aus bus sets by itself (2 of 4 set)"),
        ({"kind": ALONE, "pods_set": 0}, "sets nothing when left alone (0 set)"),
        ({"pollen_kind": "none", "pods_set": 0}, "sets nothing when left alone (0 set)"),
        ({"kind": ALONE, "tried": 4, "took": 1}, "(1 of 4 set)"),
    ],
)
def test_what_a_check_says_of_the_parent_it_was_made_for(collection, cross, more, says):
    if "tried" not in more:
        more = {"tried": None, "took": None, **more}
    [told] = checks_of(collection([cross("Aus bus", "A. cus", cross="26-01", **more)]), DAY)
    assert says in told.says
    assert told.cross == "26-01"


def test_a_cross_is_no_check_and_what_was_recorded_later_is_not_told_yet(collection, cross):
    later = cross("Aus bus", "A. cus", kind=SEED, recorded_at=datetime(2026, 6, 1, tzinfo=UTC))
    assert checks_of(collection([cross("Aus bus", "A. cus"), later]), DAY) == []
