"""Mode, evidence and its slope against dense matrices, with every kind of effect at once."""

from __future__ import annotations

import numpy as np
import pytest

from crosscompat.model.design_matrix import Factor, Kinship
from crosscompat.model.gaussian import GaussianPrior, Scales, stage_of
from crosscompat.model.inference import evidence_slope, expected_bend, find_mode, fit_posterior, refine
from crosscompat.model.likelihood import Counts, derivatives, log_likelihood, log_likelihoods

SDS = np.array([0.8, 1.1, 0.5, 0.9, 0.4, 0.7])
SHARE = 0.6
PRIOR = GaussianPrior(np.array([0.5, -2.0]), np.array([1.5, 2.5]))


class Dense:
    """The same stage with one covariance matrix of all logits."""

    def __init__(self, seed, species=6, m=30, plants=4):
        rng = np.random.default_rng(seed)
        a, b = rng.integers(0, species, (2, m))
        half = rng.normal(size=(species, 3))
        related = half @ half.T + np.eye(species)
        self.kinship = Kinship.of(related / np.sqrt(np.outer(np.diag(related), np.diag(related))))
        pair = np.unique(np.minimum(a, b) * species + np.maximum(a, b), return_inverse=True)[1]
        way = np.unique(a * species + b, return_inverse=True)[1]
        self.factors = (
            Factor.of("seed", a, species, self.kinship),
            Factor.of("pollen", b, species, self.kinship),
            Factor.of("plant", rng.integers(-1, plants, m), plants),
            Factor.of("pair", pair, nested=True),
            Factor.of("direction", way, nested=True),
            Factor.of("record", np.arange(m), nested=True),
        )
        tried = rng.integers(1, 8, m)
        self.counts = Counts.of(tried, rng.integers(0, tried + 1), some=rng.random(m) < 0.2, weight=1 + rng.random(m))
        self.x = np.column_stack([np.ones(m), rng.random(m)])
        self.stage = stage_of(self.counts, self.x, PRIOR, self.factors)

    def covariance(self, sds, share):
        k = (self.x * PRIOR.sd**2) @ self.x.T
        for factor, sd in zip(self.factors, sds, strict=True):
            z = np.zeros((len(self.x), factor.size))
            at = np.flatnonzero(factor.levels >= 0)
            z[at, factor.levels[at]] = 1.0
            of = np.eye(factor.size)
            if factor.kinship is not None:
                of = share * factor.kinship.matrix + (1 - share) * of
            k += sd**2 * z @ of @ z.T
        return k

    def mode(self, sds=SDS, share=SHARE):
        """Logits and Laplace evidence."""
        k, start = self.covariance(sds, share), self.x @ PRIOR.mean
        eta = start
        for _ in range(300):
            gradient, bend, _ = derivatives(eta, self.counts)
            step = np.linalg.solve(np.eye(len(k)) + k * bend, k @ (bend * (eta - start) + gradient))
            eta = 0.5 * eta + 0.5 * (start + step)
        gradient, bend, _ = derivatives(eta, self.counts)
        height = log_likelihood(eta, self.counts) - 0.5 * (eta - start) @ gradient
        return eta, height - 0.5 * np.linalg.slogdet(np.eye(len(k)) + k * bend)[1]


@pytest.mark.parametrize(("seed", "plants"), [(0, 4), (1, 4), (2, 4), (3, 4), (4, 80), (5, 80)])
def test_mode_and_evidence_are_those_of_dense_matrices(seed, plants):
    dense = Dense(seed, plants=plants)
    assert dense.stage.design.chain == (5, 4, 3)  # these effects are eliminated
    assert (dense.stage.design.products is None) == (plants < 30)  # only a small design is kept whole
    eta, evidence = dense.mode()
    mode = find_mode(dense.stage, Scales(SDS, SHARE))
    assert mode.eta == pytest.approx(eta, abs=1e-7)
    assert mode.evidence == pytest.approx(evidence, abs=1e-8)


@pytest.mark.parametrize("plants", [4, 80])
def test_the_slope_of_the_evidence_is_its_derivative(plants):
    dense, h = Dense(1, plants=plants), 1e-4
    by_log_sd, by_share, _ = evidence_slope(dense.stage, find_mode(dense.stage, Scales(SDS, SHARE)))
    for i, step in enumerate(np.eye(SDS.size) * h):
        rise = dense.mode(SDS * np.exp(step))[1] - dense.mode(SDS * np.exp(-step))[1]
        assert by_log_sd[i] == pytest.approx(rise / (2 * h), abs=1e-5)
    rise = dense.mode(share=SHARE + h)[1] - dense.mode(share=SHARE - h)[1]
    assert by_share == pytest.approx(rise / (2 * h), abs=1e-5)


@pytest.mark.parametrize("plants", [4, 80])
def test_the_covariance_is_that_of_dense_matrices(plants):
    """That of the logits, by way of the columns and of what the nested effects add."""
    dense = Dense(6, plants=plants)
    mode = find_mode(dense.stage, Scales(SDS, SHARE))
    k = dense.covariance(SDS, SHARE)
    logits = k - k @ np.linalg.solve(k + np.diag(1 / mode.curvature), k)
    assert mode.gaussian.variance == pytest.approx(np.diag(logits), abs=1e-9)
    columns = mode.gaussian.covariance
    towards = (dense.x * PRIOR.sd**2).T  # from the coefficients to the logits
    told = towards @ np.linalg.solve(k + np.diag(1 / mode.curvature), towards.T)
    assert columns[:2, :2] == pytest.approx(np.diag(PRIOR.sd**2) - told, abs=1e-9)


def test_the_expected_bend_is_that_of_the_evidence_where_all_is_told():
    """Sixty mothers, of whom thousands of flowers tell all: differences of the slope, on average."""
    rng, size, h = np.random.default_rng(2), 60, 0.02
    half = rng.normal(size=(size, 4))
    related = half @ half.T + np.eye(size)
    kinship = Kinship.of(related / np.sqrt(np.outer(np.diag(related), np.diag(related))))
    root = np.linalg.cholesky(SHARE * kinship.matrix + (1 - SHARE) * np.eye(size))
    found, expected = np.zeros((2, 2)), np.zeros((2, 2))
    for _ in range(20):
        chance = 1 / (1 + np.exp(-0.8 * root @ rng.normal(size=size)))
        counts = Counts.of(np.full(size, 20_000), rng.binomial(20_000, chance))
        factor = Factor.of("mother", np.arange(size), kinship=kinship)
        stage = stage_of(counts, np.empty((size, 0)), GaussianPrior(np.empty(0), np.empty(0)), (factor,))

        def slope(log_sd, share, stage=stage):
            by_sd, by_share, _ = evidence_slope(stage, find_mode(stage, Scales(np.exp([log_sd]), share)))
            return np.append(by_sd, by_share)

        here = np.log(0.8)
        expected += expected_bend(stage, find_mode(stage, Scales(np.array([0.8]), SHARE)))
        found[0] += (slope(here - h, SHARE) - slope(here + h, SHARE)) / (2 * h)
        found[1] += (slope(here, SHARE - h) - slope(here, SHARE + h)) / (2 * h)
    assert expected == pytest.approx(found, rel=0.1)


def test_a_start_elsewhere_leads_to_the_same_mode():
    dense = Dense(2)
    other = find_mode(dense.stage, Scales(3 * SDS, 0.1))
    warm, cold = (find_mode(dense.stage, Scales(SDS, SHARE), start) for start in (other, None))
    assert warm.eta == pytest.approx(cold.eta, abs=1e-6)
    assert warm.evidence == pytest.approx(cold.evidence, abs=1e-10)


def test_matched_moments_are_nearer_the_truth_than_the_mode():
    """Judged by importance sampling: 200,000 draws about the matched Gaussian."""
    dense, rng = Dense(3), np.random.default_rng(0)
    mode = find_mode(dense.stage, Scales(SDS, SHARE))
    matched = refine(dense.stage, mode, settled=1e-7)
    k = dense.covariance(SDS, SHARE) + 1e-10 * np.eye(30)
    spread = np.linalg.inv(np.linalg.inv(k) + np.diag(matched.curvature))
    half, prior_half = np.linalg.cholesky(spread), np.linalg.cholesky(k)
    z = rng.normal(size=(30, 200_000))
    eta = matched.eta[:, None] + half @ z
    away = np.linalg.solve(prior_half, eta - (dense.x @ PRIOR.mean)[:, None])
    log_weight = log_likelihoods(eta, dense.counts).sum(axis=0) - 0.5 * (away**2).sum(axis=0) + 0.5 * (z**2).sum(axis=0)
    log_weight += np.log(np.diag(half)).sum() - np.log(np.diag(prior_half)).sum()
    weight = np.exp(log_weight - log_weight.max())
    truth = eta @ weight / weight.sum()
    evidence = log_weight.max() + np.log(weight.mean())
    assert weight.sum() ** 2 / (weight**2).sum() > 2000
    assert np.abs(matched.eta - truth).max() < 0.3 * np.abs(mode.eta - truth).max()
    assert matched.evidence == pytest.approx(evidence, abs=0.05)


def test_the_slope_of_the_matched_evidence_is_its_derivative():
    dense, h = Dense(1), 1e-3

    def matched(sds, share=SHARE):
        return refine(dense.stage, find_mode(dense.stage, Scales(sds, share)), settled=1e-9)

    by_log_sd, by_share, _ = evidence_slope(dense.stage, matched(SDS))
    for i, step in enumerate(np.eye(SDS.size) * h):
        rise = matched(SDS * np.exp(step)).evidence - matched(SDS * np.exp(-step)).evidence
        assert by_log_sd[i] == pytest.approx(rise / (2 * h), abs=1e-3)
    rise = matched(SDS, SHARE + h).evidence - matched(SDS, SHARE - h).evidence
    assert by_share == pytest.approx(rise / (2 * h), abs=1e-3)


def test_one_record_is_matched_to_its_integral():
    """One flower that took, a wide prior: mean and variance by adding up a fine grid."""
    stage = stage_of(Counts.of([1], [1]), np.ones((1, 1)), GaussianPrior(np.array([-1.0]), np.array([2.0])))
    matched = refine(stage, find_mode(stage, Scales(np.empty(0))), settled=1e-10)
    grid = np.linspace(-20, 20, 40_001)
    height = np.exp(-0.5 * ((grid + 1) / 2) ** 2 - np.logaddexp(0, -grid))
    mean = grid @ height / height.sum()
    assert matched.eta[0] == pytest.approx(mean, abs=1e-4)
    assert matched.gaussian.covariance[0, 0] == pytest.approx((grid - mean) ** 2 @ height / height.sum(), abs=1e-3)


def test_with_every_variance_at_nothing_it_is_the_plain_regression():
    dense = Dense(0)
    mode = find_mode(dense.stage, Scales(np.zeros(SDS.size), SHARE))
    plain = fit_posterior(dense.x, dense.counts, PRIOR)
    assert PRIOR.mean + mode.theta[:2] == pytest.approx(plain.mean, abs=1e-8)
    assert mode.theta[2:] == pytest.approx(0.0, abs=1e-12)
