"""Six seasons of invented growers: ``python tests/benchmarks/seasons.py [GROWERS]``.

A grower with a list of wishes makes a few of them each season, those without a seedling yet, and chooses by chance,
by what a cross would teach about the wishes, by both (half, a fifth or a tenth of it teaching), by nearness on the
tree, or at random. The truth is drawn from the prior. Told are the wishes that gave a seedling so far, and the mean
squared error of the forecasts of all the wishes, with what choosing by chance came to and the standard error of that
difference over growers, who are the same for every way of choosing.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import expit

sys.path.insert(0, str(Path(__file__).parent))

from growers import AGE, SEEDS, coalescent, draw_logits

from crosscompat import TakeModel
from crosscompat.advice.rank import variance_drop
from crosscompat.model.forecast import chances, correlations, put_to
from crosscompat.model.pairings import Parents
from crosscompat.phylogeny.distances import DistanceTable
from crosscompat.phylogeny.taxa import HybridIndex, Taxa
from crosscompat.stages import WHOLE

SPECIES, WISHES, EACH, FLOWERS, SEASONS = 14, 100, 6, 3, 6
WAYS = ("chance", "tenth", "fifth", "half", "teach", "nearest", "random")


def world(rng):
    """Draw a tree, the wishes of a grower, and the true chance of a flower of each."""
    distance = coalescent(SPECIES, rng)
    distance *= np.exp(rng.uniform(*np.log(AGE))) / distance.max()
    names = np.array([f"s{i:02}" for i in range(SPECIES)], dtype=object)
    table = DistanceTable(tuple(names), distance, unit="My")
    pairs = np.argwhere(~np.eye(SPECIES, dtype=bool))
    pairs = pairs[rng.choice(len(pairs), WISHES, replace=False)]
    plants = np.zeros(pairs.shape, dtype=int)
    logits = draw_logits(table, pairs, plants, np.arange(SPECIES), rng, staged=False, world=None)[WHOLE]
    wishes = pd.DataFrame({"seed_parent": names[pairs[:, 0]], "pollen_parent": names[pairs[:, 1]]})
    return table, wishes, distance[tuple(pairs.T)], expit(logits)


def fitted(table, crosses):
    model = TakeModel(table, seeds_per_pod=SEEDS.mean)
    return model.fit(crosses) if len(crosses) else model


def worth(way, model, table, wishes, distance, rng):
    """Return how much each wish is worth trying, shape (n_wishes,)."""
    if way == "random":
        return rng.random(len(wishes))
    if way == "nearest":
        return -distance
    parents = Parents(list(wishes.seed_parent), list(wishes.pollen_parent))
    rows, asked, believed = put_to(model.fitted_, Taxa(table, HybridIndex(table.tips)), None, parents)
    chance = chances(believed.whole, FLOWERS).mean
    if way == "chance":
        return chance
    every = np.arange(len(wishes))
    together = correlations(model.fitted_, rows, asked, parents)
    lesson = variance_drop(believed.whole, together, every, every, FLOWERS).sum(axis=1)
    share = {"teach": 1.0, "half": 0.5, "fifth": 0.2, "tenth": 0.1}[way]
    return (1 - share) * chance / chance.max() + share * lesson / lesson.max()


def play(way, seed):
    """Return the wishes with a seedling, and the mean squares of error and truth, after each season, (SEASONS, 3)."""
    table, wishes, distance, truth = world(np.random.default_rng(seed))
    rng = np.random.default_rng([seed, 7])
    luck = rng.random((SEASONS, WISHES, FLOWERS))  # the same flowers fail whoever chooses them
    done, made, told = np.zeros(WISHES, dtype=bool), [], []
    model = fitted(table, pd.DataFrame())
    at_least_one = 1 - (1 - truth) ** FLOWERS
    spread = np.mean((at_least_one - at_least_one.mean()) ** 2)
    for season in range(SEASONS):
        value = np.where(done, -np.inf, worth(way, model, table, wishes, distance, rng))
        chosen = np.argsort(-value, kind="stable")[:EACH]
        chosen = chosen[~done[chosen]]
        took = (luck[season, chosen] < truth[chosen, None]).sum(axis=1)
        done[chosen[took > 0]] = True
        made.append(wishes.iloc[chosen].assign(tried=FLOWERS, took=took))
        model = fitted(table, pd.concat(made, ignore_index=True))
        said = model.forecast(wishes, FLOWERS)["chance"].to_numpy()
        told.append((done.sum(), np.mean((said - at_least_one) ** 2), spread))
    return np.array(told, dtype=float)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("growers", type=int, nargs="?", default=50)
    parser.add_argument("--csv", type=Path, help="where the means by season go, for the notebook")
    options = parser.parse_args()
    rows = []
    for grower in range(options.growers):
        for way in WAYS:
            for season, (wishes, error, spread) in enumerate(play(way, grower), 1):
                rows.append((way, grower, season, wishes, error, spread))
    found = pd.DataFrame(rows, columns=["way", "grower", "season", "wishes", "error", "spread"])
    if options.csv is not None:
        means = found.groupby(["way", "season"], sort=False)[["wishes", "error", "spread"]].mean()
        skill = 1 - means.error / means.spread
        means = means.assign(skill=skill, growers=options.growers).drop(columns="spread")
        means.round(4).to_csv(options.csv, lineterminator="\n")
    n = options.growers
    sys.stdout.write(f"mean of {n} growers, after seasons 1 to {SEASONS}; last season against chance (error)\n")
    for measure in ("wishes", "error"):
        report(measure, found.pivot_table(measure, ["way", "grower"], "season", sort=False))


def report(measure, found):
    sys.stdout.write(f"{measure}\n")
    for way in WAYS:
        gap = found.loc[way][SEASONS] - found.loc["chance"][SEASONS]
        mean = " ".join(f"{value:7.3f}" for value in found.loc[way].mean())
        sys.stdout.write(f"  {way:8} {mean}   {gap.mean():+.3f} ({gap.sem():.3f})\n")


if __name__ == "__main__":
    main()
