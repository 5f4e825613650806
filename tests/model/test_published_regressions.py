"""The fit against regressions that are printed in the literature; the tables are in tests/data/published."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.likelihood import Counts, log_likelihood

PUBLISHED = Path(__file__).parents[1] / "data" / "published"


def columns(name):
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


@pytest.fixture
def fit(fit_posterior):
    def fit(predictors, counts):
        design = np.column_stack([np.ones(len(counts.tried)), *predictors])
        free = GaussianPrior(np.zeros(design.shape[1]), np.full(design.shape[1], np.inf))
        posterior = fit_posterior(design, counts, free)
        return posterior.mean, np.sqrt(np.diag(posterior.covariance)), log_likelihood(design @ posterior.mean, counts)

    return fit


def test_finney_vasoconstriction(fit):
    """Finney 1947; estimates as in Pregibon 1981, Ann Stat 9:705-724 (from memory: -2.875, 5.179, 4.562)."""
    table = columns("finney_1947_vasoconstriction.csv")
    counts = Counts.of(np.ones(39), table["y"])
    mean, sd, height = fit([np.log(table["volume"]), np.log(table["rate"])], counts)
    assert mean == pytest.approx([-2.87542, 5.17932, 4.56168], abs=5e-5)
    assert sd == pytest.approx([1.32079, 1.86485, 1.83799], abs=5e-5)
    assert height == pytest.approx(-14.6137, abs=5e-5)


def test_orings_any_failure_by_temperature(fit):
    """Dalal, Fowlkes & Hoadley 1989, JASA 84:945-957: one outcome a flight."""
    table = columns("dalal_1989_orings.csv")
    mean, sd, _ = fit([table["temperature"]], Counts.of(np.ones(23), table["failed"] > 0))
    assert mean == pytest.approx([15.0429, -0.23216], abs=5e-5)
    assert sd == pytest.approx([7.37864, 0.10824], abs=5e-5)


def test_orings_six_rings_a_flight(fit):
    """Dalal, Fowlkes & Hoadley 1989: binomial, six rings a flight (printed as 5.085 and -0.1156, from memory)."""
    table = columns("dalal_1989_orings.csv")
    mean, sd, _ = fit([table["temperature"]], Counts.of(table["rings"], table["failed"]))
    assert mean == pytest.approx([5.08498, -0.11560], abs=5e-5)
    assert sd == pytest.approx([3.05249, 0.04702], abs=5e-5)


def test_bliss_beetles(fit):
    """Bliss 1935; estimates as in Dobson, An Introduction to Generalized Linear Models (from memory: -60.72, 34.27)."""
    table = columns("bliss_1935_beetles.csv")
    mean, sd, _ = fit([table["log10_dose"]], Counts.of(table["beetles"], table["killed"]))
    assert mean == pytest.approx([-60.71745, 34.27033], abs=5e-5)
    assert sd == pytest.approx([5.18071, 2.91214], abs=5e-5)


def test_spector_and_mazzeo_grades(fit):
    """Spector & Mazzeo 1980, as carried by statsmodels; estimates as in Greene, Econometric Analysis (from memory)."""
    from statsmodels.datasets import spector

    data = spector.load_pandas()
    counts = Counts.of(np.ones(len(data.endog)), data.endog)
    mean, _, height = fit([data.exog[name] for name in ("GPA", "TUCE", "PSI")], counts)
    assert mean == pytest.approx([-13.02135, 2.82611, 0.09516, 2.37869], abs=5e-5)
    assert height == pytest.approx(-12.8896, abs=5e-5)
