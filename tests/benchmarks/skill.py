"""Held-out log loss: ``python tests/benchmarks/skill.py ../shared/data/crosses [PART ...] [--json]``.

``sets``: rows of one pair, both directions together, are held out at once. At most 25 pairs: each is left out in turn;
more: twenty folds, the mean over five shuffles. Standard errors are of the mean over the pairs held out; ``worse`` is
by how much the model does worse than the ridge with parents, with the standard error of that difference.

``genera``: published crosses of 39 genera, one genus at a time: with the crosses of the others in the fit; with none
and the shipped priors; with none and priors learned from the other genera (``learn_prior.py``). ``flora``: which pairs
of the British flora hybridise, ten folds of genera, with a free intercept. Standard errors there are over genera.

``curves``: the sets again, after a few crosses drawn at random, on pairs not among them, beside what the code before
said of the same draws. The model has its shipped settings for every set.
"""

from __future__ import annotations

import argparse
import json
import sys
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import roc_auc_score

sys.path.insert(0, str(Path(__file__).parent))

from crosses import SETS, british_flora, by_genus, published_genera

from crosscompat import TakeModel

FEW_GROUPS = 25
FOLDS, SHUFFLES, GENUS_FOLDS = 20, 5, 10
SIZES, REPEATS, FEWEST = (0, 5, 10, 20, 40), 100, 5
BEFORE_COMMIT = "94a35e8"
BEFORE = {
    "Nicotiana": {0: 0.694, 5: 0.569, 10: 0.478, 20: 0.387},
    "Schiedea, binary F1 fertility": {0: 0.679, 5: 0.572, 10: 0.496, 20: 0.413, 40: 0.339},
    "Schiedea, F1 viability, directed": {0: 0.684, 5: 0.621, 10: 0.571, 20: 0.521, 40: 0.489},
    "Drosophila, postzygotic index < 1": {0: 0.670, 5: 0.603, 10: 0.550, 20: 0.519, 40: 0.494},
}


@contextmanager
def believing(priors):
    """Let every model made within begin with other priors than those shipped."""
    from crosscompat.model import fitted

    with patch.object(fitted, "published", return_value=priors):
        yield


def shuffles(groups):
    """Return the groups held out, fold by fold, of every shuffle."""
    unique = np.unique(groups)
    if unique.size <= FEW_GROUPS:
        return [[np.array([group]) for group in unique]]
    return [np.array_split(np.random.default_rng(s).permutation(unique), FOLDS) for s in range(SHUFFLES)]


def base_rate(data, train, test):
    return np.full(test.sum(), data.took[train].mean())


def ridge(data, train, test, parents=None):
    """Return the chances of scikit-learn's ridge logistic regression on the distance, standardised."""
    known = data.distance[train]
    x = ((data.distance - known.mean()) / known.std())[:, None]
    x = x if parents is None else np.column_stack([x, parents])
    return LogisticRegression(max_iter=1000).fit(x[train], data.took[train]).predict_proba(x[test])[:, 1]


def ridge_with_parents(data, train, test):
    """Give each seed parent and each pollen parent a column."""
    sides = (data.crosses[side].to_numpy() for side in ("seed_parent", "pollen_parent"))
    return ridge(data, train, test, np.column_stack([side[:, None] == np.unique(side) for side in sides]))


def crosscompat(data, train, test):
    model = TakeModel(data.relatives)
    model = model.fit(data.crosses[train]) if train.any() else model
    return model.forecast(data.crosses[test])["chance"].to_numpy()


MODELS = {
    "base rate": base_rate,
    "ridge on distance": ridge,
    "ridge with parents": ridge_with_parents,
    "crosscompat": crosscompat,
}


def log_losses(took, chance):
    chance = np.clip(chance, 1e-15, 1 - 1e-15)
    return -np.where(took == 1, np.log(chance), np.log1p(-chance))


def losses(data, predict, folds):
    """Return the log loss of every row, its own fold held out."""
    found = np.empty(len(data.took))
    for fold in folds:
        test = np.isin(data.groups, fold)
        found[test] = log_losses(data.took[test], predict(data, ~test, test))
    return found


def held_out(data, predict, most=SHUFFLES):
    """Return the mean log loss over the shuffles, at most so many of them."""
    return float(np.mean([losses(data, predict, folds) for folds in shuffles(data.groups)[:most]]))


def error(loss, groups):
    """Return the standard error of a mean over rows, groups being drawn and not rows."""
    place = np.unique(groups, return_inverse=True)[1]
    away = np.bincount(place, loss - loss.mean())
    count = away.size
    return float(np.sqrt(count / (count - 1) * (away @ away)) / loss.size)


def sets(root):
    """Score each set, all models."""
    table = {}
    for read in SETS:
        data = read(root)
        folds = shuffles(data.groups)
        found = {name: np.mean([losses(data, f, each) for each in folds], axis=0) for name, f in MODELS.items()}
        table[data.name] = {name: (float(loss.mean()), error(loss, data.groups)) for name, loss in found.items()}
        worse = found["crosscompat"] - found["ridge with parents"]
        table[data.name]["worse"] = (float(worse.mean()), error(worse, data.groups))
    ratio = [row["crosscompat"][0] / row["ridge with parents"][0] for row in table.values()]
    table["Geometric mean against ridge with parents"] = {"ratio": (float(np.exp(np.mean(np.log(ratio)))), 0.0)}
    return table


def genera(root):
    """Score each of the published genera, of which nothing is known but the other genera."""
    from learn_prior import learned_priors, published_rows

    data = by_log_time(published_genera(root))
    each, rows = by_genus(data), published_rows(root)
    found = {name: np.empty(len(data.took)) for name in (*MODELS, "no crosses", "no crosses, priors of other genera")}
    for genus, own in each.items():
        test = data.genera == genus
        for name, predict in MODELS.items():
            found[name][test] = predict(data, ~test, test)
        nothing, everything = np.zeros(test.sum(), bool), np.ones(test.sum(), bool)
        found["no crosses"][test] = crosscompat(own, nothing, everything)
        with believing(learned_priors(rows[rows["genus"] != genus])):
            found["no crosses, priors of other genera"][test] = crosscompat(own, nothing, everything)
    scored = {name: log_losses(data.took, chance) for name, chance in found.items()}
    return {data.name: {name: (float(loss.mean()), error(loss, data.genera)) for name, loss in scored.items()}}


def by_log_time(data):
    """Let the ridge read the distance as log(1 + My)."""
    return replace(data, distance=np.log1p(data.distance))


def with_level(known, took, chance):
    """Return chances shifted by the intercept that fits some known outcomes best."""
    logit = np.log(chance / (1 - chance))
    level = 0.0
    for _ in range(50):
        p = 1 / (1 + np.exp(-logit[known] - level))
        level += (took[known] - p).sum() / (p * (1 - p)).sum()
    return 1 / (1 + np.exp(-logit - level))


def flora(root):
    """Rank the pairs of the British flora."""
    data = by_log_time(british_flora(root))
    alone = np.empty(len(data.took))
    for genus, own in by_genus(data).items():
        everything = np.ones(len(own.took), bool)
        alone[data.genera == genus] = crosscompat(own, ~everything, everything)
    chances = {
        name: np.empty(len(data.took)) for name in ("base rate", "ridge on distance", "no crosses", "crosscompat")
    }
    for fold in np.array_split(np.random.default_rng(0).permutation(np.unique(data.genera)), GENUS_FOLDS):
        test = np.isin(data.genera, fold)
        for name in ("base rate", "ridge on distance", "crosscompat"):
            chances[name][test] = MODELS[name](data, ~test, test)
        chances["no crosses"][test] = with_level(~test, data.took, alone)[test]
    scored = {name: log_losses(data.took, chance) for name, chance in chances.items()}
    table = {name: (float(loss.mean()), error(loss, data.genera)) for name, loss in scored.items()}
    chances["no crosses"] = alone
    areas = {f"{name}, area": (float(roc_auc_score(data.took, chance)), 0.0) for name, chance in chances.items()}
    return {data.name: table | areas}


def curve(data, size, repeats=REPEATS):
    """Return the log loss of each repeat, on pairs not among so many crosses drawn at random."""
    if size == 0:
        return log_losses(data.took, crosscompat(data, np.zeros(len(data.took), bool), np.ones(len(data.took), bool)))
    found = []
    for repeat in range(repeats):
        train = np.zeros(len(data.took), bool)
        train[np.random.default_rng(repeat).permutation(len(train))[:size]] = True
        test = ~np.isin(data.groups, data.groups[train])
        if test.sum() >= FEWEST:
            found.append(log_losses(data.took[test], crosscompat(data, train, test)).mean())
    return np.array(found)


def curves(root, repeats=REPEATS):
    """Score each set after a few crosses, and the mean change from the code before."""
    table = {}
    for read in SETS:
        data, row = read(root), {}
        for size in SIZES:
            found = curve(data, size, repeats)
            if found.size:
                row[f"{size} crosses"] = (float(found.mean()), float(found.std(ddof=1) / np.sqrt(found.size)))
                if data.name in BEFORE:
                    row[f"{size} crosses, {BEFORE_COMMIT}"] = (BEFORE[data.name][size], 0.0)
        table[f"{data.name}, few crosses"] = row
    changes = {}
    for size in SIZES:
        keys = (f"{size} crosses", f"{size} crosses, {BEFORE_COMMIT}")
        pairs = [[row[key][0] for key in keys] for row in table.values() if all(key in row for key in keys)]
        if pairs:
            changes[keys[0]] = (float(np.mean([now - was for now, was in pairs])), 0.0)
    return {**table, f"Mean change from {BEFORE_COMMIT}": changes}


PARTS = {"sets": sets, "genera": genera, "flora": flora, "curves": curves}


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("crosses", type=Path)
    parser.add_argument("parts", metavar="PART", nargs="*", choices=[[], *PARTS], help=", ".join(PARTS))
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    table = {}
    for part in given.parts or PARTS:
        rows = PARTS[part](given.crosses)
        table |= {name: {key: [round(x, 4) for x in cell] for key, cell in row.items()} for name, row in rows.items()}
        if not given.json:
            for name, row in rows.items():
                cells = (f"{key} {value:.3f}" + (f" ({se:.3f})" if se else "") for key, (value, se) in row.items())
                sys.stdout.write(f"{name:42}" + "  ".join(cells) + "\n")
                sys.stdout.flush()
    if given.json:
        sys.stdout.write(json.dumps(table, indent=1) + "\n")


if __name__ == "__main__":
    main()
