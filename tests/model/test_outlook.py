"""The chance of the whole chain against plain simulation, draw by draw, and against arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from crosscompat.model.fitted import CHAIN, prior_model
from crosscompat.model.forecast import MOST_FLOWERS, Logits, chances
from crosscompat.model.outlook import Outlook, flowers_needed, outlook, seedling_chances
from crosscompat.model.seeds import SeedsPerPod
from crosscompat.pairing import recipe_for

SPREAD, CELLS = SeedsPerPod(60.0, 1.5), SeedsPerPod(2.0, 1.0, cap=3)


def beliefs(seed, n=6):
    rng = np.random.default_rng(seed)
    return tuple(Logits(rng.normal(0, 1.5, n), rng.uniform(0.6, 2.5, n)) for _ in range(4))


def simulated(stages, seeds, pod_sd, units, size=20_000, seed=3):
    """Grow cross after cross: one fate a cross for set, hold and germination, one a pod for filling."""
    rng = np.random.default_rng(seed)

    def chance(stage, at, spread):
        return 1 / (1 + np.exp(-(stages[stage].mean[at] + spread * rng.normal(size=size))))

    found = []
    for at in range(len(stages[0].mean)):
        set_, hold, germinate = (chance(stage, at, stages[stage].sd[at]) for stage in (0, 1, 3))
        outer = stages[2].mean[at] + np.sqrt(stages[2].sd[at] ** 2 - pod_sd**2) * rng.normal(size=size)
        seedlings = np.zeros(size)
        for _ in range(units):
            pod = rng.random(size) < set_ * hold
            fill = 1 / (1 + np.exp(-(outer + pod_sd * rng.normal(size=size))))
            if seeds.cap is None:
                number = rng.poisson(rng.gamma(seeds.size, seeds.mean / seeds.size, size))
            else:
                number = rng.binomial(seeds.cap, seeds.mean / seeds.cap, size)
            seedlings += np.where(pod, rng.binomial(number, fill * germinate), 0)
        found.append((seedlings > 0).mean())
    return np.array(found)


@pytest.mark.parametrize("seeds", [SPREAD, CELLS])
@pytest.mark.parametrize("units", [1, 5])
def test_the_mean_chance_is_how_often_a_seedling_comes_up(seeds, units):
    stages = beliefs(1)
    found = seedling_chances(Outlook(stages, seeds, 0.5), units).mean
    judge = simulated(stages, seeds, 0.5, units)
    assert found == pytest.approx(judge, abs=4 * 0.5 / np.sqrt(20_000))


def test_the_interval_is_that_of_the_chances_drawn():
    stages, rng = beliefs(2), np.random.default_rng(5)
    found = seedling_chances(Outlook(stages, CELLS, 0.0), 3)
    draws = [1 / (1 + np.exp(-(s.mean[:, None] + s.sd[:, None] * rng.normal(size=(6, 200_000))))) for s in stages]
    unit = draws[0] * draws[1] * (1 - CELLS.none_of_them(1 - draws[2] * draws[3]))
    low, high = np.quantile(1 - (1 - unit) ** 3, (0.05, 0.95), axis=1)
    assert found.low == pytest.approx(low, abs=0.01)
    assert found.high == pytest.approx(high, abs=0.01)


def test_what_is_certain_is_arithmetic():
    sure = tuple(Logits(np.array([value]), np.zeros(1)) for value in (0.5, 1.0, -1.0, 0.0))
    p, h, f, g = (1 / (1 + np.exp(-s.mean[0])) for s in sure)
    unit = p * h * (1 - (1 + 60 / 1.5 * f * g) ** -1.5)
    found = seedling_chances(Outlook(sure, SPREAD), 4)
    assert [found.mean[0], found.low[0], found.high[0]] == pytest.approx([1 - (1 - unit) ** 4] * 3)


def test_the_mean_number_of_seeds_would_be_far_too_hopeful():
    """Why the generating function is used: most pods of a widely spread kind hold few seeds."""
    stages = tuple(Logits(np.array([value]), np.zeros(1)) for value in (9.0, 9.0, -4.0, 0.0))
    spread = seedling_chances(Outlook(stages, SeedsPerPod(60.0, 0.3)), 1).mean[0]
    r = 1 / (1 + np.exp(4.0)) * 0.5
    assert spread < 0.65 * (1 - (1 - r) ** 60)


@pytest.mark.parametrize("target", [0.5, 0.8])
def test_flowers_needed_is_the_fewest_that_reach_the_chance(target):
    belief = Outlook(beliefs(4, 40), SPREAD, 0.3)
    needed = flowers_needed(belief, target)
    for at in range(40):
        one = Outlook(tuple(Logits(s.mean[at : at + 1], s.sd[at : at + 1]) for s in belief.stages), SPREAD, 0.3)
        if needed[at]:
            assert seedling_chances(one, needed[at]).mean[0] >= target
            assert needed[at] == 1 or seedling_chances(one, needed[at] - 1).mean[0] < target
        else:
            assert seedling_chances(one, MOST_FLOWERS).mean[0] < target


def test_many_pairings_are_answered_as_each_alone():
    belief = Outlook(beliefs(6, 300), SPREAD, 0.3)
    whole = seedling_chances(belief, 2).mean
    some = [
        seedling_chances(Outlook(tuple(Logits(s.mean[[i]], s.sd[[i]]) for s in belief.stages), SPREAD, 0.3), 2).mean[0]
        for i in (0, 127, 128, 299)
    ]
    assert whole[[0, 127, 128, 299]] == pytest.approx(some, abs=1e-15)
    assert seedling_chances(Outlook(beliefs(6, 0), SPREAD), 2).mean.shape == (0,)


def test_the_plain_form_is_one_logit():
    recipe = recipe_for(None, 1.0)
    rows = np.array([[0.2], [1.4]])
    belief = outlook(prior_model(recipe), rows)
    assert (len(belief.stages), belief.seeds) == (1, None)
    assert seedling_chances(belief, 3).mean == pytest.approx(chances(belief.stages[0], 3).mean)
    chain = outlook(prior_model(recipe, CELLS), rows)
    assert len(chain.stages) == len(CHAIN)
    assert chain.pod_sd == pytest.approx(1.0)  # effects.fill.record of the table


def test_an_unsure_distance_widens_every_stage_by_its_own_coefficient():
    model, rows, spread = prior_model(recipe_for(None, 1.0), CELLS), np.array([[0.2], [1.4]]), np.array([0.0, 0.3])
    plain, wide = outlook(model, rows), outlook(model, rows, spread=spread)
    assert wide.pod_sd == plain.pod_sd
    for fit, one, two in zip(model.stages, plain.stages, wide.stages, strict=True):
        moment = fit.mean[1] ** 2 + fit.covariance[1, 1]
        assert two.mean.tolist() == one.mean.tolist()
        assert two.sd**2 == pytest.approx(one.sd**2 + moment * spread**2)
