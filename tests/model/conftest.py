"""A model of a single logistic regression, to hold features and chances against."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from crosscompat.model.composition import SeedsPerPod
from crosscompat.model.fitted import EFFECTS, design_of, prior_model, training_moments, unlearned
from crosscompat.model.gaussian import Scales, stage_of
from crosscompat.model.inference import find_mode
from crosscompat.model.pairings import Seen
from crosscompat.stages import WHOLE


@dataclass(frozen=True)
class Posterior:
    mean: np.ndarray
    covariance: np.ndarray


@pytest.fixture(scope="session")
def fit_posterior():
    """Fit a logistic regression with independent normal priors, and no effects."""

    def fit(design, counts, prior):
        stage = stage_of(counts, design, prior)
        mode = find_mode(stage, Scales(np.empty(0)))
        return Posterior(stage.mean + mode.theta, mode.gaussian.covariance)

    return fit


@pytest.fixture(scope="session")
def fit_plain(fit_posterior):
    """Fit a logistic regression from a flower to a seedling at its mode, with nothing of parents."""

    def fit(recipe, rows, counts, prior=None):
        model, moments = prior_model(recipe, SeedsPerPod(1.0, 1.0, 1)), training_moments(recipe, rows)
        prior = prior or model.prior
        posterior = fit_posterior(design_of(recipe, rows, moments[0]), counts, prior)
        step = unlearned(WHOLE, posterior.mean, posterior.covariance, np.zeros(len(EFFECTS)))
        seen = Seen(len(rows), int((counts.some | (counts.took > 0)).sum()))
        nothing = dict.fromkeys(EFFECTS, 0.0)
        return replace(
            model, means=moments[0], variances=moments[1], prior=prior, scales=nothing, steps=(step,), seen=seen
        )

    return fit
