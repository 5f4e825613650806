from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import binom, spearmanr

from crosscompat.advice.ask import ask
from crosscompat.advice.parents import Parent
from crosscompat.advice.predict import basis_of, parents_of, predict
from crosscompat.advice.rank import among_species, partners_of, rank, teaching, variance_drop, wanted_pairs
from crosscompat.book.current_plants import Plant
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.model.composition import Logits
from crosscompat.model.forecast import chances, correlations
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.show.chances import TELLS_APART

BENCH = [
    Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("B", "Aus bus", "B"), Plant("C", "Aus cus", "C"),
]  # fmt: skip


def pairs(candidates):
    return [(candidate.seed.label, candidate.pollen.label) for candidate in candidates]


def names(ranking):
    return [(row.seed_parent, row.pollen_parent) for row in ranking.rows]


def test_a_species_named_twice_makes_each_pairing_once(collection):
    made = collection()
    assert len(among_species(made, ["Aus bus", "Aus cus", "Aus_bus"])) == 2
    assert among_species(made, ["Aus bus", "Aus bus"]) == []
    assert len(partners_of(made, "Aus bus", ["Aus cus", "Aus cus"])) == 2


def test_every_figure_is_that_of_asking(trained, book):
    made = trained(book)
    candidates = among_species(made, ["Aus bus", "Aus cus", "Aus eus"])
    ranking = rank(made, candidates, flowers=4)
    assert len(ranking.rows) == 6
    for row in ranking.rows:
        answer = ask(made, row.seed_parent, row.pollen_parent, flowers=4).pairing
        for one, other in ((row.chance, answer.chance), (row.per_flower, answer.per_flower)):
            assert [one.mean, one.low, one.high] == pytest.approx([other.mean, other.low, other.high], abs=1e-12)
        assert (row.verdict, row.past, row.cautions) == (answer.verdict, answer.past, answer.cautions)
        assert row.relative_distance == pytest.approx(answer.distance.relative)
    assert ranking.basis == ask(made, "Aus bus", "Aus cus").basis


def test_the_best_comes_first_and_places_count_from_one(trained, book):
    made = trained(book)
    ranking = rank(made, partners_of(made, "Aus bus"))
    groups = {}
    for row in ranking.rows:
        groups.setdefault(row.place, []).append(row.chance.mean)
    assert len(ranking.rows) == 8
    assert [row.equal for row in ranking.rows] == [len(groups[row.place]) for row in ranking.rows]
    assert list(groups) == [1 + sum(len(groups[p]) for p in groups if p < place) for place in groups]
    best = [max(means) for means in groups.values()]
    assert all(one - max(means) > TELLS_APART for one, means in zip(best, list(groups.values())[1:], strict=False))
    assert all(max(means) - min(means) <= TELLS_APART for means in groups.values())


def test_equal_chances_stand_by_want_and_then_by_name(collection):
    star = parse_newick("(Aus_dus:1,Aus_bus:1,Aus_cus:1,Aus_aus:1);")
    made = collection(distances=star, traits=None)
    everyone = among_species(made, ["Aus dus", "Aus bus", "Aus cus", "Aus aus"])
    by_name = sorted(tuple(part.label.replace("_", " ") for part in (c.seed, c.pollen)) for c in everyone)
    assert names(rank(made, everyone)) == names(rank(made, everyone[::-1])) == by_name
    wants = {("Aus_dus", "Aus_cus"): 5, ("Aus_cus", "Aus_aus"): 3, ("Aus_bus", "Aus_aus"): 3}
    wanted = [replace(c, want=wants.get((c.seed.label, c.pollen.label))) for c in everyone]
    assert names(rank(made, wanted))[:4] == [
        ("Aus dus", "Aus cus"), ("Aus bus", "Aus aus"), ("Aus cus", "Aus aus"), ("Aus aus", "Aus bus"),
    ]  # fmt: skip


def test_partners_are_ranked_both_ways_and_without_the_species_itself(collection):
    found = pairs(partners_of(collection(), "Aus bus"))
    others = ["Aus_cus", "Aus_dus", "Aus_eus", "Aus_fus"]
    assert found == [pair for other in others for pair in (("Aus_bus", other), (other, "Aus_bus"))]


def test_partners_may_be_a_few_species_or_plants(collection):
    found = partners_of(collection(plants=BENCH), "A1", ["A. dus", "C", "A2"])
    assert pairs(found) == [
        ("Aus_bus", "Aus_dus"), ("Aus_dus", "Aus_bus"), ("Aus_bus", "Aus_cus"), ("Aus_cus", "Aus_bus"),
    ]  # fmt: skip
    assert [candidate.pollen.plant and candidate.pollen.plant.plant for candidate in found] == [None, "A1", "C", "A1"]
    with pytest.raises(UnknownName):
        partners_of(collection(), "Aus bus", ["Aus nus"])


def test_among_some_every_directed_pair_comes_once(collection):
    found = pairs(among_species(collection(), ["Aus bus", "Aus cus", "Aus dus"]))
    assert len(found) == len(set(found)) == 6


def test_two_offsets_among_some_are_passed_over(collection):
    found = among_species(collection(plants=BENCH), ["A1", "A2", "C"])
    assert [(c.seed.plant.plant, c.pollen.plant.plant) for c in found] == [
        ("A1", "C"), ("A2", "C"), ("C", "A1"), ("C", "A2"),
    ]  # fmt: skip


def test_rows_of_the_crosses_wanted_that_can_be_none_are_told_with_row_and_reason(collection):
    made = collection(
        plants=BENCH,
        wanted=[
            ("Aus bus", "A. cus", 5, "hardy"),
            ("A1", "A2"),
            ("A1", "B", 2),
            ("Aus bus", "Aus nus"),
            ("C", "A. dus"),
        ],
    )
    candidates, refused = wanted_pairs(made, made.wanted)
    assert pairs(candidates) == [("Aus_bus", "Aus_cus"), ("Aus_bus", "Aus_bus"), ("Aus_cus", "Aus_dus")]
    assert [(c.want, c.note) for c in candidates] == [(5, "hardy"), (2, None), (None, None)]
    assert [(entry.row, entry.seed_parent, entry.pollen_parent) for entry in refused] == [
        (3, "A1", "A2"), (5, "Aus bus", "Aus nus"),
    ]  # fmt: skip
    assert "one plant" in refused[0].why
    assert "Did you mean" in refused[1].why
    ranking = rank(made, candidates, refused=refused)
    assert ranking.refused == refused
    assert {row.want for row in ranking.rows} == {5, 2, None}


def test_nothing_to_rank_is_an_empty_ranking(collection):
    ranking = rank(collection(), [])
    assert (ranking.rows, ranking.refused, ranking.notes) == ([], [], [])


def test_each_candidate_is_worked_through_once_under_watch(collection):
    made, seen = collection(), []

    def watch(numbers):
        for number in numbers:
            seen.append(number)
            yield number

    rank(made, partners_of(made, "Aus bus"), watch=watch)
    assert seen == list(range(8))


def test_flowers_must_be_one_at_least(collection):
    with pytest.raises(WrongUse, match="at least 1"):
        rank(collection(), [], flowers=0)


def test_how_names_were_read_is_told_once(collection):
    made = collection(notices=("Upgraded.",))
    asked = partners_of(made, "Aus bus subsp. longus", ["Aus cus", "Aus dus"])
    assert len(rank(made, asked).notes) == 2


def test_a_dead_plant_is_not_proposed(collection):
    dead = Plant("B1", "Aus bus", "B1", died=date(2025, 8, 1))
    living = Plant("C1", "Aus cus", "C1")
    ours = collection(plants=[dead, living], wanted=[("B1", "C1"), ("C1", "B1"), ("C1", "Aus bus")])
    candidates, refused = wanted_pairs(ours, ours.wanted)
    assert [(one.seed.plant, one.pollen.plant) for one in candidates] == [(living, None)]
    assert [(one.row, one.why) for one in refused] == [(2, "B1 is dead since 1 August 2025."), (3, refused[0].why)]
    assert among_species(ours, ["B1", "C1"]) == partners_of(ours, "B1", ["C1"]) == []
    assert len(partners_of(ours, "C1", ["B1", "Aus dus"])) == 2


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
    asked = predict(made, model, parents)
    together = correlations(model, asked.rows, asked.pairings, parents)
    tried, aims = np.arange(len(PAIRS)), np.arange(0, len(PAIRS), 3)
    ours = variance_drop(asked.whole, together, tried, aims, flowers).sum(axis=1)
    theirs = by_draws(asked.whole, together, tried, aims, flowers).sum(axis=1)
    assert spearmanr(ours, theirs).statistic >= 0.9
    assert np.median(ours / theirs) == pytest.approx(1, abs=0.25)  # right in the middle, not in each


def moved_by_refits(collection, crosses, cross, tried, aims, flowers):
    """Refit with each outcome a trial can have: how far, squared, the chances of the crosses wanted move on average.

    By the law of total variance that is the expected drop of their variance.
    """

    def believed(book, pairs):
        made = collection(book)
        return predict(made, basis_of(made).model, parents_of(pairs)).whole

    before, trials = chances(believed(crosses, aims)).mean, believed(crosses, tried)
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)
    found = []
    for i, (seed, pollen) in enumerate(tried):
        chance = 1 / (1 + np.exp(-(trials.mean[i] + trials.sd[i] * nodes)))
        after = [
            chances(believed([*crosses, cross(seed.name, pollen.name, flowers, took, cross="new")], aims)).mean
            for took in range(flowers + 1)
        ]
        likely = [binom.pmf(took, flowers, chance) @ weights / weights.sum() for took in range(flowers + 1)]
        found.append(sum(p * ((mean - before) ** 2).sum() for p, mean in zip(likely, after, strict=True)))
    return found


@pytest.mark.parametrize("known", [2, 12])
def test_the_order_is_that_of_whole_refits(collection, book, cross, known):
    crosses, flowers = book[::-1][:known], 2
    made = collection(crosses)
    tried, aims = PAIRS[::2], PAIRS[1::3]
    ours = [lesson.worth for lesson in taught(made, tried, aims, flowers)]
    theirs = moved_by_refits(collection, crosses, cross, tried, aims, flowers)
    assert spearmanr(ours, theirs).statistic >= 0.9


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


def taught(made, tried, wanted, flowers=4):
    model, pairs = basis_of(made).model, list(dict.fromkeys([*tried, *wanted]))
    places = ([pairs.index(pair) for pair in side] for side in (tried, wanted))
    return teaching(model, predict(made, model, parents_of(pairs)), pairs, *places, flowers)


def test_what_it_is_about_is_what_the_crosses_wanted_share_with_it(collection):
    made = collection(wanted=[("Aus bus", name) for name in NAMES[1:]])
    wanted, _ = wanted_pairs(made, made.wanted)
    aims = [(each.seed, each.pollen) for each in wanted]
    tried = [(Parent("Aus_bus"), Parent("Aus_eus")), (Parent("Aus_dus"), Parent("Aus_fus"))]
    mother, father = taught(made, tried, aims)
    assert (mother.about, mother.says) == ("seed", "teaches whether Aus bus is a willing mother")
    assert father.about in {"pollen", "else"}
    assert mother.worth > father.worth > 0
    [alone] = taught(made, tried[:1], tried[:1])
    assert alone.about == "pair"


def test_nothing_asked_nothing_taught(collection):
    made = collection()
    assert taught(made, [], []) == []


def test_a_ranking_goes_by_what_is_asked(collection, book):
    made = collection(book, wanted=list(pairwise(NAMES)))
    candidates, _ = wanted_pairs(made, made.wanted)
    chance, teach, both = (rank(made, candidates, by=by) for by in ("chance", "teach", "both"))
    assert all(row.teaches is None for row in chance.rows)
    worths = [row.teaches.worth for row in teach.rows]
    best = max(worths)
    assert all(one >= two - 0.02 * best for one, two in pairwise(worths))
    top = max(row.chance.mean for row in both.rows)
    blend = [0.8 * row.chance.mean / top + 0.2 * row.teaches.worth / best for row in both.rows]
    assert all(one >= two - 0.02 for one, two in pairwise(blend))
    assert (chance.by, teach.by, both.by) == ("chance", "teach", "both")
