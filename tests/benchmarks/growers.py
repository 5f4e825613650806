"""Invented growers, drawn from the prior: a tree, plants, crosses, and the true chance of pairings not yet made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from crosscompat.model.composition import SeedsPerPod, prior_shares, share_means
from crosscompat.model.pairings import correlation
from crosscompat.model.prior import published
from crosscompat.pairing import recipe_for, scale_of
from crosscompat.phylogeny.distances import DistanceTable
from crosscompat.stages import STAGES, WHOLE

MOST_FLOWERS, PLANTS, ASKED = 10, 2, 20
SEEDS = SeedsPerPod(20.0, 1.0)
AGE = (2.0, 20.0)
"""Between these lies the distance across the root in My; drawn on the log scale."""

WALL, DEAD, SHARE_DEAD, DIRECTION = -6.0, -6.0, 0.2, 2.5
WORLDS = ("wall", "dead pollen", "direction")
"""What the prior does not expect: nothing crosses the root; a fifth of the species is no use as pollen parent; the two
directions of a pair differ by far more than their parents do."""


@dataclass(frozen=True, slots=True)
class Grower:
    """What one grower crossed, and the truth behind pairings not among the crosses.

    Attributes
    ----------
    table : DistanceTable
        Distances on a random tree.
    crosses, asked : DataFrame
        As `TakeModel` reads them.
    truth : float array
        Logit of the chance of a flower of each pairing asked about.
    """

    table: DistanceTable
    crosses: pd.DataFrame
    asked: pd.DataFrame
    truth: np.ndarray


def coalescent(species, rng):
    """Return the distances of species on a random tree, all at the same depth (Kingman 1982, J Appl Prob 19A:27-43)."""
    distance, groups, height = np.zeros((species, species)), [[i] for i in range(species)], 0.0
    while len(groups) > 1:
        height += rng.exponential(2 / (len(groups) * (len(groups) - 1)))
        i, j = sorted(rng.choice(len(groups), 2, replace=False))
        distance[np.ix_(groups[i], groups[j])] = 2 * height
        groups[i] = groups[i] + groups.pop(j)
    return np.maximum(distance, distance.T)


def invent(species, crosses, rng, *, staged=False, world=None):
    """Draw a grower with so many species and crosses, who counts pods and seeds, or only what came up."""
    distance = coalescent(species, rng)
    distance *= np.exp(rng.uniform(*np.log(AGE))) / distance.max()
    names = np.array([f"s{i:02}" for i in range(species)], dtype=object)
    table = DistanceTable(tuple(names), distance, unit="My")
    pairs = np.argwhere(~np.eye(species, dtype=bool))
    made = pairs[rng.choice(len(pairs), crosses)]
    new = pairs[~np.isin(pairs @ [species, 1], made @ [species, 1])]
    new = new[rng.choice(len(new), min(ASKED, len(new)), replace=False)]
    both = np.concatenate([made, new])
    plants = rng.integers(0, PLANTS, both.shape)
    plants[crosses:] = PLANTS  # never crossed before
    logits = draw_logits(table, both, plants, np.unique(made), rng, staged=staged, world=world)
    who = pd.DataFrame({"seed_parent": names[both[:, 0]], "pollen_parent": names[both[:, 1]]})
    for side, column in enumerate(("seed_plant", "pollen_plant")):
        who[column] = [f"{names[s]} {i}" for s, i in zip(both[:, side], plants[:, side], strict=True)]
    flowers = rng.integers(1, MOST_FLOWERS + 1, crosses)
    counts = (_by_stage if staged else _taken)(flowers, {name: each[:crosses] for name, each in logits.items()}, rng)
    truth = {name: each[crosses:] for name, each in logits.items()}
    return Grower(table, who[:crosses].assign(**counts), who[crosses:], _whole(truth) if staged else truth[WHOLE])


def draw_logits(table, pairs, plants, crossed, rng, *, staged, world):
    """Draw the logit of every step of some pairings, the fate of each included."""
    recipe, priors = recipe_for(None, scale_of(table)), published()
    prior = priors.prior_for(recipe.features)
    seed, pollen = pairs.T
    apart = table.patristic_matrix()
    distance = apart[seed, pollen]
    design = np.column_stack([np.ones(len(pairs)), recipe.scale.rows(distance)])
    across = distance >= 0.999 * apart.max()
    dead = (rng.random(len(table.tips)) < SHARE_DEAD)[pollen]
    root = _kin(apart, crossed, rng.beta(2, 2))
    steps = share_means(design @ prior.mean, SEEDS) if staged else {WHOLE: design @ prior.mean}
    found = {}
    for step in STAGES if staged else [WHOLE]:
        spread = prior_shares(SEEDS)[step]
        sd = {name: abs(rng.normal()) * scale for name, scale in priors.effect_scales(step, spread).items()}
        if world == "direction":
            sd["direction"] = spread * DIRECTION
        eta = steps[step] + design @ (spread * prior.sd * rng.normal(size=prior.sd.size))
        own = root @ rng.normal(size=(2, len(table.tips), 1))
        of_plants = rng.normal(size=(2, len(table.tips), PLANTS + 1))
        eta += sd["seed"] * own[0, seed, 0] + sd["pollen"] * own[1, pollen, 0]
        eta += (
            sd["seed_plant"] * of_plants[0, seed, plants[:, 0]]
            + sd["pollen_plant"] * of_plants[1, pollen, plants[:, 1]]
        )
        own = rng.normal(size=(2, *apart.shape))
        eta += (
            sd["pair"] * own[0][np.minimum(seed, pollen), np.maximum(seed, pollen)]
            + sd["direction"] * own[1][seed, pollen]
        )
        hit = {"wall": WALL * across, "dead pollen": DEAD * dead}.get(world, 0.0)
        found[step] = eta + hit * (step in {WHOLE, "set"}) + sd["record"] * rng.normal(size=len(pairs))
    return found


def _kin(apart, crossed, share):
    """Return a root of the covariance of the effects of species."""
    order = np.concatenate([crossed, np.setdiff1d(np.arange(len(apart)), crossed)])
    shared = 0.5 * (apart.max() - apart)
    a = np.empty_like(shared)
    tips = np.full(len(order), 0.5 * apart.max())
    a[np.ix_(order, order)] = correlation(tips, shared[np.ix_(order, order)], len(crossed))
    return np.linalg.cholesky(share * a + (1 - share + 1e-10) * np.eye(len(order)))


def _taken(flowers, logits, rng):
    return {"tried": flowers, "took": rng.binomial(flowers, expit(logits[WHOLE]))}


def _by_stage(flowers, logits, rng):
    return counts_by_stage(flowers, expit(np.array([logits[stage] for stage in STAGES])), rng)


def counts_by_stage(flowers, chance, rng):
    """Draw every count from flowers to seedlings, given the chance of each stage, shape (4, n_crosses)."""
    pods = rng.binomial(flowers, chance[0])
    ripe = rng.binomial(pods, chance[1])
    many = rng.negative_binomial(np.maximum(ripe, 1) * SEEDS.size, SEEDS.size / (SEEDS.size + SEEDS.mean))
    seeds = np.where(ripe > 0, many, 0)
    good = rng.binomial(seeds, chance[2])
    counts = {"units": flowers, "pods_set": pods, "pods_held": ripe, "seeds": seeds}
    return {**counts, "seeds_filled": good, "seeds_sown": good, "seedlings": rng.binomial(good, chance[3])}


def _whole(logits):
    """Return the logit of at least one seedling from a flower."""
    chance = {step: expit(each) for step, each in logits.items()}
    pod = SEEDS.any_of_them(chance["fill"] * chance["germinate"])
    return logit(np.clip(chance["set"] * chance["hold"] * pod, 1e-300, 1 - 1e-15))
