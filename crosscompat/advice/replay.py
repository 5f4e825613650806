"""What would have been said of each cross when it was made: every season forecast from the seasons before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from crosscompat.advice.figures import Interval, interval_at, outcome_of
from crosscompat.advice.predict import chances_of, clones_on_both_sides, fitted_on, training_set_of
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of
from crosscompat.ground.names import correct_form
from crosscompat.model.pairings import Parents


@dataclass(frozen=True, slots=True)
class Replayed:
    """A finished cross, the chance of a seedling that the seasons before it would have given it, and what came of it.

    Attributes
    ----------
    learned_from : int
        Crosses of earlier seasons behind the chance; without any it is the general starting guess.
    outcome : str
        ``took`` or ``failed``.
    """

    number: str
    date: date
    seed_parent: str
    pollen_parent: str
    flowers: int
    chance: Interval
    learned_from: int
    outcome: str


def replay(collection: Collection, as_of: date) -> list[Replayed]:
    """Return every finished cross of a collection with the chance it would have been given, oldest first.

    A season is forecast by a model that was fitted on the crosses of earlier seasons alone, as they are known on the
    day ``as_of``; the first one by the prior.
    """
    evidence = training_set_of(collection, as_of)
    season = np.array(
        [season_of(cross.date, collection.settings.season_start) for cross in evidence.crosses], dtype=int
    )
    known, replayed = evidence.outcomes.known, []
    for year in sorted(set(season[known].tolist())):
        before = np.flatnonzero(season < year).tolist()
        held = evidence[np.flatnonzero((season == year) & known).tolist()]
        parents = Parents(held.seed, held.pollen, *clones_on_both_sides(collection.plants, held.crosses))
        flowers = held.outcomes.tried.astype(int)
        chances = chances_of(collection, fitted_on(collection, evidence[before]), parents, flowers)
        for i, cross in enumerate(held.crosses):
            names = correct_form(held.seed[i]), correct_form(held.pollen[i])
            made = (cross.number, cross.date, *names, int(flowers[i]))
            replayed.append(Replayed(*made, interval_at(chances, i), len(before), outcome_of(cross)))
    return sorted(replayed, key=lambda each: each.date)
