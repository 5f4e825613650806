"""Forecasts with effects against dense matrices, point by point of the variances."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model import fitted as fitting
from crosscompat.model import forecast as forecasting
from crosscompat.model.composition import Logits, SeedsPerPod
from crosscompat.model.design_matrix import Kinship
from crosscompat.model.fitted import EFFECTS, design_of, fit_crosses, prior_model
from crosscompat.model.forecast import chances, outlook
from crosscompat.model.gaussian import stage_of
from crosscompat.model.inference import find_mode
from crosscompat.model.likelihood import Counts
from crosscompat.model.pairings import Levels, Pairings, Parents, correlation, pairings_of, relatedness
from crosscompat.model.posterior import integrate
from crosscompat.model.prior import published
from crosscompat.model.reasons import TERMS, past_weights, reasons
from crosscompat.model.saved import SavedModel, model_file, read_model
from crosscompat.model.training_set import CrossCounts, StepCounts
from crosscompat.pairing import DistanceScale, Feature, Recipe
from crosscompat.phylogeny.newick import parse_newick
from crosscompat.phylogeny.taxa import Pedigree, pairs_of
from crosscompat.stages import STEPS, WHOLE

TREE = parse_newick("((((a:1,b:1):1,(g:1.5,h:1.5):.5):1,(c:2,d:2):1):1,(e:3,f:3):1);")
RECIPE = Recipe((Feature("linear"), Feature("both", "x")), DistanceScale(8.0, (("linear", 0.5, 0.5),)))
PRIOR = published().prior_for(RECIPE.features)
SCALES = published().effect_scales(WHOLE)
CROSSED = ("a", "b", "c", "d", "e", "g")
HYBRIDS = {
    "a x e": {"a": 0.5, "e": 0.5},
    "b x c": {"b": 0.5, "c": 0.5},
    "c x b": {"c": 0.5, "b": 0.5},
    "(a x e) x h": {"a": 0.25, "e": 0.25, "h": 0.5},
}
MIXED = ("a", "b", "c", "a x e", "b x c", "g")


def pedigree(label):
    shares = HYBRIDS.get(label)
    return Pedigree(label, {label: 1.0}) if shares is None else Pedigree(label, shares, tuple(label.rsplit(" x ", 1)))


def fit(rows, counts, parents, related=None, recipe=RECIPE):
    """Fit the whole way alone."""
    size = len(rows)
    never = np.zeros(size, dtype=bool)
    steps = dict.fromkeys(STEPS, StepCounts.of(np.ones(size), np.zeros(size), never, never))
    steps[WHOLE] = StepCounts.of(counts.tried, counts.took, ~never, counts.some)
    return fit_crosses(
        recipe, rows, CrossCounts(steps, np.zeros(size), np.zeros(size)), counts.weight, parents=parents,
        pod=(20.0, None), took=0, finished=size, related=related,
    )  # fmt: skip


def logits(model, rows, asked=None):
    return outlook(model, rows, asked).whole


class Book:
    """A random book of crosses among six of the eight species, and all pairings of the eight.

    With ``hybrids`` two of the six are hybrids, and all pairings are those of the species and four hybrids.
    """

    def __init__(self, seed, m=40, *, plants=False, tree=True, hybrids=False):
        rng = np.random.default_rng(seed)
        crossed = MIXED if hybrids else CROSSED
        self.labels = (*TREE.tips, *(HYBRIDS if hybrids else ()))
        mothers, fathers = ([crossed[i] for i in rng.integers(0, 6, m)] for _ in range(2))
        named = [
            [None if rng.random() < 0.3 else f"{s}{rng.integers(1, 3)}" for s in side] for side in (mothers, fathers)
        ]
        self.parents = Parents(mothers, fathers, *(named if plants else ()))
        self.rows = self.rows_of(self.parents, rng.integers(0, 2, m))
        tried = rng.integers(1, 8, m)
        chance = 1 / (1 + np.exp(-(np.array([crossed.index(s) for s in mothers]) - 2.5)))
        self.counts = Counts.of(tried, rng.binomial(tried, chance), some=rng.random(m) < 0.2)
        self.species = sorted({*mothers, *fathers})
        self.related = relatedness(TREE, self.species, pedigree=pedigree) if tree else None
        self.model = fit(self.rows, self.counts, self.parents, self.related)
        pairs = [(one, other) for one in self.labels for other in self.labels]
        seed_parents, pollen_parents = ([pair[k] for pair in pairs] for k in (0, 1))
        very = ([f"{s}1" for s in seed_parents], [None if i % 2 else f"{s}2" for i, s in enumerate(pollen_parents)])
        self.wanted = Parents(seed_parents, pollen_parents, *(very if plants else ()))
        self.asked = pairings_of(self.model.seen, TREE, self.wanted, pedigree)
        self.asked_rows = self.rows_of(self.wanted, np.arange(len(pairs)) % 2)

    @staticmethod
    def rows_of(parents, flags):
        seed, pollen = (list(map(pedigree, side)) for side in (parents.seed, parents.pollen))
        pairs = pairs_of(seed, pollen)
        apart = np.bincount(pairs.of, pairs.weight * TREE.patristic_pairs(pairs.a, pairs.b), pairs.size)
        return np.column_stack([RECIPE.scale.rows(apart)[:, 0], flags]).astype(float)

    @property
    def answer(self):
        return logits(self.model, self.asked_rows, self.asked)

    def stage(self):
        levels = Levels.of(self.model.seen, self.parents)
        factors = fitting._factors(levels, self.model.seen, None if self.related is None else Kinship.of(self.related))
        design = design_of(RECIPE, self.rows, self.model.means)
        return stage_of(self.counts, design, PRIOR, factors)

    def prior_covariance(self, one, x, other, y, variance, share):
        """Of the logits of two lists of pairings, without the fate of single crosses."""
        at = {label: i for i, label in enumerate(self.labels)}
        a = np.eye(len(at))
        if self.related is not None:
            fitted = list(dict.fromkeys(tip for label in self.species for tip in pedigree(label).shares))
            order = fitted + [tip for tip in TREE.tips if tip not in fitted]
            depth = np.full(len(order), 4.0)
            of_tips = correlation(depth, depth - 0.5 * TREE.patristic_matrix(order), len(fitted))
            shares = np.array([[pedigree(label).shares.get(tip, 0.0) for tip in order] for label in self.labels])
            a = shares @ of_tips @ shares.T
            np.fill_diagonal(a, 1.0)  # what of a hybrid is its own
        kin = share * a + (1 - share) * np.eye(len(at))
        found = (x * PRIOR.sd**2) @ y.T
        for name in ("seed", "pollen"):
            rows, columns = ([at[label] for label in getattr(side, name)] for side in (one, other))
            found += variance[name] * kin[np.ix_(rows, columns)]
            plants = f"{name}_plants"
            found += variance.get(f"{name}_plant", 0.0) * alike(getattr(one, plants), getattr(other, plants), found)
        ways = [list(zip(side.seed, side.pollen, strict=True)) for side in (one, other)]
        pairs = [[tuple(sorted(way)) for way in side] for side in ways]
        return found + variance["direction"] * alike(*ways, found) + variance["pair"] * alike(*pairs, found)

    def mixture(self):
        """Mean and variance of every logit at every point, and the weights."""
        stage = self.stage()
        names = [factor.name for factor in stage.factors]
        _, points = integrate(stage, np.array([SCALES[name] for name in names]))
        asked_x = design_of(RECIPE, self.asked_rows, self.model.means)
        means, variances = [], []
        for mode in (point.mode for point in points):
            variance, share = dict(zip(names, mode.scales.sds**2, strict=True)), mode.scales.share
            among = self.prior_covariance(self.parents, stage.x, self.parents, stage.x, variance, share)
            towards = self.prior_covariance(self.wanted, asked_x, self.parents, stage.x, variance, share)
            own = np.diag(self.prior_covariance(self.wanted, asked_x, self.wanted, asked_x, variance, share)).copy()
            for side in ("seed", "pollen"):
                own += [
                    variance.get(f"{side}_plant", 0.0) * (p is None) for p in getattr(self.wanted, f"{side}_plants")
                ] or 0
            if not self.wanted.seed_plants:  # a flower is always some plant's
                own += SCALES["seed_plant"] ** 2 + SCALES["pollen_plant"] ** 2
            noisy = among + variance["record"] * np.eye(len(among)) + np.diag(1 / mode.curvature)
            means.append(asked_x @ PRIOR.mean + towards @ mode.gradient)
            told = np.einsum("ij,ji->i", towards, np.linalg.solve(noisy, towards.T))
            variances.append(own + variance["record"] - told)
        return np.array(means), np.array(variances), np.array([point.weight for point in points])


def alike(one, other, shape):
    if not len(one):
        return np.zeros(shape.shape)
    return np.array([[a is not None and a == b for b in other] for a in one], dtype=float)


@pytest.mark.parametrize("tree", [True, False])
@pytest.mark.parametrize("seed", range(3))
def test_mean_and_variance_are_those_of_the_mixture(seed, tree):
    book = Book(seed, tree=tree)
    means, variances, weights = book.mixture()
    mean = weights @ means
    assert book.answer.mean == pytest.approx(mean, abs=1e-9)
    assert book.answer.sd**2 == pytest.approx(weights @ (variances + (means - mean) ** 2), abs=1e-7)


@pytest.mark.parametrize("seed", range(3))
def test_with_hybrids_too_crossed_or_not(seed):
    book = Book(seed, hybrids=True)
    assert {"a x e", "b x c"} <= set(book.species)
    means, variances, weights = book.mixture()
    mean = weights @ means
    assert book.answer.mean == pytest.approx(mean, abs=1e-9)
    assert book.answer.sd**2 == pytest.approx(weights @ (variances + (means - mean) ** 2), abs=1e-7)


@pytest.mark.parametrize("seed", range(6))
def test_what_no_cross_says_of_a_hybrid_is_at_least_what_none_says_of_its_species(seed):
    """By the convexity of a square: a'Ia of the weighted mean of rows of A is at most the weighted mean of a'Ia."""
    book = Book(seed, m=25)
    hybrids = {"f x h": {"f": 0.5, "h": 0.5}, "(f x h) x h": {"f": 0.25, "h": 0.75}}  # of species never crossed
    labels = ["f", "h", *hybrids]

    def mixed(label):
        return Pedigree(label, hybrids[label], ("f", "h")) if label in hybrids else pedigree(label)

    asked = pairings_of(book.model.seen, TREE, Parents(labels, labels), mixed)
    fit = book.model.steps[0]
    for kind in (0, 1):
        own = replace(fit, variances=np.where(np.arange(7) == kind, fit.variances, 0.0))
        f, h, half, quarter = forecasting.effect_columns(own, asked)[1]
        assert half >= (f + h) / 2 - 1e-12
        assert quarter >= (f + 3 * h) / 4 - 1e-12
        assert half <= fit.variances[kind] + 1e-12


@pytest.mark.parametrize("seed", range(3))
def test_with_plants_too(seed):
    """A pair crossed before leans on the plants that made it; of other plants its variance is told to within 5%."""
    book = Book(seed, plants=True)
    means, variances, weights = book.mixture()
    mean = weights @ means
    assert book.answer.mean == pytest.approx(mean, abs=1e-9)
    assert book.answer.sd**2 == pytest.approx(weights @ (variances + (means - mean) ** 2), rel=0.05)


def test_one_gaussian_says_what_the_mixture_says():
    for seed in range(3):
        book = Book(seed)
        means, variances, weights = book.mixture()
        mixed = sum(
            weight * chances(Logits(mean, np.sqrt(variance))).mean
            for mean, variance, weight in zip(means, variances, weights, strict=True)
        )
        assert chances(book.answer).mean == pytest.approx(mixed, abs=0.01)
        assert np.mean(chances(book.answer).mean - mixed) == pytest.approx(0.0, abs=0.005)


@pytest.mark.parametrize("plants", [True, False])
@pytest.mark.parametrize("tree", [True, False])
def test_reasons_add_up_to_the_logit(plants, tree):
    book = Book(5, plants=plants, tree=tree)
    for i, row in enumerate(book.asked_rows):
        found = reasons(book.model, WHOLE, row, book.asked[i : i + 1])
        assert found.base + sum(logit for _, logit, _ in found.terms) == pytest.approx(book.answer.mean[i], abs=1e-9)
        assert {name for name, _, _ in found.terms} <= {*RECIPE.names, *TERMS}


def test_reasons_speak_of_relatives_where_a_species_is_new():
    book = Book(6)
    at = book.wanted.seed.index("h") + TREE.tips.index("a")
    value_of = {
        name: value for name, _, value in reasons(book.model, WHOLE, book.asked_rows[at], book.asked[at : at + 1]).terms
    }
    assert (value_of["seed parent"], value_of["pollen parent"]) == (0.0, 1.0)
    assert "pair" not in value_of


@pytest.mark.parametrize("plants", [True, False])
def test_past_crosses_weigh_what_the_mode_owes_them(plants):
    """Their weights lead from the prior to the mode; the mode is found anew here, with dense matrices."""
    book = Book(7, plants=plants)
    past = book.model.steps[0].past
    x = design_of(RECIPE, book.asked_rows, book.model.means)
    stage = book.stage()
    names = [factor.name for factor in stage.factors]
    most_likely, _ = integrate(stage, np.array([SCALES[name] for name in names]), 0)
    mode = find_mode(stage, most_likely.scales)
    variance = dict(zip(names, mode.scales.sds**2, strict=True))
    towards = book.prior_covariance(book.wanted, x, book.parents, stage.x, variance, mode.scales.share)
    weights = past_weights(past, x, book.asked)
    assert weights.shape == (64, 40)
    assert weights == pytest.approx(towards * mode.gradient, abs=1e-9)
    logit = x @ past.prior_mean + weights.sum(axis=1)
    assert logit == pytest.approx(x @ PRIOR.mean + towards @ mode.gradient, abs=1e-9)
    crossed = pairings_of(book.model.seen, TREE, book.parents)
    own = past.x @ past.prior_mean + past_weights(past, past.x, crossed).sum(axis=1)
    assert own + variance["record"] * mode.gradient == pytest.approx(mode.eta, abs=1e-5)


def test_an_effect_the_data_say_nothing_about_keeps_its_prior_variance():
    one = fit(np.array([[0.5, 1.0]]), Counts.of([1], [1]), Parents(["a"], ["b"]), np.eye(2))
    scales = SCALES
    expected = [scales[name] for name in EFFECTS]
    assert np.sqrt(one.steps[0].variances) == pytest.approx(expected, rel=0.06)
    before, after = (logits(model, np.array([[0.5, 1.0]])) for model in (prior_model(RECIPE, SeedsPerPod(20, 1)), one))
    assert after.sd == pytest.approx(before.sd, rel=0.1)


def test_a_failure_of_one_mother_leaves_others_alone_without_a_tree_and_warns_of_her_kin_with_one():
    parents = Parents(["a"] * 6, ["c", "d", "e", "c", "d", "e"])
    rows = Book.rows_of(parents, np.zeros(6))
    asked = Parents(["a", "b", "f"], ["g", "g", "g"])
    found = {}
    for related in (None, relatedness(TREE, ["a", "c", "d", "e"])):
        model = fit(rows, Counts.of(np.full(6, 5), np.zeros(6)), parents, related)
        one = pairings_of(model.seen, TREE, asked)
        found[related is None] = [
            {t[0]: t[1] for t in reasons(model, WHOLE, np.array([0.5, 0.0]), one[i : i + 1]).terms} for i in range(3)
        ]  # fmt: skip
    own, kin, far = (terms.get("seed parent", 0.0) for terms in found[False])
    assert own < kin < far <= 0
    assert [terms.get("seed parent", 0.0) for terms in found[True][1:]] == [0.0, 0.0]


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 1000))
def test_the_order_of_crosses_changes_nothing_and_a_refit_gives_the_same_numbers(seed):
    book = Book(seed, m=20, plants=True)
    again = fit(book.rows, book.counts, book.parents, book.related)
    same = logits(again, book.asked_rows, book.asked)
    np.testing.assert_array_equal(same.mean, book.answer.mean)
    np.testing.assert_array_equal(same.sd, book.answer.sd)
    turn = np.random.default_rng(seed).permutation(20)
    counts = Counts(*(getattr(book.counts, name)[turn] for name in ("tried", "took", "some", "weight")))
    sides = ([side[i] for i in turn] for side in (
        book.parents.seed, book.parents.pollen, book.parents.seed_plants, book.parents.pollen_plants,
    ))  # fmt: skip
    other = fit(book.rows[turn], counts, Parents(*sides), book.related)
    assert logits(other, book.asked_rows, book.asked).mean == pytest.approx(book.answer.mean, abs=1e-6)


@pytest.mark.parametrize("tree", [True, False])
@pytest.mark.parametrize("plants", [True, False])
def test_a_saved_model_forecasts_the_same_to_the_last_bit(tmp_path, plants, tree):
    book = Book(8, plants=plants, tree=tree)
    (tmp_path / "model.json").write_bytes(model_file(SavedModel(book.model, {"tree": "t"}, "2026-10-31")))
    saved = read_model(tmp_path / "model.json")
    assert saved.model.seen == book.model.seen
    back = logits(saved.model, book.asked_rows, book.asked)
    np.testing.assert_array_equal(back.mean, book.answer.mean)
    np.testing.assert_array_equal(back.sd, book.answer.sd)
    x = design_of(RECIPE, book.asked_rows, book.model.means)
    weights = (past_weights(model.steps[0].past, x, book.asked) for model in (saved.model, book.model))
    np.testing.assert_array_equal(*weights)
    assert saved.fingerprint == SavedModel(book.model, {"tree": "t"}, "2026-10-31").fingerprint


def test_one_pairing_at_a_time_or_all_at_once():
    book = Book(9, plants=True)
    alone = [logits(book.model, book.asked_rows[i : i + 1], book.asked[i : i + 1]) for i in range(64)]
    assert np.concatenate([one.mean for one in alone]) == pytest.approx(book.answer.mean, abs=1e-12)
    assert np.concatenate([one.sd for one in alone]) == pytest.approx(book.answer.sd, abs=1e-12)


def test_strangers_are_the_default():
    book = Book(10)
    nobody = np.full(64, -1)
    asked = Pairings(Levels(nobody, nobody, nobody, nobody))
    explicit, default = (logits(book.model, book.asked_rows, one) for one in (asked, None))
    assert default.mean.tolist() == explicit.mean.tolist()
    assert default.sd.tolist() == explicit.sd.tolist()
