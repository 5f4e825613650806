"""Invented growers, drawn from the prior: a tree, species, crosses and the true chance of every pairing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.kinship import correlation
from crosscompat.model.prior import centre_of, effect_scales, prior_for
from crosscompat.pairing import Feature
from crosscompat.phylogeny.table import DistanceTable

DISTANCE = (Feature("distance"),)
MOST_FLOWERS = 10


@dataclass(frozen=True, slots=True)
class Grower:
    """What one grower crossed, and the truth behind it.

    Attributes
    ----------
    table : DistanceTable
        Distances on a random tree.
    seed, pollen : int arrays
        Parents of each cross.
    tried, took : float arrays
    logit : (k, k) float array
        Of every directed pairing, without the fate of single crosses.
    fate : float
        Standard deviation of that fate.
    """

    table: DistanceTable
    seed: np.ndarray
    pollen: np.ndarray
    tried: np.ndarray
    took: np.ndarray
    logit: np.ndarray
    fate: float


def coalescent(species, rng):
    """Return the distances of species on a random tree, all at the same depth (Kingman 1982, J Appl Prob 19A:27-43)."""
    distance, groups, height = np.zeros((species, species)), [[i] for i in range(species)], 0.0
    while len(groups) > 1:
        height += rng.exponential(2 / (len(groups) * (len(groups) - 1)))
        i, j = sorted(rng.choice(len(groups), 2, replace=False))
        distance[np.ix_(groups[i], groups[j])] = 2 * height
        groups[i] = groups[i] + groups.pop(j)
    return np.maximum(distance, distance.T)


def invent(species, crosses, rng):
    """Draw a grower with so many species and crosses."""
    distance = coalescent(species, rng)
    seed, pollen = np.nonzero(~np.eye(species, dtype=bool))
    pick = rng.choice(seed.size, crosses)
    seed, pollen = seed[pick], pollen[pick]
    logit, fate = _truth(distance, np.unique([seed, pollen]), rng)
    tried = rng.integers(1, MOST_FLOWERS + 1, crosses)
    own = logit[seed, pollen] + fate * rng.normal(size=crosses)
    took = rng.binomial(tried, 1 / (1 + np.exp(-own)))
    table = DistanceTable(tuple(f"s{i:02}" for i in range(species)), distance)
    return Grower(table, seed, pollen, tried, took, logit, fate)


def _truth(distance, crossed, rng):
    """Draw coefficients, variances and effects; the logit of every pairing and the sd of the fate of single crosses."""
    species = len(distance)
    sd = {name: abs(rng.normal()) * scale for name, scale in effect_scales("plain").items()}
    prior = prior_for("plain", DISTANCE)
    base, slope = rng.normal(prior.mean, prior.sd)
    relative = distance / distance[np.ix_(crossed, crossed)].max()
    order = np.concatenate([crossed, np.setdiff1d(np.arange(species), crossed)])
    shared = 0.5 * (distance.max() - distance)
    a = np.empty_like(distance)
    a[np.ix_(order, order)] = correlation(
        np.full(species, 0.5 * distance.max()), shared[np.ix_(order, order)], len(crossed)
    )
    share = rng.beta(2, 2)
    root = np.linalg.cholesky(share * a + (1 - share + 1e-10) * np.eye(species))
    mothers, fathers = root @ rng.normal(size=(species, 2)).T[:, :, None]
    pair = np.triu(rng.normal(size=(species, species)))
    logit = base + slope * (relative - centre_of(DISTANCE)[0])
    logit += sd["seed"] * mothers + sd["pollen"] * fathers.T + sd["pair"] * (pair + np.triu(pair, 1).T)
    return logit + sd["direction"] * rng.normal(size=logit.shape), sd["record"]
