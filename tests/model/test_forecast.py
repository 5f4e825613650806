from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from crosscompat.model.fitted import FittedModel, Seen, StageFit, fit_model, prior_model
from crosscompat.model.forecast import (
    MOST_FLOWERS,
    Logits,
    chance_of,
    chances,
    flowers_for,
    logits,
    reasons,
)
from crosscompat.model.likelihood import Counts
from crosscompat.pairing import Feature, Recipe

RECIPE = Recipe(
    (Feature("distance"), Feature("both", "spines"), Feature("lower", "2n"), Feature("ratio", "style")), 2.0, "My"
)


def fitted(seed, n=25):
    rng = np.random.default_rng(seed)
    return fit_model(RECIPE, asked(rng, n), Counts.of(np.ones(n), rng.random(n) < 0.5))


def asked(rng, n, *, gaps=0.3):
    flags = rng.integers(0, 2, (n, 2))
    rows = np.column_stack([rng.random(n) * 1.5, flags, rng.normal(size=n)]).astype(float)
    rows[:, 1:][rng.random((n, 3)) < gaps] = np.nan
    return rows


def one(mean, sd=0.0):
    return Logits(np.array([float(mean)]), np.array([float(sd)]))


def at_least_one(logit, flowers):
    return 1 - (1 - 1 / (1 + np.exp(-logit))) ** flowers


@pytest.mark.parametrize("sd", [0.1, 0.5, 1.0, 2.0, 3.0, 4.0])
@pytest.mark.parametrize("flowers", [1, 2, 7, 40, 200])
@pytest.mark.parametrize("mean", [-6.0, -2.0, 0.0, 1.5])
def test_the_mean_chance_is_the_integral_over_the_belief(mean, flowers, sd):
    def height(z):
        return norm.pdf(z) * -np.expm1(-flowers * np.logaddexp(0, mean + sd * z))

    turns = [point for point in ((-np.log(flowers) - mean) / sd, -mean / sd) if abs(point) < 9]
    judge, _ = quad(height, -9, 9, points=turns, limit=300, epsabs=1e-12)
    assert chances(one(mean, sd), flowers).mean[0] == pytest.approx(judge, abs=1e-6)


@settings(max_examples=50, deadline=None)
@given(st.floats(-8, 5), st.floats(0, 3), st.integers(1, 200))
def test_the_interval_is_the_belief_from_its_5th_to_its_95th_percentile(mean, sd, flowers):
    answer = chances(one(mean, sd), flowers)
    for found, z in ((answer.low[0], norm.ppf(0.05)), (answer.high[0], norm.ppf(0.95))):
        assert found == pytest.approx(-np.expm1(-flowers * np.logaddexp(0, mean + z * sd)), abs=1e-12)
    assert answer.low[0] <= answer.high[0]
    assert 0 <= answer.mean[0] <= 1


@settings(max_examples=50, deadline=None)
@given(st.floats(-8, 5), st.floats(0, 3), st.integers(1, 199))
def test_more_flowers_never_make_a_seedling_less_likely(mean, sd, flowers):
    fewer, more = chances(one(mean, sd), flowers), chances(one(mean, sd), flowers + 1)
    for name in ("mean", "low", "high"):
        assert getattr(fewer, name)[0] <= getattr(more, name)[0] + 1e-15


def test_a_belief_without_doubt_is_the_plain_binomial():
    for mean in (-3.0, 0.0, 2.0):
        for flowers in (1, 4, 30):
            answer = chances(one(mean), flowers)
            expected = at_least_one(mean, flowers)
            assert [answer.mean[0], answer.low[0], answer.high[0]] == pytest.approx([expected] * 3, abs=1e-12)
    assert chance_of(1.2) == pytest.approx(at_least_one(1.2, 1))


def test_doubt_moves_an_unlikely_chance_up_and_a_likely_one_down():
    assert chances(one(-3, 1.5)).mean[0] > chance_of(-3)
    assert chances(one(3, 1.5)).mean[0] < chance_of(3)
    assert chances(one(0, 1.5)).mean[0] == pytest.approx(0.5, abs=1e-12)


def test_each_pairing_may_have_its_own_number_of_flowers():
    both = Logits(np.array([-1.0, 0.5]), np.array([0.3, 1.0]))
    together = chances(both, [3, 8])
    for i, flowers in enumerate((3, 8)):
        alone = chances(Logits(both.mean[i : i + 1], both.sd[i : i + 1]), flowers)
        assert together.mean[i] == alone.mean[0]
        assert together.low[i] == alone.low[0]


def test_extremes_stay_chances():
    for mean in (-800.0, 800.0):
        answer = chances(one(mean, 5), 200)
        assert answer.mean[0] == pytest.approx(float(mean > 0), abs=1e-12)


@settings(max_examples=30, deadline=None)
@given(st.floats(-7, 3), st.floats(0, 2.5), st.sampled_from([0.5, 0.8]))
def test_flowers_are_the_fewest_that_reach_the_chance(mean, sd, target):
    def by_counting():
        for flowers in range(1, MOST_FLOWERS + 1):
            if chances(one(mean, sd), flowers).mean[0] >= target:
                return flowers
        return 0

    assert flowers_for(one(mean, sd), target)[0] == by_counting()


def test_flowers_are_counted_pairing_by_pairing():
    many = Logits(np.array([3.0, 0.0, -2.0, -9.0]), np.zeros(4))
    assert flowers_for(many, 0.8).tolist() == [1, 3, 13, 0]  # 1 - (1 - 0.119)^13 = 0.807
    edge = -np.log(np.expm1(-np.log1p(-0.5) / MOST_FLOWERS) ** -1)  # 200 flowers make an even chance, just
    assert flowers_for(one(edge + 1e-9), 0.5)[0] == MOST_FLOWERS
    assert flowers_for(one(edge - 1e-3), 0.5)[0] == 0


def test_the_logit_is_the_linear_form_and_its_spread():
    model, rng = fitted(1), np.random.default_rng(2)
    rows = asked(rng, 6, gaps=0)
    answer = logits(model, rows)
    stage = model.stages[0]
    for i, row in enumerate(rows):
        x = np.append(1.0, row - model.centre)
        assert answer.mean[i] == pytest.approx(x @ stage.mean)
        assert answer.sd[i] ** 2 == pytest.approx(x @ stage.covariance @ x)


def test_with_no_cross_the_prior_answers():
    answer = logits(prior_model(RECIPE), np.array([[0.5, np.nan, np.nan, np.nan]]))
    assert answer.mean[0] == pytest.approx(-0.5)
    assert answer.sd[0] > 1.5


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 3))
def test_an_unknown_number_counts_its_spread(seed, gap):
    """Its mean and variance are those of the logit when the number is drawn from the crosses fitted."""
    model, rng = fitted(seed), np.random.default_rng(seed)
    row = asked(rng, 1, gaps=0)
    blank = row.copy()
    blank[0, gap] = np.nan
    at_mean = row.copy()
    at_mean[0, gap] = model.means[gap]
    unknown, known = logits(model, blank), logits(model, at_mean)
    stage = model.stages[0]
    second_moment = stage.mean[gap + 1] ** 2 + stage.covariance[gap + 1, gap + 1]
    assert unknown.mean[0] == pytest.approx(known.mean[0])
    assert unknown.sd[0] ** 2 == pytest.approx(known.sd[0] ** 2 + second_moment * model.variances[gap])
    assert unknown.sd[0] > known.sd[0]


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000))
def test_reasons_add_up_to_the_logit(seed):
    model, rng = fitted(seed), np.random.default_rng(seed + 1)
    for row in asked(rng, 4):
        found = reasons(model, row)
        total = found.base + sum(added for _, added, _ in found.terms)
        assert total == pytest.approx(logits(model, row[None]).mean[0], abs=1e-12)
        assert tuple(name for name, _, _ in found.terms) == RECIPE.names
        for (_, added, value), number in zip(found.terms, row, strict=True):
            assert (value is None) == np.isnan(number)
            assert value is None or value == number
            assert value is not None or added == 0


def test_an_average_pairing_has_no_reason_but_the_base():
    model = fitted(9)
    found = reasons(model, model.means)
    assert [added for _, added, _ in found.terms] == [0.0] * 4
    assert found.base == pytest.approx(logits(model, model.means[None]).mean[0])


def test_no_pairings_have_no_chances():
    answer = chances(logits(fitted(1), np.empty((0, 4))), 3)
    assert answer.mean.shape == answer.low.shape == (0,)
    assert flowers_for(Logits(np.empty(0), np.empty(0)), 0.5).shape == (0,)


def test_a_model_made_by_hand_is_read_as_it_stands():
    model = FittedModel(
        Recipe((Feature("distance"),), 1.0),
        np.array([0.3]),
        np.array([0.1]),
        (StageFit("plain", np.array([1.0, -2.0]), np.diag([0.04, 0.0])),),
        Seen(),
    )
    answer = logits(model, np.array([[1.0], [np.nan]]))
    assert answer.mean == pytest.approx([0.0, 1.0 - 2.0 * (0.3 - 0.5)])
    assert answer.sd**2 == pytest.approx([0.04, 0.04 + 4 * 0.1])


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 20), st.floats(0, 2))
def test_an_unsure_distance_widens_by_its_coefficients_second_moment_and_leaves_the_mean(seed, spread):
    """The exact second moment of b d, for d with that standard deviation; the other coefficients have no part in it."""
    model, rows = fitted(seed), asked(np.random.default_rng(seed), 6)
    plain, wide = logits(model, rows), logits(model, rows, spread=np.full(6, spread))
    fit = model.stages[0]
    moment = fit.mean[1] ** 2 + fit.covariance[1, 1]
    assert wide.mean.tolist() == plain.mean.tolist()
    assert wide.sd**2 == pytest.approx(plain.sd**2 + moment * spread**2, rel=1e-12)


def test_a_spread_of_nothing_changes_nothing_to_the_last_bit():
    model, rows = fitted(2), asked(np.random.default_rng(2), 3)
    plain, same = logits(model, rows), logits(model, rows, spread=np.array([0.0, np.nan, 0.0]))
    assert (same.mean.tolist(), same.sd.tolist()) == (plain.mean.tolist(), plain.sd.tolist())


def test_a_spread_is_the_pairings_own():
    model, rows = fitted(3), asked(np.random.default_rng(3), 3)
    plain, wide = logits(model, rows), logits(model, rows, spread=np.array([0.0, 0.5, 0.0]))
    assert (wide.sd > plain.sd).tolist() == [False, True, False]
