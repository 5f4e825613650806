"""What the crosses taught, as frozen numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crosscompat.book.stages import STAGES
from crosscompat.model.beliefs import EFFECTS, Effects, matched, unknown_effects
from crosscompat.model.effects import Factor, Ints, Kinship
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.likelihood import Counts, Floats
from crosscompat.model.pairings import Levels, Parents, Seen, seen_by
from crosscompat.model.past import Past, past_of
from crosscompat.model.prior import Priors, centre_of, published, spread_of
from crosscompat.model.seeds import SeedsPerPod
from crosscompat.model.threads import one_thread
from crosscompat.pairing import Recipe

if TYPE_CHECKING:
    from crosscompat.model.elimination import Stage
    from crosscompat.model.laplace import Mode
    from crosscompat.model.variances import Point

__all__ = [
    "CHAIN",
    "PLAIN",
    "FittedModel",
    "Seen",
    "StageFit",
    "believed",
    "design_of",
    "fit_model",
    "fit_stage",
    "laid_out",
    "prior_model",
    "prior_stage",
    "training_moments",
]

PLAIN = ("plain",)
CHAIN = tuple(STAGES)

_FEWEST_FOR_A_MEAN = 5


@dataclass(frozen=True, slots=True)
class StageFit:
    """The Gaussian belief about one stage.

    Attributes
    ----------
    stage : str
        ``plain``: from a unit pollinated to a seedling, in one step; else one of ``CHAIN``.
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
        ``PLAIN`` alone, or all of ``CHAIN``.
    seen : Seen
    seeds : SeedsPerPod or None
        Of a ripe pod; None for the plain form.
    records : tuple of str
        What the grower calls the crosses fitted, by the numbers that ``Past.record`` has.
    """

    recipe: Recipe
    means: Floats
    variances: Floats
    stages: tuple[StageFit, ...]
    seen: Seen
    seeds: SeedsPerPod | None = None
    records: tuple[str, ...] = ()

    @property
    def centre(self) -> Floats:
        """Where each feature stands when the intercept alone speaks, shape (n_features,)."""
        return centre_of(self.recipe.features)


def prior_model(recipe: Recipe, seeds: SeedsPerPod | None = None, priors: Priors | None = None) -> FittedModel:
    """Return the model of a grower without a single cross: the published priors.

    Parameters
    ----------
    recipe : Recipe
    seeds : SeedsPerPod, optional
        Of a ripe pod, for the chain of stages; without it the plain form.
    priors : Priors, optional
        In place of the published ones.

    Examples
    --------
    >>> from crosscompat.pairing import recipe_for
    >>> prior_model(recipe_for(None, reference=2.0)).stages[0].mean
    array([-0.5, -1.5])
    """
    table = priors or published()
    moments = training_moments(recipe, np.empty((0, len(recipe.features))))
    stages = tuple(prior_stage(name, recipe, table) for name in (PLAIN if seeds is None else CHAIN))
    return FittedModel(recipe, *moments, stages, Seen(), seeds)


def fit_model(
    recipe: Recipe,
    rows: Floats,
    counts: Counts,
    *,
    parents: Parents | None = None,
    related: Floats | None = None,
    species: tuple[str, ...] = (),
    prior: GaussianPrior | None = None,
    priors: Priors | None = None,
    records: tuple[str, ...] = (),
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
    priors : Priors, optional
        In place of the published ones.
    records : tuple of str
        What the grower calls the crosses.
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
    stage = fit_stage(
        "plain", recipe, rows, counts, levels, seen, means=moments[0], related=related, prior=prior, priors=priors
    )
    return FittedModel(recipe, *moments, (stage,), seen, None, records)


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
    priors: Priors | None = None,
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
    priors : Priors, optional
        In place of the published ones.
    """
    table = priors or published()
    belief = prior or table.prior_for(name, recipe.features)
    if levels is None:
        from crosscompat.model.laplace import fit_posterior  # noqa: PLC0415 - an answer fits nothing

        posterior = fit_posterior(design_of(recipe, rows, means), counts, belief)
        return StageFit(name, posterior.mean, posterior.covariance)
    if not len(rows):
        return prior_stage(name, recipe, table, prior)
    from crosscompat.model.elimination import MANY  # noqa: PLC0415 - as above
    from crosscompat.model.variances import POINTS, integrate  # noqa: PLC0415 - as above

    record = levels.by_pair() if len(rows) >= MANY else np.arange(len(rows))  # neighbours are then read together
    levels = levels[record]
    stage = laid_out(design_of(recipe, rows[record], means), counts[record], belief, levels, seen, related)
    with one_thread():
        most_likely, points = integrate(stage, scales_for(stage, table.effect_scales(name)), POINTS)
        return believed(name, stage, most_likely, points, levels, record)


def laid_out(
    design: Floats, counts: Counts, prior: GaussianPrior, levels: Levels, seen: Seen, related: Floats | None
) -> Stage:
    """Return everything about one stage but its variances; parameters as for `fit_stage`."""
    from crosscompat.model.laplace import stage_of  # noqa: PLC0415 - as above

    return stage_of(counts, design, prior, _factors(levels, seen, related))


def scales_for(stage: Stage, scales: Mapping[str, float]) -> Floats:
    """Return the prior scale of each factor of a stage, shape (n_factors,)."""
    return np.array([scales[factor.name] for factor in stage.factors], dtype=np.float64)


def believed(
    name: str,
    stage: Stage,
    most_likely: Mode,
    points: tuple[Point, ...],
    levels: Levels,
    record: Ints | None = None,
) -> StageFit:
    """Return the belief that an integrated stage amounts to.

    Parameters
    ----------
    name : str
    stage : Stage
    most_likely : Mode
    points : tuple of Point
    levels : Levels
        Parents of each row.
    record : ndarray of int, shape (n_records,), optional
        Number of the cross of each row; by default they are counted.
    """
    pairs = np.column_stack([levels.seed, levels.pollen])
    mean, covariance, effects = matched(stage, points, pairs)
    return StageFit(name, mean, covariance, effects, past_of(stage, most_likely, levels, EFFECTS[:6], record))


def prior_stage(
    name: str, recipe: Recipe, priors: Priors, prior: GaussianPrior | None = None, seen: Seen | None = None
) -> StageFit:
    """Return one stage before any cross; plants have no effect of their own until some are named."""
    belief = prior or priors.prior_for(name, recipe.features)
    scales, named = priors.effect_scales(name), seen or Seen()
    unnamed = {"seed_plant": not named.seed_plants, "pollen_plant": not named.pollen_plants}
    variances = np.array([0.0 if unnamed.get(effect) else scales[effect] ** 2 for effect in EFFECTS])
    return StageFit(name, belief.mean, np.diag(belief.sd**2), unknown_effects(variances, belief.mean.size))


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
