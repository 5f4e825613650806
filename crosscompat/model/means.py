"""The mean chance of a seedling of very many pairings, without the whole of its distribution.

The chance from some units is a function of the product of two chances: of a ripe pod, and of a seedling from it. Such a
function is nearly a short sum of products of one function of each. So its mean is a short sum of products of two means,
each of two stages alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from crosscompat.model.histogram import Masses, bin_points, from_seed, mass_inside, put_together, stage_masses
from crosscompat.model.likelihood import Floats, chance
from crosscompat.model.seeds import SeedsPerPod

__all__ = ["MeanChance", "mean_chance"]

_LOWEST, _PLACES = -16.0, 321
_FAINT = 1e-6


@dataclass(frozen=True, slots=True)
class MeanChance:
    """The two factors of the chance of at least one seedling.

    Attributes
    ----------
    ripe, seedling : ndarray of float, shape (n_bins ** 2, n_terms)
        What each pair of bins adds to each term: of setting and holding, of filling and germinating.
    shift : float
        How much lower the bins of filling lie than the others.
    """

    ripe: Masses
    seedling: Masses
    shift: float

    def of(self, mean: Floats, sd: Floats) -> Floats:
        """Return the mean chance of pairings.

        Parameters
        ----------
        mean, sd : ndarray of float, shape (4, n_pairs)
            Of the logit of each stage; the standard deviations at least `histogram.NARROWEST`.

        Returns
        -------
        ndarray of float, shape (n_pairs,)
        """
        found = np.empty(mean.shape[1])
        for part, set_, hold, fill, germinate, space in stage_masses(mean, sd, self.shift, np.float32):
            terms = put_together(set_, hold, self.ripe, space)
            terms *= put_together(fill, germinate, self.seedling, space)
            found[part] = terms.sum(axis=1)
        return np.clip(found, 0.0, 1.0)


@lru_cache(maxsize=8)
def mean_chance(seeds: SeedsPerPod, pod_sd: float, units: int) -> MeanChance:
    """Return the factors for some number of seeds per pod and some number of units.

    Parameters
    ----------
    seeds : SeedsPerPod
    pod_sd : float
        How widely pods of one cross differ in filling, in logits.
    units : int

    Examples
    --------
    Four stages around an even chance, one seed a pod: one unit in sixteen gives a seedling.

    >>> one = mean_chance(SeedsPerPod(1.0, 1.0, cap=1), 0.0, 1)
    >>> one.of(np.zeros((4, 1)), np.full((4, 1), 0.6)).round(2).tolist()
    [0.06]
    """
    logs = np.linspace(_LOWEST, 0.0, _PLACES)
    whole = -np.expm1(units * np.log1p(-np.minimum(np.exp(logs[:, None] + logs), 1.0 - 1e-16)))
    left, size, right = np.linalg.svd(whole)
    terms = size > _FAINT * size[0]
    points, shift = bin_points(), float(np.log(max(seeds.mean, 1e-12)))
    ripe = chance(points)[:, None] * chance(points)
    seedling = from_seed(seeds, points[:, None] - shift, points, pod_sd)
    return MeanChance(_factor(logs, left[:, terms] * size[terms], ripe), _factor(logs, right[terms].T, seedling), shift)


def _factor(logs: Floats, functions: Floats, chances: Floats) -> Masses:
    """Return the mean of each function of a chance's logarithm over each pair of bins."""
    inside, place = mass_inside(), np.log(np.maximum(chances, np.exp(_LOWEST)))
    means = [inside.T @ np.interp(place, logs, function) @ inside for function in functions.T]
    return np.stack([mean.ravel() for mean in means], axis=1).astype(np.float32)
