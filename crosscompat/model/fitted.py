"""What the crosses taught, as frozen numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.laplace import GaussianPrior, Posterior, fit_posterior
from crosscompat.model.likelihood import Counts, Floats
from crosscompat.model.prior import centre_of, prior_for, spread_of
from crosscompat.pairing import Recipe

__all__ = ["FittedModel", "Seen", "StageFit", "fit_model", "prior_model"]

_FEWEST_FOR_A_MEAN = 5


@dataclass(frozen=True, slots=True)
class StageFit:
    """The Gaussian belief about one stage's coefficients, the intercept first.

    Attributes
    ----------
    stage : str
        ``plain``: from a unit pollinated to a seedling, in one step.
    mean : ndarray of float, shape (1 + n_features,)
    covariance : ndarray of float, shape (1 + n_features, 1 + n_features)
    """

    stage: str
    mean: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True)
class Seen:
    """What the fit has seen, for the honesty of its forecasts.

    Attributes
    ----------
    crosses : int
        Records that entered.
    took : int
        Records of them in which something took.
    farthest : float
        Largest relative distance among them; 0 without records.
    species : tuple of str
        The parents among them, sorted.
    """

    crosses: int = 0
    took: int = 0
    farthest: float = 0.0
    species: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FittedModel:
    """A recipe for pairings and what is believed of its coefficients.

    Attributes
    ----------
    recipe : Recipe
    means, variances : ndarray of float, shape (n_features,)
        Where an unknown feature is put, and how far it may be from there.
    stages : tuple of StageFit
    seen : Seen
    """

    recipe: Recipe
    means: Floats
    variances: Floats
    stages: tuple[StageFit, ...]
    seen: Seen

    @property
    def centre(self) -> Floats:
        """Where each feature stands when the intercept alone speaks, shape (n_features,)."""
        return centre_of(self.recipe.features)


def prior_model(recipe: Recipe) -> FittedModel:
    """Return the model of a grower without a single cross: the published priors.

    Examples
    --------
    >>> from crosscompat.pairing import recipe_for
    >>> prior_model(recipe_for(None, reference=2.0)).stages[0].mean
    array([-0.5, -1.5])
    """
    none = np.empty((0, len(recipe.features)))
    return fit_model(recipe, none, Counts.of([], []))


def fit_model(
    recipe: Recipe, rows: Floats, counts: Counts, *, species: tuple[str, ...] = (), prior: GaussianPrior | None = None
) -> FittedModel:
    """Fit the plain form: one logistic regression from a unit pollinated to a seedling.

    Parameters
    ----------
    recipe : Recipe
        What the columns of ``rows`` are.
    rows : ndarray of float, shape (n_records, n_features)
        NaN where unknown; such a number is put at the mean of the known ones.
    counts : Counts
        What was counted, one entry a row.
    species : tuple of str
        The parents in the records, for the record.
    prior : GaussianPrior, optional
        In place of the published one; the intercept first.
    """
    means, variances = _training_moments(recipe, rows)
    filled = np.where(np.isnan(rows), means, rows)
    design = np.column_stack([np.ones(len(rows)), filled - centre_of(recipe.features)])
    posterior = fit_posterior(design, counts, prior or prior_for("plain", recipe.features))
    return FittedModel(recipe, means, variances, (_stage("plain", posterior),), _seen(rows, counts, species))


def _stage(name: str, posterior: Posterior) -> StageFit:
    return StageFit(name, posterior.mean, posterior.covariance)


def _seen(rows: Floats, counts: Counts, species: tuple[str, ...]) -> Seen:
    took = counts.some | (counts.took > 0)
    farthest = float(rows[:, 0].max()) if len(rows) else 0.0
    return Seen(len(rows), int(took.sum()), farthest, tuple(sorted(species)))


def _training_moments(recipe: Recipe, rows: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the known numbers of each feature; the table's where too few are known."""
    means, variances = centre_of(recipe.features), spread_of(recipe.features)
    known = ~np.isnan(rows)
    for j in np.flatnonzero(known.sum(axis=0) >= _FEWEST_FOR_A_MEAN):
        values = rows[known[:, j], j]
        means[j], variances[j] = values.mean(), max(values.var(), variances[j] / 4)
    return means, variances
