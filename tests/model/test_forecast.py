from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from crosscompat.model.composition import Logits, SeedsPerPod, composed
from crosscompat.model.fitted import EFFECTS, FittedModel, fit_crosses, prior_model, unlearned
from crosscompat.model.forecast import MOST_FLOWERS, chance_of, chances, flowers_for, outlook, sharing_out, step_logits
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.likelihood import Counts
from crosscompat.model.pairings import Levels, Pairings, Parents, Seen
from crosscompat.model.prior import centre_of
from crosscompat.model.reasons import reasons, whole_reasons
from crosscompat.model.training_set import step_counts
from crosscompat.pairing import DistanceScale, Feature, Recipe
from crosscompat.stages import STAGES, STEPS, WHOLE

SCALE = DistanceScale(2.0, (("linear", 1.0, 0.5),))
RECIPE = Recipe(
    (Feature("linear"), Feature("both", "spines"), Feature("lower", "2n"), Feature("ratio", "style")), SCALE
)
SEEDS = SeedsPerPod(20.0, 1.0)


@pytest.fixture(scope="module")
def fitted(fit_plain):
    def fit(seed, n=25):
        rng = np.random.default_rng(seed)
        return fit_plain(RECIPE, asked(rng, n), Counts.of(np.ones(n), rng.random(n) < 0.5))

    return fit


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
    for found, z, beyond in ((answer.low[0], norm.ppf(0.05), min), (answer.high[0], norm.ppf(0.95), max)):
        percentile = -np.expm1(-flowers * np.logaddexp(0, mean + z * sd))
        assert found == pytest.approx(beyond(percentile, answer.mean[0]), abs=1e-12)
    assert answer.low[0] <= answer.mean[0] <= answer.high[0]
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


def test_the_logit_is_the_linear_form_and_its_spread(fitted):
    model, rng = fitted(1), np.random.default_rng(2)
    rows = asked(rng, 6, gaps=0)
    answer = outlook(model, rows).whole
    stage = model.steps[0]
    for i, row in enumerate(rows):
        x = np.append(1.0, row - centre_of(model.recipe.features))
        assert answer.mean[i] == pytest.approx(x @ stage.mean)
        assert answer.sd[i] ** 2 == pytest.approx(x @ stage.covariance @ x)


def test_with_no_cross_the_prior_answers():
    answer = outlook(prior_model(RECIPE, SEEDS), np.array([[0.0, np.nan, np.nan, np.nan]])).whole
    assert answer.mean[0] == pytest.approx(0.3)
    assert answer.sd[0] > 1.5


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 3))
def test_an_unknown_number_counts_its_spread(fitted, seed, gap):
    """Its mean and variance are those of the logit when the number is drawn from the crosses fitted."""
    model, rng = fitted(seed), np.random.default_rng(seed)
    row = asked(rng, 1, gaps=0)
    blank = row.copy()
    blank[0, gap] = np.nan
    at_mean = row.copy()
    at_mean[0, gap] = model.means[gap]
    unknown, known = outlook(model, blank).whole, outlook(model, at_mean).whole
    stage = model.steps[0]
    second_moment = stage.mean[gap + 1] ** 2 + stage.covariance[gap + 1, gap + 1]
    assert unknown.mean[0] == pytest.approx(known.mean[0])
    assert unknown.sd[0] ** 2 == pytest.approx(known.sd[0] ** 2 + second_moment * model.variances[gap])
    assert unknown.sd[0] > known.sd[0]


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000))
def test_reasons_add_up_to_the_logit(fitted, seed):
    model, rng = fitted(seed), np.random.default_rng(seed + 1)
    for row in asked(rng, 4):
        found = reasons(model, WHOLE, row)
        total = found.base + sum(added for _, added, _ in found.terms)
        assert total == pytest.approx(outlook(model, row[None]).whole.mean[0], abs=1e-12)
        assert tuple(name for name, _, _ in found.terms) == RECIPE.names
        for (_, added, value), number in zip(found.terms, row, strict=True):
            assert (value is None) == np.isnan(number)
            assert value is None or value == number
            assert value is not None or added == 0


def test_an_average_pairing_has_no_reason_but_the_base(fitted):
    model = fitted(9)
    found = reasons(model, WHOLE, model.means)
    assert [added for _, added, _ in found.terms] == [0.0] * 4
    assert found.base == pytest.approx(outlook(model, model.means[None]).whole.mean[0])


def test_no_pairings_have_no_chances(fitted):
    answer = chances(outlook(fitted(1), np.empty((0, 4))).whole, 3)
    assert answer.mean.shape == answer.low.shape == (0,)
    assert flowers_for(Logits(np.empty(0), np.empty(0)), 0.5).shape == (0,)


def test_a_model_made_by_hand_is_read_as_it_stands():
    model = FittedModel(
        PLAIN, np.array([0.3]), np.array([0.1]), GaussianPrior(np.zeros(2), np.ones(2)), dict.fromkeys(EFFECTS, 0.0),
        (unlearned(WHOLE, np.array([1.0, -2.0]), np.diag([0.04, 0.0]), np.zeros(7)),), Seen(), SEEDS,
    )  # fmt: skip
    answer = outlook(model, np.array([[1.0], [np.nan]])).whole
    assert answer.mean == pytest.approx([-1.0, 1.0 - 2.0 * 0.3])
    assert answer.sd**2 == pytest.approx([0.04, 0.04 + 4 * 0.1])


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 20), st.floats(-2, 2))
def test_an_unsure_distance_widens_by_its_coefficients_second_moment_and_leaves_the_mean(fitted, seed, gain):
    """The exact second moment of b d, for d with that standard deviation; the other coefficients have no part in it.

    The whole has its prior mean among its coefficients, which is not to be counted twice.
    """
    model, rows = fitted(seed), asked(np.random.default_rng(seed), 6)
    farther = np.zeros((6, 4))
    farther[:, 0] = gain
    plain, wide = outlook(model, rows).whole, outlook(model, rows, farther=farther).whole
    fit = model.steps[0]
    moment = fit.mean[1] ** 2 + fit.covariance[1, 1]
    assert wide.mean.tolist() == plain.mean.tolist()
    assert wide.sd**2 == pytest.approx(plain.sd**2 + moment * gain**2, rel=1e-12)


def test_a_distance_that_is_sure_changes_nothing_to_the_last_bit_and_an_unsure_one_is_the_pairings_own(fitted):
    model, rows = fitted(3), asked(np.random.default_rng(3), 3)
    farther = np.zeros((3, 4))
    farther[1, 0] = 0.5
    plain, wide = outlook(model, rows).whole, outlook(model, rows, farther=farther).whole
    assert (wide.sd != plain.sd).tolist() == [False, True, False]
    assert wide.sd[1] > plain.sd[1]


PLAIN = Recipe((Feature("linear"),), SCALE)
NAMES = "abcdef"


def counted(seed, crosses=25, whole=0):
    """A model of crosses counted at every stage, the first of them as a whole; who asks, and their rows."""
    rng = np.random.default_rng(seed)
    pairs = np.array([rng.choice(6, 2, replace=False) for _ in range(crosses)])
    units = rng.integers(1, 6, crosses)
    pods = rng.binomial(units, 0.8)
    held = rng.binomial(pods, 0.6)
    seeds = rng.poisson(8 * held)
    filled = rng.binomial(seeds, 0.6)
    counts = dict(zip(
        ("units", "pods_set", "pods_held", "seeds", "seeds_filled", "seeds_sown", "seedlings"),
        np.array([units, pods, held, seeds, filled, filled, rng.binomial(filled, 0.5)], dtype=float), strict=True,
    ))  # fmt: skip
    up = counts["seedlings"] > 0
    for column in counts.values():
        column[:whole] = np.nan
    counts |= {"tried": np.full(crosses, np.nan), "took": np.full(crosses, np.nan)}
    counts["tried"][:whole], counts["took"][:whole] = units[:whole], np.where(up, 1, 0)[:whole]
    told = step_counts(counts, np.full(crosses, 400.0), dict.fromkeys(STAGES, 0.0))
    parents = Parents(*([NAMES[i] for i in side] for side in pairs.T))
    model = fit_crosses(
        PLAIN, rng.normal(size=(crosses, 1)), told, np.ones(crosses), parents=parents, pod=(8.0, None), took=0,
        finished=0,
    )  # fmt: skip
    wanted = Parents(["a", "b", "c", "z"], ["b", "a", "f", "a"])
    return model, np.array([[0.0], [0.5], [-1.0], [np.nan]]), Pairings(Levels.of(model.seen, wanted))


@pytest.mark.parametrize("whole", [0, 10, 25])
def test_reasons_add_up_to_the_logit_of_every_step_and_of_the_whole(whole):
    model, rows, who = counted(1, whole=whole)
    believed = outlook(model, rows, who)
    for i, row in enumerate(rows):
        for step in STEPS:
            found = reasons(model, step, row, who[i : i + 1])
            total = found.base + sum(added for _, added, _ in found.terms)
            assert total == pytest.approx(believed.own[step].mean[i], abs=1e-9), step
        found = whole_reasons(model, row, who[i : i + 1], believed.at(i))
        assert found.base + sum(added for _, added, _ in found.terms) == pytest.approx(
            believed.whole.mean[i], abs=1e-12
        )


def test_what_was_counted_as_a_whole_alone_has_the_reasons_of_the_whole():
    model, rows, who = counted(2, whole=25)
    found = whole_reasons(model, rows[0], who[:1], outlook(model, rows, who).at(0))
    assert found.terms == reasons(model, WHOLE, rows[0], who[:1]).terms


def test_steps_that_nobody_counted_are_worked_out_only_where_they_speak():
    for whole, finer in ((25, False), (0, True)):
        model, rows, who = counted(3, whole=whole)
        full, quick = outlook(model, rows, who), outlook(model, rows, who, stages=False)
        assert set(full.steps) == set(STEPS)
        assert (set(quick.steps) == set(STEPS)) == finer
        assert quick.whole.mean == pytest.approx(full.whole.mean, abs=1e-12)
        assert quick.whole.sd == pytest.approx(full.whole.sd, abs=1e-12)


def test_a_step_is_moved_by_what_is_counted_of_its_parts():
    model, rows, who = counted(4)
    believed = outlook(model, rows, who)
    assert model.fit_of(WHOLE) is None
    before = step_logits(model, WHOLE, rows, who, learned=False)
    assert believed.own[WHOLE].mean.tolist() == before.mean.tolist()
    assert (believed.whole.sd < before.sd).all()
    assert believed.at(1).whole.mean.tolist() == [believed.whole.mean[1]]


def test_units_counted_one_by_one_join_what_was_counted_along_the_way():
    """Failures as a whole lower a chance that pods and seeds have raised."""
    chance_of_whole = []
    for extra in (0, 30):
        along = np.arange(20 + extra) < 20
        counts = {
            "units": np.where(along, 4.0, np.nan), "pods_held": np.where(along, 3.0, np.nan),
            "tried": np.where(along, np.nan, 5.0), "took": np.where(along, np.nan, 0.0),
        }  # fmt: skip
        told = step_counts(counts, np.full(20 + extra, 400.0), dict.fromkeys(STAGES, 0.0))
        parents = Parents(*([NAMES[(i + k * (1 + i // 6)) % 6] for i in range(20 + extra)] for k in (0, 1)))
        model = fit_crosses(
            PLAIN, np.zeros((20 + extra, 1)), told, np.ones(20 + extra), parents=parents, pod=(8.0, None), took=0,
            finished=0,
        )  # fmt: skip
        chance_of_whole.append(chances(outlook(model, np.zeros((1, 1))).whole).mean[0])
    assert chance_of_whole[1] < chance_of_whole[0] - 0.1


@pytest.mark.parametrize(("pods", "way"), [(0, -1), (6, 1)])
def test_checks_with_good_pollen_inform_the_plant_more_than_its_species(pods, way):
    """A new mother pollinated with good pollen of her own kind: what came of it speaks for her before her sisters."""
    counts = {"units": np.full(24, 6.0), "pods_set": np.r_[np.full(20, 3.0), np.full(4, float(pods))]}
    told = step_counts(counts, np.full(24, 400.0), dict.fromkeys(STAGES, 0.0))
    seed = ["a", "b", "c", "d"] * 5 + ["a"] * 4
    parents = Parents(seed, ["b", "c", "d", "a"] * 5 + ["a"] * 4, ["old"] * 20 + ["new"] * 4)
    model = fit_crosses(
        PLAIN, np.r_[np.zeros(20), np.full(4, -2.0)][:, None], told, np.ones(24), parents=parents, pod=(8.0, None),
        took=0, finished=0,
    )  # fmt: skip
    who = Pairings(Levels.of(model.seen, Parents(["a", "a"], ["d", "d"], ["new", None])))
    new, sister = outlook(model, np.zeros((2, 1)), who).steps["set"].mean
    assert way * (new - sister) > 0.02


PODS = st.sampled_from([SEEDS, SeedsPerPod(2.0, 1.0, cap=3)])
BELIEFS = st.tuples(st.floats(-4, 7), st.floats(1.0, 4.5))


@settings(max_examples=60, deadline=None)
@given(BELIEFS, st.tuples(BELIEFS, BELIEFS, BELIEFS, BELIEFS), PODS)
@example((4.0, 1.0), ((0.0, 1.0), (0.0, 1.0), (0.0, 1.0), (0.0, 4.5)), SEEDS)
def test_stages_as_shown_come_to_the_whole_as_shown(whole, stages, pods):
    """A flower that gives a seedling set a pod that held, so that no seedling is likelier than a pod.

    Some pods are empty whatever the pollen, so that there is a most that stages can come to.
    """
    shared = sharing_out(one(*whole), {stage: one(*belief) for stage, belief in zip(STAGES, stages, strict=True)}, pods)
    seedling = chances(one(*whole)).mean[0]
    most = float(pods.any_of_them(np.array(1.0)))
    assert chances(composed(shared, pods)[WHOLE]).mean[0] == pytest.approx(min(seedling, most), abs=1e-6)
    assert min(chances(shared[stage]).mean[0] for stage in ("set", "hold")) >= seedling - 0.005
