"""The climb and the points against a fine grid over the one variance there is."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import beta, halfnorm, norm

from crosscompat.model.design_matrix import Factor
from crosscompat.model.gaussian import GaussianPrior, Scales, stage_of
from crosscompat.model.inference import find_mode
from crosscompat.model.likelihood import Counts
from crosscompat.model.posterior import Surface, beta22, climb, half_normal, integrate, normal_points

SCALE = 1.0


def random_stage(seed, m=40):
    rng = np.random.default_rng(seed)
    mother = rng.integers(0, 8, m)
    tried = rng.integers(3, 12, m)
    chance = 1 / (1 + np.exp(-1.2 * rng.normal(size=8)[mother]))
    counts = Counts.of(tried, rng.binomial(tried, chance))
    return stage_of(counts, np.ones((m, 1)), GaussianPrior(np.zeros(1), np.ones(1)), (Factor.of("mother", mother),))


def posterior(stage, z):
    """Log posterior of z, by a cold start for every mode."""
    sds = SCALE * half_normal(z)[0]
    return np.array([find_mode(stage, Scales(np.array([sd]))).evidence for sd in sds]) - 0.5 * z**2


@pytest.mark.parametrize("seed", range(3))
def test_the_climb_ends_at_the_top_of_a_grid(seed):
    stage = random_stage(seed)
    surface = Surface(stage, np.array([SCALE]), refined=False)
    z, _ = climb(surface, np.zeros(1), 1e-10)
    grid = np.linspace(-1, 3, 401)
    assert z[0] == pytest.approx(grid[np.argmax(posterior(stage, grid))], abs=0.01)


@pytest.mark.parametrize("seed", range(3))
def test_points_draw_near_the_means_of_a_grid(seed):
    """Mean sd and mean logits against a sum over z; the tail to the right costs 24 points some 2% of the sd."""
    stage = random_stage(seed)
    grid = np.linspace(-4, 5, 181)
    height = posterior(stage, grid)
    mass = np.exp(height - height.max())
    mass /= mass.sum()
    sds = SCALE * half_normal(grid)[0]
    eta = mass @ np.array([find_mode(stage, Scales(np.array([sd]))).eta for sd in sds])
    missed, shifted = {}, {}
    for count in (24, 400):
        _, points = integrate(stage, np.array([SCALE]), count, refined=False)
        weight = np.array([point.weight for point in points])
        assert weight.sum() == pytest.approx(1.0)
        missed[count] = abs(weight @ [point.mode.scales.sds[0] for point in points] / (mass @ sds) - 1)
        shifted[count] = np.abs(weight @ np.array([point.mode.eta for point in points]) - eta).max()
    assert missed[400] < min(0.01, missed[24])
    assert missed[24] < 0.03
    assert shifted[400] < min(0.01, shifted[24])
    assert shifted[24] < 0.03


def test_no_points_take_the_top_alone():
    mode, points = integrate(random_stage(0), np.array([SCALE]), 0)
    assert [point.weight for point in points] == [1.0]
    assert points[0].mode is mode


def test_where_moments_never_settle_the_modes_answer(monkeypatch):
    from crosscompat.model import posterior
    from crosscompat.model.inference import NotSettled

    def never(*_):
        raise NotSettled("the moments do not settle")

    stage, prior = random_stage(1), np.array([SCALE])
    modes = integrate(stage, prior, 8, refined=False)
    monkeypatch.setattr(posterior, "refine", never)
    mode, points = integrate(stage, prior, 8)
    assert mode.eta == pytest.approx(modes[0].eta)
    assert [point.weight for point in points] == pytest.approx([point.weight for point in modes[1]])


@pytest.mark.parametrize("seed", range(3))
def test_a_climb_that_knows_how_much_the_records_tell_needs_few_modes(seed, monkeypatch):
    """Two kinds of parents and the record, from the same place to the same top."""
    rng, size, m = np.random.default_rng(seed), 80, 1200
    mother, father = rng.integers(0, size, (2, m))
    logit = rng.normal(size=size)[mother] + 0.3 * rng.normal(size=size)[father] + 0.1 * rng.normal(size=m)
    factors = (Factor.of("mother", mother), Factor.of("father", father), Factor.of("record", np.arange(m), nested=True))
    counts = Counts.of(np.full(m, 12), rng.binomial(12, 1 / (1 + np.exp(-logit))))
    stage = stage_of(counts, np.ones((m, 1)), GaussianPrior(np.zeros(1), np.ones(1)), factors)
    tops, modes = [], []
    for informed in (True, False):
        surface, seen = Surface(stage, np.ones(3), refined=False), []
        mode_at = surface.mode
        monkeypatch.setattr(surface, "mode", lambda z, mode_at=mode_at, seen=seen: seen.append(z) or mode_at(z))
        if not informed:
            monkeypatch.setattr(surface, "first_guess", lambda _, z: np.eye(z.size))
        tops.append(climb(surface, np.zeros(3), 1e-4)[0])
        modes.append(len(seen))
    assert tops[0] == pytest.approx(tops[1], abs=0.02)
    assert modes[0] < 0.7 * modes[1]


@pytest.mark.parametrize("z", [-8.0, -5.1, -4.9, -2.0, -0.3, 0.0, 1.0, 3.0, 5.0, 7.0])
def test_quantiles_are_those_of_scipy(z):
    assert half_normal(z)[0] == pytest.approx(
        halfnorm.isf(norm.sf(z)) if z > 0 else halfnorm.ppf(norm.cdf(z)), rel=1e-5
    )
    assert beta22(z)[0] == pytest.approx(beta(2, 2).ppf(norm.cdf(z)), rel=1e-4, abs=1e-9)


@pytest.mark.parametrize("quantile", [half_normal, beta22])
@pytest.mark.parametrize("z", [-3.0, -1.0, 0.0, 0.5, 2.5])
def test_slopes_are_the_derivatives(quantile, z):
    assert quantile(z)[1] == pytest.approx((quantile(z + 1e-5)[0] - quantile(z - 1e-5)[0]) / 2e-5, rel=1e-6)


@pytest.mark.parametrize("size", [1, 5, 6, 8])
def test_points_stand_for_a_normal_and_so_for_the_prior_of_a_variance(size):
    points = normal_points(24, size)
    assert points.mean(axis=0) == pytest.approx(0.0, abs=1e-12)
    assert points.T @ points / len(points) == pytest.approx(np.eye(size), abs=1e-12)
    for column in points.T:
        assert np.mean(half_normal(column)[0] ** 2) == pytest.approx(1.0, abs=0.02)
