"""The slopes that learn_prior.py lays over a design: each genus has its own weight of each curve."""

import sys
from pathlib import Path

import numpy as np
import pytest

from crosscompat.model.design_matrix import Factor
from crosscompat.model.gaussian import GaussianPrior, stage_of
from crosscompat.model.likelihood import Counts

BENCHMARKS = Path(__file__).resolve().parents[1] / "benchmarks"


@pytest.fixture
def with_slopes(monkeypatch):
    monkeypatch.syspath_prepend(str(BENCHMARKS))
    import learn_prior

    yield learn_prior._with_slopes
    for name in ("learn_prior", "crosses"):
        sys.modules.pop(name, None)


@pytest.mark.parametrize("genera", [3, 60])
def test_a_genus_adds_its_own_slope_times_the_curve(with_slopes, genera):
    """Against the sum written out; few genera are kept as a whole matrix, many column by column."""
    draw = np.random.default_rng(1)
    genus, pair = np.arange(120) % genera, np.arange(120)
    curves = np.column_stack([np.ones(120), draw.normal(size=120)])
    factors = Factor.of("intercept", genus), Factor.of("time", genus), Factor.of("pair", pair, nested=True)
    prior = GaussianPrior(np.zeros(2), np.ones(2))
    counts = Counts.of(np.ones(120), draw.integers(0, 2, 120).astype(float))
    sloped = with_slopes(stage_of(counts, curves, prior, factors), curves).design
    theta = draw.normal(size=sloped.size)
    of_genus = theta[2:].reshape(2, genera)[:, genus]
    expected = curves @ theta[:2] + of_genus[0] + of_genus[1] * curves[:, 1]
    assert sloped.to_records(theta) == pytest.approx(expected, abs=1e-12)
    assert (sloped.products is None) == (genera == 3)
