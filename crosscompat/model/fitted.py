"""What the crosses taught, as frozen numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.beliefs import EFFECTS, Effects, matched, unknown_effects
from crosscompat.model.effects import Factor, Ints, Kinship
from crosscompat.model.laplace import GaussianPrior, fit_posterior, stage_of
from crosscompat.model.likelihood import Counts, Floats
from crosscompat.model.pairings import Levels, Parents, Seen, seen_by
from crosscompat.model.past import Past, past_of
from crosscompat.model.prior import centre_of, effect_scales, prior_for, spread_of
from crosscompat.model.variances import POINTS, integrate
from crosscompat.pairing import Recipe

__all__ = ["FittedModel", "Seen", "StageFit", "design_of", "fit_model", "fit_stage", "prior_model", "training_moments"]

_FEWEST_FOR_A_MEAN = 5


@dataclass(frozen=True, slots=True)
class StageFit:
    """The Gaussian belief about one stage.

    Attributes
    ----------
    stage : str
        ``plain``: from a unit pollinated to a seedling, in one step.
    mean : ndarray of float, shape (1 + n_features,)
        Of the coefficients, the intercept first.
    covariance : ndarray of float, shape (1 + n_features, 1 + n_features)
    effects : Effects or None
        Of parents and pairs; None if the model has none.
    past : Past or None
        The crosses fitted, for their weight in a forecast; None without effects.
    """

    stage: str
    mean: Floats
    covariance: Floats
    effects: Effects | None = None
    past: Past | None = None


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
    return fit_model(recipe, none, Counts.of([], []), parents=Parents((), ()))


def fit_model(
    recipe: Recipe,
    rows: Floats,
    counts: Counts,
    *,
    parents: Parents | None = None,
    related: Floats | None = None,
    species: tuple[str, ...] = (),
    prior: GaussianPrior | None = None,
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
    parents : Parents, optional
        Who was crossed, for the effects of parents and pairs. Without them it is a plain logistic regression, fitted at
        its mode.
    related : ndarray of float, shape (n_species, n_species), optional
        A among the parents' species, sorted by label; None if it is not known.
    species : tuple of str
        The parents in the records where ``parents`` is absent, for the record.
    prior : GaussianPrior, optional
        Of the coefficients, in place of the published one; the intercept first.
    """
    moments = training_moments(recipe, rows)
    took = int((counts.some | (counts.took > 0)).sum())
    farthest = float(rows[:, 0].max()) if len(rows) else 0.0
    if parents is None:
        seen = Seen(len(rows), took, farthest, tuple(sorted(species)))
        levels = None
    else:
        seen = seen_by(parents, crosses=len(rows), took=took, farthest=farthest, related=related is not None)
        levels = Levels.of(seen, parents)
    stage = fit_stage("plain", recipe, rows, counts, levels, seen, means=moments[0], related=related, prior=prior)
    return FittedModel(recipe, *moments, (stage,), seen)


def fit_stage(
    name: str,
    recipe: Recipe,
    rows: Floats,
    counts: Counts,
    levels: Levels | None,
    seen: Seen,
    *,
    means: Floats,
    related: Floats | None = None,
    prior: GaussianPrior | None = None,
) -> StageFit:
    """Fit one stage.

    Parameters
    ----------
    name : str
        A stage of the table of priors.
    recipe : Recipe
    rows : ndarray of float, shape (n_records, n_features)
    counts : Counts
        What entered the stage and what came through, one entry a row.
    levels : Levels or None
        Parents of each row, as ``seen`` numbers them; None for a plain logistic regression, fitted at its mode.
    seen : Seen
        All species and plants, those of other stages too.
    means : ndarray of float, shape (n_features,)
        Where an unknown number is put.
    related : ndarray of float, shape (n_species, n_species), optional
        A among the species seen.
    prior : GaussianPrior, optional
        Of the coefficients, in place of the published one.
    """
    design = design_of(recipe, rows, means)
    belief = prior or prior_for(name, recipe.features)
    if levels is None:
        posterior = fit_posterior(design, counts, belief)
        return StageFit(name, posterior.mean, posterior.covariance)
    scales = effect_scales(name)
    if not len(rows):
        return _before_any_cross(name, belief, scales)
    factors = _factors(levels, seen, related)
    stage = stage_of(counts, design, belief, factors)
    most_likely, points = integrate(stage, np.array([scales[factor.name] for factor in factors]), POINTS)
    pairs = np.column_stack([levels.seed, levels.pollen])
    mean, covariance, effects = matched(stage, points, pairs)
    return StageFit(name, mean, covariance, effects, past_of(stage, most_likely.scales, levels, EFFECTS[:6]))


def design_of(recipe: Recipe, rows: Floats, means: Floats) -> Floats:
    """Return the rows as the coefficients read them: the intercept's 1 first, gaps at the mean, centred."""
    filled = np.where(np.isnan(rows), means, rows)
    return np.column_stack([np.ones(len(rows)), filled - centre_of(recipe.features)])


def training_moments(recipe: Recipe, rows: Floats) -> tuple[Floats, Floats]:
    """Return mean and variance of the known numbers of each feature; the table's where too few are known."""
    means, variances = centre_of(recipe.features), spread_of(recipe.features)
    known = ~np.isnan(rows)
    for j in np.flatnonzero(known.sum(axis=0) >= _FEWEST_FOR_A_MEAN):
        values = rows[known[:, j], j]
        means[j], variances[j] = values.mean(), max(values.var(), variances[j] / 4)
    return means, variances


def _before_any_cross(name: str, belief: GaussianPrior, scales: dict[str, float]) -> StageFit:
    """Give the prior; plants have no effect of their own until some are named."""
    variances = np.array([0.0 if effect.endswith("_plant") else scales[effect] ** 2 for effect in EFFECTS])
    return StageFit(name, belief.mean, np.diag(belief.sd**2), unknown_effects(variances, belief.mean.size))


def _factors(levels: Levels, seen: Seen, related: Floats | None) -> tuple[Factor, ...]:
    """Return the effects: record, direction and pair (finest first), then species and plants."""
    low, high = np.minimum(levels.seed, levels.pollen), np.maximum(levels.seed, levels.pollen)
    species = len(seen.species)
    kinship = None if related is None else Kinship.of(related)
    found = [
        Factor.of("record", np.arange(len(low)), place="nested"),
        Factor.of("direction", _ids(levels.seed * species + levels.pollen), place="nested"),
        Factor.of("pair", _ids(low * species + high), place="nested"),
        Factor.of("seed", levels.seed, species, kinship, "column"),
        Factor.of("pollen", levels.pollen, species, kinship, "column"),
    ]
    plants = (
        ("seed_plant", levels.seed_plant, seen.seed_plants),
        ("pollen_plant", levels.pollen_plant, seen.pollen_plants),
    )
    found += [Factor.of(name, level, len(labels), None, "column") for name, level, labels in plants if labels]
    return tuple(found)


def _ids(keys: Ints) -> Ints:
    return np.unique(keys, return_inverse=True)[1].astype(np.intp)
