"""Groups, stages and separation against fits that are printed in the literature."""

from __future__ import annotations

import csv
from dataclasses import replace
from math import lgamma
from pathlib import Path

import numpy as np
import pytest

from crosscompat.model.design_matrix import Factor
from crosscompat.model.gaussian import GaussianPrior, NotConverged, Scales, stage_of
from crosscompat.model.inference import evidence_slope, find_mode
from crosscompat.model.likelihood import Counts, log_likelihood
from crosscompat.model.posterior import Surface, climb

PUBLISHED = Path(__file__).parents[1] / "data" / "published"

# Crowder 1978, Applied Statistics 27:34-37, table 3: Orobanche seeds that came up, by plate; two seed lots (aegyptiaca
# 75 first) and two root extracts (bean first).
CAME_UP = [10, 23, 23, 26, 17, 5, 53, 55, 32, 46, 10, 8, 10, 8, 23, 0, 3, 22, 15, 32, 3]
SOWN = [39, 62, 81, 51, 39, 6, 74, 72, 51, 79, 13, 16, 30, 28, 45, 4, 12, 41, 30, 51, 7]
LOT = np.repeat([0, 1], [11, 10])
EXTRACT = np.repeat([0, 1, 0, 1], [5, 6, 5, 5])

# Price et al. 1987, Fundamental and Applied Toxicology 8:115-126, as in Agresti, Categorical Data Analysis: mouse
# foetuses by dose of diethylene glycol dimethyl ether (mg/kg a day).
DOSE = np.array([0.0, 62.5, 125.0, 250.0, 500.0])
NOT_LIVE = np.array([15, 17, 22, 38, 144])
MALFORMED = np.array([1, 0, 7, 59, 132])
NORMAL = np.array([281, 225, 283, 202, 9])


def free(k):
    return GaussianPrior(np.zeros(k), np.full(k, np.inf))


class Likelihood(Surface):
    """Laplace log likelihood over the log sds and the coefficients, as published mixed models are fitted."""

    def __init__(self, stage):
        self.x = stage.x
        none = GaussianPrior(np.empty(0), np.empty(0))
        effects = stage_of(stage.counts, stage.x[:, :0], none, stage.factors, stage.offset)
        super().__init__(effects, np.ones(len(stage.factors)), refined=False)

    def mode(self, z):
        self.stage = replace(self.stage, offset=self.x @ z[self.size :])
        self.warm = find_mode(self.stage, Scales(np.exp(z[: self.size])), self.warm)
        return self.warm

    def height(self, mode, z):
        return mode.evidence

    def slope(self, mode, z):
        by_log_sd, _, by_offset = evidence_slope(self.stage, mode)
        return np.concatenate([by_log_sd, self.x.T @ by_offset])

    def first_guess(self, mode, z):
        return np.eye(z.size)


def maximum_likelihood(stage):
    """Return the coefficients, and the effects at the most likely sds."""
    plain = find_mode(stage_of(stage.counts, stage.x, free(stage.x.shape[1])), Scales(np.empty(0)))
    surface = Likelihood(stage)
    z, mode = climb(surface, np.concatenate([np.full(surface.size, -0.5), plain.theta]), 1e-12)
    return z[surface.size :], mode


def columns(path):
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    return {key: np.array([row[key] for row in rows]) for key in rows[0]}


def numbered(labels):
    return np.unique(labels, return_inverse=True)[1]


def binomial_constant(tried, took):
    return sum(lgamma(n + 1) - lgamma(k + 1) - lgamma(n - k + 1) for n, k in zip(tried, took, strict=True))


def test_crowder_broomrape_seeds_with_plates():
    """By quasi-likelihood -.548, .097, 1.337, -.811, sd .236 (Breslow & Clayton 1993, JASA 88:9-25, from memory)."""
    x = np.column_stack([np.ones(21), LOT, EXTRACT, LOT * EXTRACT])
    coefficients, mode = maximum_likelihood(
        stage_of(Counts.of(SOWN, CAME_UP), x, free(4), (Factor.of("plate", np.arange(21)),))
    )
    assert coefficients == pytest.approx([-0.5485, 0.0974, 1.3368, -0.8100], abs=5e-5)
    assert mode.scales.sds == pytest.approx([0.2346], abs=5e-5)


def test_crowder_broomrape_seeds_without_plates(fit_posterior):
    x = np.column_stack([np.ones(21), LOT, EXTRACT, LOT * EXTRACT])
    posterior = fit_posterior(x, Counts.of(SOWN, CAME_UP), free(4))
    assert posterior.mean == pytest.approx([-0.55817, 0.14593, 1.31818, -0.77810], abs=5e-6)


def test_lesnoff_cattle_with_herds():
    """The manual of the R package lme4 prints -1.3983, -.9919, -1.1282, -1.5797, sd .6421 (from memory)."""
    table = columns(PUBLISHED / "lesnoff_2004_cbpp.csv")
    period = table["period"].astype(int)
    x = np.column_stack([np.ones(period.size), *(period == later for later in (2, 3, 4))])
    counts = Counts.of(table["size"].astype(float), table["incidence"].astype(float))
    coefficients, mode = maximum_likelihood(stage_of(counts, x, free(4), (Factor.of("herd", numbered(table["herd"])),)))
    assert coefficients == pytest.approx([-1.3985, -0.9923, -1.1287, -1.5803], abs=5e-5)
    assert mode.scales.sds == pytest.approx([0.6423], abs=5e-5)


@pytest.mark.shared
def test_salamander_matings_with_mothers_and_fathers(shared):
    """McCullagh & Nelder 1989, section 14.5; exact 1.03, .32, -1.95, .99, 1.40, 1.25 (Booth & Hobert 1999, memory)."""
    table = columns(shared / "data" / "crosses" / "salamander" / "salamander.csv")
    mothers, fathers = (numbered(np.char.add(table[sex], table["experiment"])) for sex in ("female", "male"))
    x = np.column_stack([table["cross"] == kind for kind in ("R/R", "R/W", "W/R", "W/W")]).astype(float)
    counts = Counts.of(np.ones(360), table["mate"].astype(float))
    factors = (Factor.of("mother", mothers), Factor.of("father", fathers))
    coefficients, mode = maximum_likelihood(stage_of(counts, x, free(4), factors))
    assert [factor.size for factor in factors] == [60, 60]
    assert coefficients == pytest.approx([1.0082, 0.3062, -1.8960, 0.9904], abs=5e-5)
    assert mode.scales.sds**2 == pytest.approx([1.1744, 1.0410], abs=5e-5)
    assert mode.evidence == pytest.approx(-209.277, abs=5e-4)


def test_price_stages_fitted_one_by_one(fit_posterior):
    """As in Agresti (from memory): the two deviances add up to 11.84."""
    deviance = 0.0
    for tried, took, mean, sd in (
        (NOT_LIVE + MALFORMED + NORMAL, NOT_LIVE, (-3.24793, 0.00639), (0.15766, 0.00043)),
        (MALFORMED + NORMAL, MALFORMED, (-5.70190, 0.01737), (0.33225, 0.00123)),
    ):
        counts, x = Counts.of(tried, took), np.column_stack([np.ones(5), DOSE])
        posterior = fit_posterior(x, counts, free(2))
        assert posterior.mean == pytest.approx(mean, abs=5e-6)
        assert np.sqrt(np.diag(posterior.covariance)) == pytest.approx(sd, abs=5e-6)
        share = np.clip(took / tried, 1e-12, 1 - 1e-12)
        full = log_likelihood(np.log(share / (1 - share)), counts)
        deviance += 2 * (full - log_likelihood(x @ posterior.mean, counts))
    assert deviance == pytest.approx(11.838, abs=5e-4)


def test_endometrial_separation_stays_finite(fit_posterior):
    """Heinze & Schemper 2002: no tumour of low grade has NV, so that likelihood alone sends it to infinity."""
    table = {name: values.astype(float) for name, values in columns(PUBLISHED / "heinze_2002_endometrial.csv").items()}
    x = np.column_stack([np.ones(79), table["NV"], table["PI"], table["EH"]])
    counts = Counts.of(np.ones(79), table["HG"])
    with pytest.raises(NotConverged):
        fit_posterior(x, counts, free(4))
    posterior = fit_posterior(x, counts, GaussianPrior(np.zeros(4), np.array([np.inf, 2.5, 2.5, 2.5])))
    reach = 1.645 * np.sqrt(posterior.covariance[1, 1])
    assert posterior.mean[1] > 0
    assert posterior.mean[1] - reach < 2.93 < posterior.mean[1] + reach  # what Firth's penalty gives


def test_the_constant_of_the_likelihood_is_that_of_the_binomial():
    """lme4 prints a log likelihood of -92.03 for the herds, with the binomial coefficients (from memory)."""
    table = columns(PUBLISHED / "lesnoff_2004_cbpp.csv")
    tried, took = (table[name].astype(float) for name in ("size", "incidence"))
    period = table["period"].astype(int)
    x = np.column_stack([np.ones(period.size), *(period == later for later in (2, 3, 4))])
    _, mode = maximum_likelihood(
        stage_of(Counts.of(tried, took), x, free(4), (Factor.of("herd", numbered(table["herd"])),))
    )
    assert mode.evidence + binomial_constant(tried, took) == pytest.approx(-92.03, abs=0.005)
