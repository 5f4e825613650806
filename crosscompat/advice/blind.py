"""What forecasts say of crosses that they have not seen, and plainer forecasts to hold them against."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.advice.predict import chances_of, clones_on_both_sides, fitted_on
from crosscompat.collection.opening import Collection
from crosscompat.model.fitted import FittedModel, fit_plain
from crosscompat.model.forecast import chances, outlook
from crosscompat.model.likelihood import Counts, Floats
from crosscompat.model.pairings import Parents
from crosscompat.model.scoring import Fold
from crosscompat.model.training_set import TrainingSet
from crosscompat.pairing import Recipe, pair_rows

__all__ = ["FORECASTS", "Blind", "Job", "Said", "Work", "blind_forecasts", "forecast", "gave_a_seedling"]

FORECASTS = ("crosscompat", "distance", "traits", "base_rate")

Ints = NDArray[np.int64]
Said = dict[str, Floats]


@dataclass(frozen=True, slots=True)
class Job:
    """One fit and what it is asked.

    Attributes
    ----------
    collection : Collection
    seen : TrainingSet
        The crosses learned from.
    asked : tuple of TrainingSet
        Crosses held out, their outcomes not to be read.
    """

    collection: Collection
    seen: TrainingSet
    asked: tuple[TrainingSet, ...]


Work = Callable[[Callable[[Job], list[Said]], Sequence[Job]], Iterable[list[Said]]]


@dataclass(frozen=True, slots=True)
class Blind:
    """What was said of crosses held out.

    Attributes
    ----------
    folds : int
        In so many parts, each forecast by a model of its own.
    at : ndarray of int, shape (m,)
        Place of each among the evidence; a cross that is held out twice stands twice.
    chances : mapping of str to ndarray of float, shape (m,)
        Chance of at least one seedling from the units of that cross, by each of ``FORECASTS``: the whole model; a
        logistic regression on the distance alone, and on the traits alone (absent if no trait speaks for a pairing);
        and how often the crosses learned from gave a seedling.
    """

    folds: int
    at: Ints
    chances: Mapping[str, Floats]


def gave_a_seedling(evidence: TrainingSet) -> Floats:
    """Return 1 for each cross that gave a seedling, else 0, shape (n_crosses,)."""
    return evidence.outcomes.fruitful.astype(np.float64)


def blind_forecasts(
    collection: Collection, evidence: TrainingSet, ways: Mapping[str, Sequence[Fold]], work: Work = map
) -> dict[str, Blind]:
    """Forecast each cross held out by models that were fitted on the others alone.

    Parameters
    ----------
    collection : Collection
        Its tree, traits, plants and settings. Where unknown traits are put and how species are related are as the
        crosses learned from have them.
    evidence : TrainingSet
    ways : mapping of str to sequence of Fold
        Each way of holding out. Folds that learn from the same crosses share one fit.
    work : callable
        Applies `forecast` to the jobs, in order, as `map` does; another may show a bar or use several processors.

    Returns
    -------
    dict of str to Blind
        For each way, the crosses held out of which it is known whether they gave a seedling.
    """
    same: dict[bytes, list[tuple[str, Fold]]] = {}
    for way, fold in [(way, fold) for way, folds in ways.items() for fold in folds]:
        held = fold.held[evidence.outcomes.known[fold.held]]
        if held.size:
            same.setdefault(fold.train.tobytes(), []).append((way, Fold(held, fold.train)))
    fits = list(same.values())
    jobs = [
        Job(collection, evidence[fit[0][1].train.tolist()], tuple(evidence[fold.held.tolist()] for _, fold in fit))
        for fit in fits
    ]
    found: dict[str, list[Blind]] = {way: [] for way in ways}
    for fit, answers in zip(fits, work(forecast, jobs), strict=True):
        for (way, fold), said in zip(fit, answers, strict=True):
            found[way].append(Blind(1, fold.held, said))
    return {way: _joined(parts) for way, parts in found.items()}


def forecast(job: Job) -> list[Said]:
    """Learn from some crosses, and return the chances of others by each of ``FORECASTS``."""
    collection, seen = job.collection, job.seen
    whole = seen[np.flatnonzero(seen.outcomes.known).tolist()]
    model = fitted_on(collection, seen)
    plain = {name: _plain(collection, whole, recipe) for name, recipe in _parts(model.recipe).items()}
    # Half a seedling and half a failure beforehand: six crosses that all took do not make the seventh certain.
    base_rate = (float(whole.weight @ gave_a_seedling(whole)) + 0.5) / (float(whole.weight.sum()) + 1.0)
    answers = []
    for asked in job.asked:
        units = asked.outcomes.tried
        parents = Parents(asked.seed, asked.pollen, *clones_on_both_sides(collection.plants, asked.crosses))
        said = {"crosscompat": chances_of(collection, model, parents, units).mean}
        for name, fit in plain.items():
            said[name] = chances(outlook(fit, _rows(collection, fit.recipe, asked), stages=False).whole, units).mean
        answers.append(said | {"base_rate": np.full(units.shape, base_rate)})
    return answers


def _parts(recipe: Recipe) -> dict[str, Recipe]:
    """Return the recipe of the distance alone and that of the traits alone, if there are any."""
    distance = tuple(feature for feature in recipe.features if feature.column is None)
    traits = tuple(feature for feature in recipe.features if feature.column is not None)
    sides = {"distance": distance, "traits": traits}
    return {name: Recipe(side, recipe.scale) for name, side in sides.items() if side}


def _plain(collection: Collection, seen: TrainingSet, recipe: Recipe) -> FittedModel:
    """Fit a logistic regression from a unit to a seedling, with the same priors and nothing of parents."""
    outcomes = seen.outcomes
    counts = Counts.of(outcomes.tried, outcomes.took, outcomes.some)
    return fit_plain(recipe, _rows(collection, recipe, seen), counts, collection.priors.prior_for(recipe.features))


def _rows(collection: Collection, recipe: Recipe, evidence: TrainingSet) -> Floats:
    seed, pollen = evidence.seed, evidence.pollen
    return pair_rows(recipe, collection.taxa.apart(seed, pollen), collection.traits, seed, pollen)


def _joined(parts: Sequence[Blind]) -> Blind:
    at = np.concatenate([np.empty(0, dtype=np.int64), *(part.at for part in parts)])
    names = [name for name in FORECASTS if parts and name in parts[0].chances]
    return Blind(len(parts), at, {name: np.concatenate([part.chances[name] for part in parts]) for name in names})
