"""What the crosses taught, as frozen numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from crosscompat.model.composition import SeedsPerPod, fit_seeds, prior_shares, share_means
from crosscompat.model.design_matrix import Factor, Kinship
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.likelihood import Counts, Floats, Ints
from crosscompat.model.pairings import Levels, Parents, Seen, relatedness
from crosscompat.model.prior import Priors, centre_of, published, spread_of
from crosscompat.model.training_set import CrossCounts, TrainingSet
from crosscompat.pairing import Recipe, pair_rows
from crosscompat.phylogeny.taxa import Taxa
from crosscompat.stages import STEPS, WHOLE
from crosscompat.traits import TraitTable

_FEWEST_FOR_A_MEAN = 5

EFFECTS = ("seed", "pollen", "seed_plant", "pollen_plant", "pair", "direction", "record")


@dataclass(frozen=True, slots=True)
class PairEffects:
    """What is known of the pairs crossed, beside their parents: a row a pair and direction, both ways round, in order.

    ``ways``, shape (n_ways, 2), are seed and pollen parent, as numbers of the species seen; ``pair`` and ``direction``,
    shape (n_ways,), the means of what both directions share, and of what this one has of its own; ``own`` the variance
    of the two together where everything else is known. ``columns``, shape (n_ways, w), are the coefficients and effects
    that they lean on, -1 for none; ``lean`` how much higher they are expected to be where such a column is lower by 1.
    """

    ways: Ints
    pair: Floats
    direction: Floats
    own: Floats
    columns: Ints
    lean: Floats

    def find(self, seed: Ints, pollen: Ints) -> Ints:
        """Return the row of each directed pair, -1 where it was crossed neither way round, shape (n_pairs,)."""
        if not len(self.ways):
            return np.full(len(seed), -1, dtype=np.intp)
        step = int(self.ways.max()) + 1
        keys = self.ways @ [step, 1]
        wanted = np.where((seed >= 0) & (pollen >= 0) & (pollen < step), seed * step + pollen, -1)
        place = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        return np.where(keys[place] == wanted, place, -1)


@dataclass(frozen=True, slots=True)
class Past:
    """The crosses that were fitted, as far as forecasts lean on them.

    ``x``, shape (n_records, p), are their rows, the intercept's 1 first, centred; ``gradient``, shape (n_records,),
    what each took beyond expectation at the mode, k - n p ("some of n": the slope of its log likelihood);
    ``prior_mean`` and ``prior_sd``, shape (p,), of the coefficients. ``variances``, shape (6,), are of all effects but
    the record's, ``share`` is lambda, at the most likely scales; ``record`` is the number of each cross among all that
    were fitted.
    """

    x: Floats
    levels: Levels
    gradient: Floats
    prior_mean: Floats
    prior_sd: Floats
    variances: Floats
    share: float
    record: Ints


@dataclass(frozen=True, slots=True)
class StepFit:
    """The Gaussian posterior of one step.

    Attributes
    ----------
    mean : ndarray of float, shape (q,)
        Coefficients, the intercept first (of a step finer than the whole, what they differ by from its share); species
        as seed parents, as pollen parents, plants as mothers, as fathers; then what relatives inherit of the species as
        seed and as pollen parents, if it is known who is related.
    covariance : ndarray of float, shape (q, q)
    variances : ndarray of float, shape (7,)
        Mean prior variance of each of ``EFFECTS``, 0 for one that is not in the model.
    inherited : ndarray of float, shape (2, s, s) or (2, 0, 0)
        A relative with the entries a of A has a' inherited a less variance than one without relatives.
    sizes : tuple of four int
        Number of coefficients, of species, of mothers and of fathers.
    past : Past or None
        The crosses fitted, for their weight in a forecast; None before any.
    """

    step: str
    mean: Floats
    covariance: Floats
    variances: Floats
    inherited: Floats
    pairs: PairEffects
    sizes: tuple[int, int, int, int]
    past: Past | None = None

    @property
    def coefficients(self) -> Floats:
        """Means of the coefficients alone, shape (p,)."""
        return self.mean[: self.sizes[0]]

    def block(self, kind: int) -> tuple[int, int]:
        """Return where in ``mean`` one kind of effect begins and ends; 4 and 5 are what relatives inherit."""
        _, species, mothers, fathers = self.sizes
        edges = np.cumsum([self.sizes[0], species, species, mothers, fathers, species, species])
        return int(edges[kind]), int(edges[kind + 1])


def unlearned(step: str, mean: Floats, covariance: Floats, variances: Floats) -> StepFit:
    """Return a step with nothing known of the effects but their prior variances."""
    none, nobody = np.empty(0), np.empty((0, 1), dtype=np.intp)
    pairs = PairEffects(np.empty((0, 2), dtype=np.intp), none, none, none, nobody, np.empty((0, 1)))
    return StepFit(step, mean, covariance, variances, np.empty((2, 0, 0)), pairs, (len(mean), 0, 0, 0))


@dataclass(frozen=True, slots=True)
class FittedModel:
    """A recipe for pairings and what is believed of its coefficients.

    ``means`` and ``variances``, shape (n_features,), say where an unknown feature is put, and how far it may be from
    there; ``prior`` is of the coefficients of the whole way, ``scales`` the prior scale of each of ``EFFECTS`` for it.
    ``steps`` are those that any cross was counted at; the others are as the prior has them. ``records`` is what the
    grower calls the crosses fitted, by the numbers that ``Past.record`` has.
    """

    recipe: Recipe
    means: Floats
    variances: Floats
    prior: GaussianPrior
    scales: Mapping[str, float]
    steps: tuple[StepFit, ...]
    seen: Seen
    seeds: SeedsPerPod
    records: tuple[str, ...] = ()

    def fit_of(self, step: str) -> StepFit | None:
        """Return what was learned of a step; None if nothing was."""
        return next((fit for fit in self.steps if fit.step == step), None)


def prior_model(recipe: Recipe, seeds: SeedsPerPod, priors: Priors | None = None) -> FittedModel:
    """Return the model of a grower without a single cross, by ``priors`` in place of those of the package.

    Examples
    --------
    >>> from crosscompat.pairing import DistanceScale, recipe_for
    >>> scale = DistanceScale(2.0, (("time", 2.0, 1.0),), "My")
    >>> prior_model(recipe_for(None, scale), SeedsPerPod(20.0, 1.0)).prior.mean
    array([ 0.3, -2. ])
    """
    table = priors or published()
    moments = training_moments(recipe, np.empty((0, len(recipe.features))))
    prior, scales = table.prior_for(recipe.features), table.effect_scales(WHOLE)
    return FittedModel(recipe, *moments, prior, scales, (), Seen(), seeds)


def fit_crosses(
    recipe: Recipe,
    rows: Floats,
    counts: CrossCounts,
    weight: Floats,
    *,
    parents: Parents,
    pod: tuple[float, int | None],
    took: int,
    finished: int,
    farthest: float = 0.0,
    related: Floats | None = None,
    priors: Priors | None = None,
    records: tuple[str, ...] = (),
) -> FittedModel:
    """Fit every step that any of some crosses was counted at.

    ``rows``, shape (n_crosses, n_features), are by the ``recipe``; NaN, unknown, is put at the mean of the known
    numbers. ``weight``, shape (n_crosses,), is how much of a full record each cross is. ``pod`` are the seeds expected
    in a ripe pod before any was counted, and the most that it can hold. ``related``, shape (n_species, n_species), is A
    among the parents' species, sorted by label; None if it is not known. For the record alone are the crosses that
    ``took``, those whose outcome is known, the largest distance among them, and what the grower calls them.
    """
    table = priors or published()
    opened = counts.pods > 0
    seeds = fit_seeds(counts.pods[opened], counts.seeds[opened], expected=pod[0], cap=pod[1])
    species = tuple(sorted({*parents.seed, *parents.pollen}))
    mothers, fathers = (
        tuple(sorted({plant for plant in side if plant is not None}))
        for side in (parents.seed_plants, parents.pollen_plants)
    )
    seen = Seen(len(rows), took, farthest, species, mothers, fathers, related is not None, finished)
    before = prior_model(recipe, seeds, table)
    moments = training_moments(recipe, rows)
    model = FittedModel(recipe, *moments, before.prior, before.scales, (), seen, seeds, records)
    levels, kinship = Levels.of(seen, parents), None if related is None else Kinship.of(related)
    steps = []
    for step in STEPS:
        of_step = counts.steps[step]
        at = np.flatnonzero(of_step.known)
        if at.size:
            entering = Counts(of_step.tried[at], of_step.took[at], of_step.some[at], weight[at])
            steps.append(_fit_step(step, model, rows[at], entering, levels[at], at, table, kinship))
    return replace(model, steps=tuple(steps))


def fit_training_set(
    training: TrainingSet,
    recipe: Recipe,
    taxa: Taxa,
    traits: TraitTable | None,
    plants: tuple[Sequence[str | None], Sequence[str | None]],
    *,
    pod: tuple[float, int | None],
    weight: Floats | None = None,
    own: Mapping[str, tuple[Floats, Floats]] | None = None,
    priors: Priors | None = None,
) -> FittedModel:
    """Fit the crosses that speak; ``plants`` are their seed plants and pollen plants, ``own`` is as for `pair_rows`.

    ``weight``, shape (n_crosses,), is how much of what it weighs by itself each cross counts; all of it by default.
    """
    seed, pollen = training.seed, training.pollen
    distance, species = taxa.apart(seed, pollen), sorted({*seed, *pollen})
    return fit_crosses(
        recipe,
        pair_rows(recipe, distance, traits, seed, pollen, own, taxa.pedigree),
        training.counts,
        training.weight if weight is None else training.weight * weight,
        parents=Parents(seed, pollen, *plants),
        pod=pod,
        took=int(training.outcomes.fruitful.sum()),
        finished=int(training.outcomes.known.sum()),
        farthest=float(np.nanmax(distance, initial=0.0)),
        related=relatedness(taxa.distances, species, pedigree=taxa.pedigree) if species else None,
        priors=priors,
        records=tuple(cross.number for cross in training.crosses),
    )


def _fit_step(
    step: str,
    model: FittedModel,
    rows: Floats,
    counts: Counts,
    levels: Levels,
    record: Ints,
    priors: Priors,
    kinship: Kinship | None,
) -> StepFit:
    """Fit one step, given what each of its crosses is numbered."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - an answer fits nothing

    from crosscompat.model.gaussian import stage_of  # noqa: PLC0415 - as above
    from crosscompat.model.posterior import integrate, matched, past_of  # noqa: PLC0415 - as above

    design = design_of(model.recipe, rows, model.means)
    spread = prior_shares(model.seeds)[step]
    factors = _factors(levels, model.seen, kinship)
    stage = stage_of(counts, design, _coefficients_of(model, step), factors, offset_of(model, step, design))
    scales = priors.effect_scales(step, spread)
    # More threads of BLAS only wait for each other; with one a fit is the same from run to run.
    with threadpool_limits(limits=1, user_api="blas"):
        most_likely, points = integrate(stage, np.array([scales[factor.name] for factor in stage.factors]))
        pairs = np.column_stack([levels.seed, levels.pollen])
        fit = matched(step, stage, points, pairs, past_of(stage, most_likely, levels, record))
    # Where no plant was named, plants vary as before any cross: a flower is always some plant's.
    prior = np.array([scales[name] ** 2 if name.endswith("_plant") else 0.0 for name in EFFECTS])
    return replace(fit, variances=np.where(fit.variances > 0, fit.variances, prior))


def offset_of(model: FittedModel, step: str, design: Floats) -> Floats:
    """Return what the logit of a step is before its coefficients: its share of the whole; 0 of the whole itself."""
    return np.zeros(len(design)) if step == WHOLE else share_means(design @ model.prior.mean, model.seeds)[step]


def _coefficients_of(model: FittedModel, step: str) -> GaussianPrior:
    """Return the prior of the coefficients of a step."""
    return GaussianPrior((step == WHOLE) * model.prior.mean, prior_shares(model.seeds)[step] * model.prior.sd)


def prior_step(model: FittedModel, step: str) -> StepFit:
    """Return a step of a model before any cross."""
    belief, spread = _coefficients_of(model, step), prior_shares(model.seeds)[step]
    own = model.scales["record"] if step == WHOLE else published().effect_scales(step)["record"]
    scales = {name: spread * scale for name, scale in model.scales.items()} | {"record": own}
    variances = np.array([scales[effect] ** 2 for effect in EFFECTS])
    return unlearned(step, belief.mean, np.diag(belief.sd**2), variances)


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


def _factors(levels: Levels, seen: Seen, kinship: Kinship | None) -> tuple[Factor, ...]:
    """Return the effects: record, direction and pair (finest first), then species and plants."""
    low, high = np.minimum(levels.seed, levels.pollen), np.maximum(levels.seed, levels.pollen)
    species = len(seen.species)
    result = [
        Factor.of("record", np.arange(len(low)), nested=True),
        Factor.of("direction", _ids(levels.seed * species + levels.pollen), nested=True),
        Factor.of("pair", _ids(low * species + high), nested=True),
        Factor.of("seed", levels.seed, species, kinship),
        Factor.of("pollen", levels.pollen, species, kinship),
    ]
    plants = (
        ("seed_plant", levels.seed_plant, seen.seed_plants),
        ("pollen_plant", levels.pollen_plant, seen.pollen_plants),
    )
    result += [Factor.of(name, level, len(labels), None) for name, level, labels in plants if labels]
    return tuple(result)


def _ids(keys: Ints) -> Ints:
    return np.unique(keys, return_inverse=True)[1].astype(np.intp)
