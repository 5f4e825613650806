"""What forecasts say of crosses that they have not seen, and plainer forecasts to hold them against."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.advice.basis import chances_of, clones_of
from crosscompat.advice.fitting import fitted_on
from crosscompat.book.evidence import Evidence
from crosscompat.collection.opening import Collection
from crosscompat.model.fitted import FittedModel, fit_model
from crosscompat.model.forecast import chances, logits
from crosscompat.model.held_out import Fold
from crosscompat.model.likelihood import Counts, Floats
from crosscompat.model.pairings import Parents
from crosscompat.pairing import Recipe, pair_rows

__all__ = ["FORECASTS", "Blind", "Watch", "blind_forecasts", "gave_a_seedling"]

FORECASTS = ("crosscompat", "distance", "traits", "base_rate")

Ints = NDArray[np.int64]
Watch = Callable[[Sequence[int]], Iterable[int]]


@dataclass(frozen=True, slots=True)
class Blind:
    """What was said of crosses held out.

    Attributes
    ----------
    at : ndarray of int, shape (m,)
        Place of each among the evidence; a cross that is held out twice stands twice.
    chances : mapping of str to ndarray of float, shape (m,)
        Chance of at least one seedling from the units of that cross, by each of ``FORECASTS``: the whole model; a
        logistic regression on the distance alone, and on the traits alone (absent if no trait speaks for a pairing);
        and how often the crosses learned from gave a seedling.
    """

    at: Ints
    chances: Mapping[str, Floats]


def gave_a_seedling(evidence: Evidence) -> Floats:
    """Return 1 for each cross that gave a seedling, else 0, shape (n_crosses,); not to be read where it is unknown."""
    return (evidence.outcomes.some | (evidence.outcomes.took > 0)).astype(np.float64)


def blind_forecasts(
    collection: Collection, evidence: Evidence, ways: Mapping[str, Sequence[Fold]], watch: Watch = iter
) -> dict[str, Blind]:
    """Forecast each cross held out by models that were fitted on the others alone.

    Parameters
    ----------
    collection : Collection
        Its tree, traits, plants and settings. The distance that counts as 1, where unknown traits are put and how
        species are related are those of the crosses learned from.
    evidence : Evidence
    ways : mapping of str to sequence of Fold
        Each way of holding out. Folds that learn from the same crosses share one fit.
    watch : callable
        Passes on the numbers of the fits as they are worked through, for a progress bar.

    Returns
    -------
    dict of str to Blind
        For each way, the crosses held out of which it is known whether they gave a seedling.
    """
    jobs: dict[bytes, list[tuple[str, Fold]]] = {}
    for way, fold in [(way, fold) for way, folds in ways.items() for fold in folds]:
        held = fold.held[evidence.outcomes.known[fold.held]]
        if held.size:
            jobs.setdefault(fold.train.tobytes(), []).append((way, Fold(held, fold.train)))
    fits = list(jobs.values())
    found: dict[str, list[Blind]] = {way: [] for way in ways}
    for i in watch(range(len(fits))):
        forecast = _learned(collection, evidence[fits[i][0][1].train.tolist()])
        for way, fold in fits[i]:
            found[way].append(Blind(fold.held, forecast(evidence[fold.held.tolist()])))
    return {way: _joined(parts) for way, parts in found.items()}


def _learned(collection: Collection, seen: Evidence) -> Callable[[Evidence], dict[str, Floats]]:
    """Return what forecasts other crosses from some."""
    whole = seen[np.flatnonzero(seen.outcomes.known).tolist()]
    model = fitted_on(collection, seen)
    plain = {name: _plain(collection, whole, recipe) for name, recipe in _parts(model.recipe).items()}
    # Half a seedling and half a failure beforehand: six crosses that all took do not make the seventh certain.
    base_rate = (gave_a_seedling(whole).sum() + 0.5) / (len(whole.crosses) + 1.0)

    def forecast(asked: Evidence) -> dict[str, Floats]:
        units = asked.outcomes.tried
        said = {"crosscompat": chances_of(collection, model, _parents(collection, asked), units).mean}
        for name, fit in plain.items():
            said[name] = chances(logits(fit, _rows(collection, fit.recipe, asked)), units).mean
        return said | {"base_rate": np.full(units.shape, base_rate)}

    return forecast


def _parts(recipe: Recipe) -> dict[str, Recipe]:
    """Return the recipe of the distance alone and that of the traits alone, if there are any."""
    distance = tuple(feature for feature in recipe.features if feature.column is None)
    traits = tuple(feature for feature in recipe.features if feature.column is not None)
    sides = {"distance": distance, "traits": traits}
    return {name: Recipe(side, recipe.reference, recipe.unit) for name, side in sides.items() if side}


def _plain(collection: Collection, seen: Evidence, recipe: Recipe) -> FittedModel:
    """Fit a logistic regression from a unit to a seedling, with the published priors and nothing of parents."""
    outcomes = seen.outcomes
    return fit_model(recipe, _rows(collection, recipe, seen), Counts.of(outcomes.tried, outcomes.took, outcomes.some))


def _rows(collection: Collection, recipe: Recipe, evidence: Evidence) -> Floats:
    seed, pollen = evidence.seed, evidence.pollen
    return pair_rows(recipe, collection.distances.patristic_pairs(seed, pollen), collection.traits, seed, pollen)


def _parents(collection: Collection, evidence: Evidence) -> Parents:
    mothers, fathers = (
        clones_of(collection.plants, [getattr(cross, side) for cross in evidence.crosses])
        for side in ("seed_plant", "pollen_plant")
    )
    return Parents(evidence.seed, evidence.pollen, mothers, fathers)


def _joined(parts: Sequence[Blind]) -> Blind:
    at = np.concatenate([np.empty(0, dtype=np.int64), *(part.at for part in parts)])
    names = [name for name in FORECASTS if parts and name in parts[0].chances]
    return Blind(at, {name: np.concatenate([part.chances[name] for part in parts]) for name in names})
