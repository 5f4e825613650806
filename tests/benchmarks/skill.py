"""Held-out log loss on published crosses: ``python tests/benchmarks/skill.py ../shared/data/crosses [--json]``.

Rows of one pair, both directions together, are held out at once. At most 25 pairs: each is left out in turn; more:
twenty folds, the mean over five shuffles. The model has its shipped settings for every set.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import numpy as np
from sklearn.linear_model import LogisticRegression

sys.path.insert(0, str(Path(__file__).parent))

from crosses import SETS

from crosscompat import TakeModel

FEW_GROUPS = 25
FOLDS, SHUFFLES = 20, 5


def shuffles(groups):
    """Return the groups held out, fold by fold, of every shuffle."""
    unique = np.unique(groups)
    if unique.size <= FEW_GROUPS:
        return [[np.array([group]) for group in unique]]
    return [np.array_split(np.random.default_rng(s).permutation(unique), FOLDS) for s in range(SHUFFLES)]


def base_rate(data, train, test):
    return np.full(test.sum(), data.took[train].mean())


def ridge(data, train, test):
    """Return the chances of scikit-learn's ridge logistic regression on the distance, standardised."""
    known = data.distance[train]
    x = ((data.distance - known.mean()) / known.std())[:, None]
    return LogisticRegression().fit(x[train], data.took[train]).predict_proba(x[test])[:, 1]


def crosscompat(data, train, test):
    return TakeModel(data.relatives).fit(data.crosses[train]).forecast(data.crosses[test])["chance"].to_numpy()


MODELS = {"base rate": base_rate, "ridge logistic on distance": ridge, "crosscompat": crosscompat}


def log_loss(took, chance):
    chance = np.clip(chance, 1e-15, 1 - 1e-15)
    return float(-np.mean(np.where(took == 1, np.log(chance), np.log1p(-chance))))


def held_out(data, predict, most=SHUFFLES):
    """Return the mean log loss over the shuffles, at most so many of them."""
    losses = []
    for folds in shuffles(data.groups)[:most]:
        chance = np.empty(len(data.took))
        for fold in folds:
            test = np.isin(data.groups, fold)
            chance[test] = predict(data, ~test, test)
        losses.append(log_loss(data.took, chance))
    return float(np.mean(losses))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("crosses", type=Path)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    table = {}
    for read in SETS:
        data = read(given.crosses)
        table[data.name] = {name: round(held_out(data, predict), 4) for name, predict in MODELS.items()}
    if given.json:
        sys.stdout.write(json.dumps(table, indent=1) + "\n")
        return
    for name, losses in table.items():
        sys.stdout.write(f"{name:36}" + "  ".join(f"{model} {loss:.3f}" for model, loss in losses.items()) + "\n")


if __name__ == "__main__":
    main()
