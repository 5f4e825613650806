"""What a pairing would teach: held against updates of the joint belief that are worked out draw by draw."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import binom, spearmanr

from crosscompat.advice.candidates import wanted_pairs
from crosscompat.advice.parents import Parent
from crosscompat.advice.predict import asked_of, basis_of, parents_of
from crosscompat.advice.rank import rank
from crosscompat.advice.teach import teaching, variance_drop
from crosscompat.model.composition import Logits
from crosscompat.model.forecast import correlations

NAMES = ("Aus bus", "Aus cus", "Aus dus", "Aus eus", "Aus fus")
PAIRS = [(Parent(a.replace(" ", "_")), Parent(b.replace(" ", "_"))) for a in NAMES for b in NAMES if a != b]
DRAWS = 100_000


def by_draws(whole, together, tried, aims, flowers):
    """The same without a formula: weight draws of the joint belief by each outcome, and see how the chances spread."""
    root = np.linalg.cholesky(together * np.outer(whole.sd, whole.sd) + 1e-9 * np.eye(len(whole.sd)))
    logits = whole.mean + np.random.default_rng(7).standard_normal((DRAWS, len(whole.sd))) @ root.T
    chance = 1 / (1 + np.exp(-logits))
    before, found = chance[:, aims].var(axis=0), []
    for x in tried:
        after = np.zeros(len(aims))
        for took in range(flowers + 1):
            weight = binom.pmf(took, flowers, chance[:, x])
            share = weight / weight.sum()
            mean = share @ chance[:, aims]
            after += weight.mean() * (share @ chance[:, aims] ** 2 - mean**2)
        found.append(before - after)
    return np.array(found)


@pytest.mark.parametrize("crosses", [0, 4, 12])
@pytest.mark.parametrize("flowers", [1, 4])
def test_the_order_is_that_of_the_updates_themselves(collection, book, crosses, flowers):
    made = collection(book[::-1][:crosses])
    model, parents = basis_of(made).model, parents_of(PAIRS)
    asked = asked_of(made, model, parents)
    together = correlations(model, asked.rows, asked.pairings, parents)
    tried, aims = np.arange(len(PAIRS)), np.arange(0, len(PAIRS), 3)
    ours = variance_drop(asked.whole, together, tried, aims, flowers).sum(axis=1)
    theirs = by_draws(asked.whole, together, tried, aims, flowers).sum(axis=1)
    assert spearmanr(ours, theirs).statistic >= 0.9
    assert np.median(ours / theirs) == pytest.approx(1, abs=0.25)  # right in the middle, not in each


def test_a_pairing_that_shares_nothing_teaches_nothing():
    whole = Logits(np.zeros(2), np.ones(2))
    assert variance_drop(whole, np.eye(2), np.array([0]), np.array([1]), 5).tolist() == [[0.0]]


def test_more_flowers_teach_more_but_never_more_than_there_is_to_learn():
    whole = Logits(np.array([0.3]), np.array([1.5]))
    drops = [variance_drop(whole, np.ones((1, 1)), np.array([0]), np.array([0]), n)[0, 0] for n in (1, 2, 5, 50, 5000)]
    assert drops == sorted(drops)
    logits = whole.mean + whole.sd * np.random.default_rng(1).standard_normal(DRAWS)
    steep = np.mean(1 / (1 + np.exp(-logits)) * (1 - 1 / (1 + np.exp(-logits))))
    assert drops[-1] <= steep**2 * whole.sd[0] ** 2 * 1.01


def test_what_it_is_about_is_what_the_crosses_wanted_share_with_it(collection):
    made = collection(wanted=[("Aus bus", name) for name in NAMES[1:]])
    wanted, _ = wanted_pairs(made, made.wanted)
    aims = [(each.seed, each.pollen) for each in wanted]
    tried = [(Parent("Aus_bus"), Parent("Aus_eus")), (Parent("Aus_dus"), Parent("Aus_fus"))]
    mother, father = teaching(made, basis_of(made), tried, aims, 4)
    assert (mother.about, mother.says) == ("seed", "teaches whether Aus bus is a willing mother")
    assert father.about in {"pollen", "else"}
    assert mother.worth > father.worth > 0
    [alone] = teaching(made, basis_of(made), tried[:1], tried[:1], 4)
    assert alone.about == "pair"


def test_nothing_asked_nothing_taught(collection):
    made = collection()
    assert teaching(made, basis_of(made), [], [], 4) == []


def test_a_ranking_goes_by_what_is_asked(collection, book):
    made = collection(book, wanted=list(pairwise(NAMES)))
    candidates, _ = wanted_pairs(made, made.wanted)
    chance, teach, both = (rank(made, candidates, by=by) for by in ("chance", "teach", "both"))
    assert all(row.teaches is None for row in chance.rows)
    worths = [row.teaches.worth for row in teach.rows]
    best = max(worths)
    assert all(one >= two - 0.02 * best for one, two in pairwise(worths))
    top = max(row.chance.mean for row in both.rows)
    halves = [(row.chance.mean / top + row.teaches.worth / best) / 2 for row in both.rows]
    assert all(one >= two - 0.02 for one, two in pairwise(halves))
    assert (chance.by, teach.by, both.by) == ("chance", "teach", "both")
