from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from crosscompat.model.composition import Logits
from crosscompat.model.likelihood import Counts
from crosscompat.model.prior import PublishedCrosses, published, published_weight, with_published
from crosscompat.stages import WHOLE

SCALES = published().effect_scales(WHOLE)
# Species 0 and 1 are sisters, 2 and 3 are, 4 to 7 are kin of nobody.
KIN = np.eye(8)
KIN[0, 1] = KIN[1, 0] = KIN[2, 3] = KIN[3, 2] = 0.8
PAIRS = {"pair": (0, 2), "reverse": (2, 0), "kin": (1, 3), "one parent": (0, 4), "strangers": (4, 5)}


def records(*rows, level=2.0):
    """Published crosses as (mother, father, took, weight); a third entry of None for took is none of 20."""
    seed, pollen, took, weight = (np.array(column) for column in zip(*rows, strict=True))
    counts = Counts.of(np.full(len(rows), 20.0), np.zeros(len(rows)), some=took, weight=weight.astype(float))
    return PublishedCrosses(seed, pollen, np.ones(len(rows), dtype=bool), counts, level)


def prior(size, mean=-2.0, sd=4.5):
    return Logits(np.full(size, mean), np.full(size, sd))


def adds(crosses, own=None, theirs=None, kin=KIN):
    """What published crosses add to each of ``PAIRS``, by its name."""
    before, of_crosses = prior(len(PAIRS)), prior(len(crosses.seed))
    seed, pollen = np.array(list(PAIRS.values())).T
    found, added = with_published(
        own or before, before, seed, pollen, kin, crosses, (theirs or of_crosses, of_crosses), SCALES
    )
    assert found.mean == pytest.approx((own or before).mean + added, abs=1e-12)
    assert (found.sd <= (own or before).sd + 1e-12).all()
    return dict(zip(PAIRS, added.tolist(), strict=True))


def test_a_success_raises_its_pairing_most_its_reverse_and_kin_less_and_strangers_not_at_all():
    found = adds(records((0, 2, True, 1.0)))
    assert found["pair"] > found["kin"] > 0
    assert found["pair"] > found["one parent"] > 0
    assert found["pair"] > found["reverse"] > 0
    assert found["strangers"] == 0


def test_a_failure_lowers_what_a_success_raises():
    found = adds(records((0, 2, False, 1.0)))
    assert found["pair"] < found["kin"] < 0
    assert found["pair"] < found["reverse"] < 0
    assert found["strangers"] == 0


def test_a_success_in_both_directions_says_more_than_in_one_that_nobody_noted():
    noted, both = records((0, 2, True, 1.0)), records((0, 2, True, 1.0), (2, 0, True, 1.0))
    unnoted = replace(noted, directed=np.array([False]))
    one, other, two = adds(noted), adds(unnoted), adds(both)
    assert other["pair"] == pytest.approx(other["reverse"])
    assert one["pair"] > other["pair"] > one["reverse"]
    assert two["reverse"] > other["reverse"]


@pytest.mark.parametrize("took", [True, False])
def test_a_hundred_published_crosses_of_others_move_no_pair_of_strangers(took):
    """They are reported when they succeed: what they have in common says nothing of pairings in general."""
    rng = np.random.default_rng(1)
    rows = [(*rng.choice([0, 1, 2, 3, 6, 7], 2, replace=False), took, 1.0) for _ in range(100)]
    assert adds(records(*rows))["strangers"] == 0


def test_what_all_have_in_common_is_taken_up_by_their_level():
    """A pair on record among many that are gains less than it would alone, and less the wider the level."""
    alone = records((0, 2, True, 1.0))
    among = [(0, 2, True, 1.0), *((a, b, True, 1.0) for a, b in ((4, 6), (6, 5), (5, 7), (7, 4)))]
    assert adds(alone)["pair"] > adds(records(*among))["pair"] > adds(records(*among, level=6.0))["pair"] > 0


@pytest.mark.parametrize("took", [True, False])
def test_the_more_a_grower_has_seen_the_less_it_moves(took):
    crosses, size = records((0, 2, took, 1.0)), len(PAIRS)
    moved = [
        abs(
            adds(crosses, Logits(np.full(size, -2.0), np.full(size, sd)), Logits(np.full(1, -2.0), np.full(1, sd)))[
                "pair"
            ]
        )
        for sd in (4.5, 3.0, 1.5, 0.5, 0.1)
    ]
    assert np.all(np.diff(moved) < 0)
    assert moved[-1] < 0.02 * moved[0]


def test_weaker_evidence_moves_less():
    weights = [published_weight(how)[0] for how in ("by hand", "in cultivation", "in nature", "embryo rescue")]
    assert np.all(np.diff(weights) < 0)
    moved = [adds(records((0, 2, True, weight)))["pair"] for weight in weights]
    assert np.all(np.diff(moved) < 0)
    assert moved[-1] > 0


def test_without_kinship_only_the_parents_themselves_speak():
    found = adds(records((0, 2, True, 1.0)), kin=np.eye(8))
    assert found["pair"] > found["one parent"] > 0
    assert found["kin"] == found["strangers"] == 0


def test_no_published_crosses_leave_everything():
    nothing = PublishedCrosses(*np.empty((2, 0), dtype=int), np.empty(0, dtype=bool), Counts.of([], []), 2.0)
    own = prior(3)
    found, added = with_published(own, own, *np.zeros((2, 3), dtype=int), KIN, nothing, (prior(0), prior(0)), SCALES)
    assert found is own
    assert added.tolist() == [0, 0, 0]


@pytest.mark.parametrize("took", [True, False])
def test_the_posterior_is_that_of_a_grid(took):
    """Of one cross: its logit by itself against plain numerical integration, the likelihood of some or none of 20."""
    crosses = records((0, 2, took, 0.7))
    grid = np.linspace(-60, 60, 60_001)
    spread = np.hypot(4.5, 2.0)
    none = -20 * np.logaddexp(0, grid)
    log_likelihood = 0.7 * (np.log(-np.expm1(np.minimum(none, -1e-300))) if took else none)
    weight = np.exp(-0.5 * ((grid + 2) / spread) ** 2 + log_likelihood)
    moved = (weight @ grid) / weight.sum() + 2
    shared = SCALES["seed"] ** 2 + SCALES["pollen"] ** 2 + SCALES["pair"] ** 2 + SCALES["direction"] ** 2
    assert adds(crosses)["pair"] == pytest.approx(moved * shared / spread**2, rel=0.02)
