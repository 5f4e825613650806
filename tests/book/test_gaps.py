from __future__ import annotations

import numpy as np
import pytest

from crosscompat.book.gaps import GATES, gaps_of
from crosscompat.book.stages import STAGES

STAGE = list(STAGES)


def one(*, finished=True, lost=False, **counts):
    found = gaps_of(
        {name: np.array([float(value)]) for name, value in counts.items()}, np.array([finished]), np.array([lost])
    )
    if found.gate[0] < 0:
        return None
    return GATES[found.gate[0]], found.failed[0], STAGE[found.last[0]]


@pytest.mark.parametrize(
    ("counts", "gap"),
    [
        ({"units": 4, "seedlings": 0}, ("set", 4, "germinate")),
        ({"seedlings": 0}, ("set", 1, "germinate")),
        ({"units": 4, "pods_held": 0}, ("set", 4, "hold")),
        ({"units": 4, "seeds": 0}, ("set", 4, "hold")),
        ({"units": 4, "seeds_filled": 0}, ("set", 4, "fill")),
        ({"units": 4, "pods_set": 2, "seedlings": 0}, ("hold", 2, "germinate")),
        ({"pods_held": 2, "seedlings": 0}, ("pods", 2, "germinate")),
        ({"pods_held": 2, "seeds_filled": 0}, ("pods", 2, "fill")),
        ({"pods_held": 2, "seeds": 30, "seedlings": 0}, ("seeds", 30, "germinate")),
        ({"seeds_filled": 9, "seedlings": 0}, ("germinate", 9, "germinate")),
        ({"tried": 5, "took": 2}, ("set", 3, "germinate")),
        ({"tried": 5, "took": 5}, None),
        ({"units": 4, "pods_set": 0}, None),  # placed
        ({"pods_set": 2, "pods_held": 0}, None),
        ({"pods_held": 2, "seeds": 0}, None),
        ({"seeds": 9, "seeds_filled": 0}, None),
        ({"seeds_sown": 9, "seedlings": 0}, None),
        ({"units": 4, "seedlings": 2}, None),
        ({"units": 4}, None),
        ({"units": 4, "pods_set": 2}, None),
        ({"seeds_sown": 0, "seedlings": 0}, None),  # nothing was sown
    ],
)
def test_a_failure_enters_where_it_was_last_seen_and_ends_where_it_was_first_missed(counts, gap):
    assert one(**counts) == gap
    assert one(finished=False, **counts) is None
    assert one(lost=True, **counts) is None


def test_units_counted_one_by_one_speak_only_without_a_count_along_the_way():
    assert one(tried=5, took=2, pods_set=3) is None
    alone = gaps_of({"tried": np.array([5.0]), "took": np.array([2.0])}, np.array([True]))
    assert (alone.fruitful[0], alone.failed[0]) == (2, 3)
    both = gaps_of({"tried": np.array([5.0]), "took": np.array([2.0]), "pods_set": np.array([3.0])}, np.array([True]))
    assert both.fruitful[0] == 0


@pytest.mark.parametrize(
    ("counts", "pods"),
    [
        ({"pods_held": 2, "seeds_filled": 9}, 2),
        ({"pods_held": 2, "seeds_filled": 9, "seeds": 12}, 0),
        ({"seeds_filled": 9}, 0),
        ({"pods_held": 2, "seeds_filled": 0}, 0),
    ],
)
def test_pods_of_which_only_the_good_seeds_were_counted(counts, pods):
    found = gaps_of({name: np.array([float(value)]) for name, value in counts.items()}, np.array([True]))
    assert found.pods[0] == pods
    assert found.touches(STAGE.index("fill"))[0] == (pods > 0 or found.gate[0] >= 0)
