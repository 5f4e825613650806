"""How steps make up one another, against plain simulation and against limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from crosscompat.model.composition import (
    TYPICAL_SD,
    Logits,
    SeedsPerPod,
    fit_seeds,
    joined,
    prior_shares,
    share_means,
    together,
)
from crosscompat.model.fitted import design_of, prior_model
from crosscompat.model.forecast import outlook, step_logits
from crosscompat.model.prior import published
from crosscompat.pairing import DistanceScale, recipe_for
from crosscompat.stages import STAGES, STEPS, WHOLE

PODS = [SeedsPerPod(2.0, 1.0, cap=3), SeedsPerPod(20.0, 1.0), SeedsPerPod(100.0, 1.0)]
DRAWS = 1_000_000


def logit(chance):
    inside = np.clip(chance, 1e-300, 1 - 1e-15)
    return np.log(inside) - np.log1p(-inside)


def chance(eta):
    return 1 / (1 + np.exp(-eta))


def one(mean, sd):
    return Logits(np.array([float(mean)]), np.array([float(sd)]))


@pytest.mark.parametrize("means", [(2.0, 1.0), (0.0, 0.0), (-2.0, 1.5), (-4.0, -3.0)])
@pytest.mark.parametrize("sd", [0.3, 1.0, 2.0, 2.8])
@pytest.mark.parametrize("step", ["pod", "seed", WHOLE])
def test_two_steps_in_a_row_are_those_of_a_million_draws(step, means, sd):
    draws = np.array(means)[:, None] + sd * np.random.default_rng(1).normal(size=(2, DRAWS))
    drawn = logit(chance(draws[0]) * chance(draws[1]))
    found = together(step, tuple(one(mean, sd) for mean in means), PODS[1])
    assert found.mean[0] == pytest.approx(drawn.mean(), abs=0.01)
    assert found.sd[0] == pytest.approx(drawn.std(), rel=0.01)


@pytest.mark.parametrize("sd", [0.3, 1.5])
def test_three_steps_in_a_row_are_those_of_a_million_draws(sd):
    draws = np.array([[2.0], [0.0], [-1.0]]) + sd * np.random.default_rng(1).normal(size=(3, DRAWS))
    drawn = logit(chance(draws).prod(axis=0))
    found = together("seed", tuple(one(mean, sd) for mean in (2.0, 0.0, -1.0)), PODS[1])
    assert found.mean[0] == pytest.approx(drawn.mean(), abs=0.03)
    assert found.sd[0] == pytest.approx(drawn.std(), rel=0.02)


@pytest.mark.parametrize("seeds", PODS, ids=lambda seeds: f"{seeds.mean:g}")
@pytest.mark.parametrize(("mean", "sd"), [(-3.0, 1.0), (0.0, 2.0), (-5.0, 2.5)])
def test_a_pods_seeds_are_those_of_a_million_draws(seeds, mean, sd):
    eta = mean + sd * np.random.default_rng(2).normal(size=DRAWS)
    drawn = logit(seeds.any_of_them(chance(eta)))
    found = together("fruitful", (one(mean, sd),), seeds)
    assert found.mean[0] == pytest.approx(drawn.mean(), abs=0.03)
    assert found.sd[0] == pytest.approx(drawn.std(), rel=0.03)


def test_what_is_certain_is_arithmetic():
    """Three ovules, two of three a seed, each seed coming up half the time."""
    assert chance(together("fruitful", (one(0, 0),), PODS[0]).mean[0]) == pytest.approx(1 - (2 / 3) ** 3)
    assert chance(together("pod", (one(1.0, 0), one(-1.0, 0)), PODS[0]).mean[0]) == pytest.approx(
        chance(1.0) * chance(-1.0)
    )


@pytest.mark.parametrize("seeds", PODS, ids=lambda seeds: f"{seeds.mean:g}")
def test_the_stages_that_a_chance_is_shared_out_to_make_it_up_again(seeds):
    """Within .02 of the mean asked for: the same pairing has the same prior chance however it is counted.

    Only a chance above that of stages at their best, of which some flowers fail in any cross, cannot be made up.
    """
    spreads = prior_shares(seeds)
    best = {
        name: Logits(mean, np.full(1, TYPICAL_SD * spreads[name]))
        for name, mean in share_means(np.full(1, 40.0), seeds).items()
    }
    for name, parts in STEPS.items():
        if parts:
            best[name] = together(name, tuple(best[part] for part in parts), seeds)
    whole = np.linspace(-6, best[WHOLE].mean[0] - 0.01, 41)
    means = share_means(whole, seeds)
    assert means.keys() == spreads.keys() == set(STEPS)
    steps = {name: Logits(means[name], np.full(41, TYPICAL_SD * spreads[name])) for name in STAGES}
    for name, parts in STEPS.items():
        if parts:
            steps[name] = together(name, tuple(steps[part] for part in parts), seeds)
            assert steps[name].mean == pytest.approx(means[name], abs=0.02), name
    assert steps[WHOLE].mean == pytest.approx(whole, abs=0.02)
    for name in STAGES:
        assert (np.diff(means[name]) > 0).all()
        assert (means[name] > whole).all()


def test_more_seeds_ask_less_of_each():
    whole = np.array([-2.0, 0.0, 2.0])
    few, many = (share_means(whole, SeedsPerPod(mean, 1.0)) for mean in (3.0, 100.0))
    assert (few["pod"] > many["pod"] - 1e-9).all()
    assert few["whole"].tolist() == many["whole"].tolist() == whole.tolist()


PRIOR, BEFORE = one(0.3, 3.5), one(0.1, 3.2)


@pytest.mark.parametrize("own", [PRIOR, one(1.234567, 0.89), one(-7.0, 2.0)])
def test_parts_that_say_nothing_leave_what_was_counted_to_the_last_digit(own):
    found = joined(PRIOR, own, (BEFORE, BEFORE))
    assert found.mean[0] == pytest.approx(own.mean[0], rel=1e-14)
    assert found.sd[0] == pytest.approx(own.sd[0], rel=1e-14)


@pytest.mark.parametrize("mean", [-4.0, 0.0, 3.0])
def test_parts_that_are_certain_say_all(mean):
    found = joined(PRIOR, one(-1.0, 1.0), (BEFORE, one(mean, 1e-4)))
    assert found.mean[0] == pytest.approx(mean, abs=1e-3)
    assert found.sd[0] == pytest.approx(1e-4, rel=1e-2)


@pytest.mark.parametrize("mean", [-2.0, 2.0])
def test_what_both_say_is_surer_than_either_and_lies_between_or_beyond_the_prior(mean):
    own, after = one(mean, 1.5), one(mean, 1.5)
    both, parts_alone = joined(PRIOR, own, (PRIOR, after)), joined(PRIOR, PRIOR, (PRIOR, after))
    assert both.sd[0] < min(own.sd[0], parts_alone.sd[0])
    assert parts_alone.mean[0] == pytest.approx(mean)
    assert abs(both.mean[0]) > abs(mean)  # two independent looks, both away from the prior


def test_what_differs_in_the_priors_fades_as_the_parts_are_learned():
    """The form itself moves nothing: an unlearned part is at the prior of the step, a learned one at its own."""
    gaps = [abs(joined(PRIOR, PRIOR, (BEFORE, one(0.1, sd))).mean[0] - 0.3) for sd in (3.2, 2.0, 1.0, 0.1)]
    assert gaps[0] == pytest.approx(0, abs=1e-12)
    assert np.all(np.diff(gaps) > 0)
    assert gaps[-1] == pytest.approx(0.2, abs=2e-3)


@pytest.mark.parametrize("seeds", PODS, ids=lambda seeds: f"{seeds.mean:g}")
@pytest.mark.parametrize("unit", [None, "My"])
def test_before_any_cross_a_pairing_has_one_chance_in_every_form(seeds, unit):
    scale = DistanceScale(8.0, (("time" if unit else "linear", 1.0, 1.0),), unit)
    model = prior_model(recipe_for(None, scale), seeds)
    rows = np.linspace(-2, 3, 11)[:, None]
    whole = design_of(model.recipe, rows, model.means) @ published().prior_for(model.recipe.features).mean
    staged, plain = outlook(model, rows), outlook(model, rows, stages=False)
    assert staged.whole.mean == pytest.approx(whole, abs=1e-12)
    assert staged.whole.mean.tolist() == plain.whole.mean.tolist() == step_logits(model, WHOLE, rows).mean.tolist()
    assert staged.whole.sd.tolist() == plain.whole.sd.tolist()
    for step, means in share_means(whole, seeds).items():
        assert staged.steps[step].mean == pytest.approx(means, abs=1e-12)


share = st.floats(0.02, 0.98)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.3, 20), st.floats(0.2, 20), share)
def test_some_seed_comes_to_something_as_the_negative_binomial_has_it(mean, size, fails):
    seeds = np.arange(2000)
    judge = stats.nbinom.pmf(seeds, size, size / (size + mean)) @ fails**seeds
    assert SeedsPerPod(mean, size).any_of_them(np.array(1 - fails)) == pytest.approx(1 - judge, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 9), st.floats(0.02, 1), share)
def test_with_a_cap_the_seeds_are_binomial(cap, share, fails):
    seeds = np.arange(cap + 1)
    judge = stats.binom.pmf(seeds, cap, share) @ fails**seeds
    assert SeedsPerPod(cap * share, 1.0, cap).any_of_them(np.array(1 - fails)) == pytest.approx(1 - judge)


@pytest.mark.parametrize("spread", [SeedsPerPod(30.0, 0.5), SeedsPerPod(2.0, 1.0, cap=3)])
def test_the_ends_are_exact_and_a_surer_seed_is_likelier(spread):
    found = spread.any_of_them(np.linspace(0, 1, 21))
    empty = stats.nbinom.pmf(0, 0.5, 0.5 / 30.5) if spread.cap is None else (1 - 2 / 3) ** 3
    assert found[[0, -1]] == pytest.approx([0.0, 1 - empty])
    assert (np.diff(found) > 0).all()
    assert spread.any_of_them(np.array(1e-200)) == pytest.approx(1e-200 * spread.mean)


def test_seeds_are_learned_from_pods():
    rng = np.random.default_rng(2)
    pods = rng.integers(1, 6, 200).astype(float)
    seeds = rng.negative_binomial(pods * 2.0, 2.0 / (2.0 + 50.0)).astype(float)
    found = fit_seeds(pods, seeds, expected=100.0)
    assert found.mean == pytest.approx(50, rel=0.1)
    assert found.size == pytest.approx(2.0, rel=0.3)


BOOKS = [
    (),
    ((1, 0),),
    ((2, 0), (5, 0)),
    ((1, 3), (4, 90), (2, 0)),
    ((1, 20), (1, 20), (1, 21), (1, 19)),
    ((50, 4000),),
]


@pytest.mark.parametrize("book", BOOKS)
@pytest.mark.parametrize("expected", [0.5, 100.0])
def test_the_size_is_averaged_over_a_likelihood_and_a_prior(book, expected):
    """Against SciPy's negative binomial and normal, 61 sizes even on the log scale."""
    pods, seeds = np.array(book, float).reshape(-1, 2).T
    found = fit_seeds(pods, seeds, expected=expected)
    assert found.mean == pytest.approx((seeds.sum() + expected) / (pods.sum() + 1))
    logs = np.linspace(np.log(0.1), np.log(100), 61)
    size = np.exp(logs)[:, None]
    height = stats.nbinom.logpmf(seeds, pods * size, size / (size + found.mean)).sum(axis=1)
    weight = np.exp(height - height.max()) * stats.norm.pdf(logs, 0, np.log(5))
    assert found.size == pytest.approx(np.exp((weight @ logs) / weight.sum()))


def test_the_order_of_the_crosses_does_not_matter():
    pods, seeds = np.array([1.0, 4.0, 2.0]), np.array([3.0, 90.0, 0.0])
    one, other = (fit_seeds(p, s, expected=10.0) for p, s in ((pods, seeds), (pods[::-1], seeds[::-1])))
    assert (one.mean, one.size) == pytest.approx((other.mean, other.size))


def test_uneven_pods_are_learned_as_uneven():
    pods = np.ones(12)
    even = fit_seeds(pods, np.full(12, 20.0), expected=20.0)
    uneven = fit_seeds(pods, np.array([0.0] * 8 + [60.0] * 4), expected=20.0)
    assert even.mean == uneven.mean
    assert uneven.size < 1 < even.size


def test_a_pod_never_holds_more_than_its_cap():
    found = fit_seeds(np.array([2.0]), np.array([9.0]), expected=3.0, cap=3)
    assert (found.mean, found.cap) == (3.0, 3)
    assert found.any_of_them(np.array(0.5)) == pytest.approx(1 - 0.5**3)
