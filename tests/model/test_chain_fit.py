from __future__ import annotations

import numpy as np
import pytest

from crosscompat.book.chain import chain_outcomes
from crosscompat.book.stages import STAGES
from crosscompat.model.chain_fit import fit_chain
from crosscompat.model.fitted import CHAIN, fit_stage, training_moments
from crosscompat.model.likelihood import Counts
from crosscompat.model.outlook import outlook, seedling_chances
from crosscompat.model.pairings import Levels, Pairings, Parents, seen_by
from crosscompat.model.prior import published
from crosscompat.pairing import recipe_for

NAN = np.nan
RECIPE = recipe_for(None, 1.0)
OPEN = dict.fromkeys(STAGES, 0.0)
POD = (8.0, None)
TRUE = np.array([0.8, 0.7, 0.6, 0.5])


def book(rng, crosses=120, species=6, flowers=5):
    """Crosses of a few species at all distances, counted at every stage."""
    pairs = rng.permuted(np.tile(np.arange(species), (crosses, 1)), axis=1)[:, :2]
    units = rng.integers(1, flowers + 1, crosses)
    pods = rng.binomial(units, TRUE[0])
    held = rng.binomial(pods, TRUE[1])
    seeds = rng.poisson(8 * held)
    filled = rng.binomial(seeds, TRUE[2])
    up = rng.binomial(filled, TRUE[3])
    counts = {
        "units": units, "pods_set": pods, "pods_held": held, "seeds": seeds, "seeds_filled": filled,
        "seeds_sown": filled, "seedlings": up,
    }  # fmt: skip
    return pairs, rng.uniform(0, 1, (crosses, 1)), {name: count.astype(float) for name, count in counts.items()}


def fit(pairs, rows, counts, weight=None, plants=(), **more):
    chain = chain_outcomes(counts, np.full(len(rows), 400.0), OPEN)
    seed, pollen = ([f"s{i}" for i in side] for side in pairs.T)
    parents = Parents(seed, pollen, plants)
    seen = seen_by(parents, crosses=len(rows), took=0, farthest=1.0, related=False)
    weight = np.ones(len(rows)) if weight is None else weight
    return fit_chain(RECIPE, rows, chain, weight, parents=parents, seen=seen, pod=POD, **more), seen, chain, parents


def test_a_book_without_gaps_is_four_fits_of_one_stage_each():
    pairs, rows, counts = book(np.random.default_rng(1), 40)
    model, seen, chain, parents = fit(pairs, rows, counts)
    levels = Levels.of(seen, parents)
    assert not chain.gaps.there.any()
    for stage, outcomes in zip(model.stages, chain.stages.values(), strict=True):
        at = np.flatnonzero(outcomes.known)
        judge = fit_stage(
            stage.stage, RECIPE, rows[at], Counts.of(outcomes.tried[at], outcomes.took[at]), levels[at], seen,
            means=training_moments(RECIPE, rows)[0],
        )  # fmt: skip
        assert stage.mean == pytest.approx(judge.mean, abs=1e-9)
        assert stage.effects.variances == pytest.approx(judge.effects.variances, abs=1e-9)


def test_no_crosses_leave_the_priors():
    none = np.empty((0, 1))
    counts = {"units": np.empty(0), "pods_set": np.empty(0)}
    model, *_ = fit(np.empty((0, 2), dtype=int), none, counts)
    for stage, name in zip(model.stages, CHAIN, strict=True):
        assert stage.mean == pytest.approx(published().prior_for(name, RECIPE.features).mean)
    assert model.seeds.mean == 8


def hidden(counts, failed_only, rng, share=0.6):
    """Forget the way of many crosses: of their counts only the flowers and the seedlings stay."""
    up = np.nan_to_num(counts["seedlings"])
    forgotten = rng.random(up.size) < share
    if failed_only:
        forgotten &= up == 0
    kept = {name: np.where(forgotten, NAN, count) for name, count in counts.items()}
    return kept | {"units": counts["units"], "seedlings": np.where(forgotten, up, counts["seedlings"])}, forgotten


def rates(model):
    """The chance of each stage of an average pairing at the mean logit."""
    return np.array([1 / (1 + np.exp(-stage.mean[0])) for stage in model.stages])


def test_failures_of_unknown_stage_are_shared_out_and_not_dropped():
    """With the stage of most failures forgotten, sharing keeps the rates near the full book's; dropping raises them."""
    off, dropped_off = [], []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        pairs, rows, counts = book(rng, flowers=1)
        kept, forgotten = hidden(counts, failed_only=True, rng=rng)
        full, shared = (rates(fit(pairs, rows, told)[0]) for told in (counts, kept))
        alone = {name: count[~forgotten] for name, count in kept.items()}
        dropped = rates(fit(pairs[~forgotten], rows[~forgotten], alone)[0])
        off.append(shared - full)
        dropped_off.append(dropped - full)
    assert np.abs(np.mean(off, axis=0)).max() < 0.06
    assert np.mean(dropped_off, axis=0)[:2].max() > 0.1


def test_good_seeds_alone_tell_of_filling_through_the_seeds_expected():
    rng = np.random.default_rng(3)
    pairs, rows, counts = book(rng)
    only_good = counts | {"seeds": np.where(np.arange(120) < 60, NAN, counts["seeds"])}
    full, good = (fit(pairs, rows, told)[0] for told in (counts, only_good))
    assert rates(good)[2] == pytest.approx(rates(full)[2], abs=0.05)
    assert good.seeds.mean == pytest.approx(full.seeds.mean, rel=0.1)


def test_units_counted_one_by_one_join_the_chain():
    rng = np.random.default_rng(4)
    pairs, rows, counts = book(rng, 60)
    plain = {name: np.append(count, [NAN] * 30) for name, count in counts.items()}
    plain |= {"tried": np.append([NAN] * 60, [5.0] * 30), "took": np.append([NAN] * 60, [0.0] * 30)}
    more_pairs, more_rows = np.concatenate([pairs, pairs[:30]]), np.concatenate([rows, rows[:30]])
    before, after = fit(pairs, rows, counts)[0], fit(more_pairs, more_rows, plain)[0]
    here = np.array([[0.5]])
    assert seedling_chances(outlook(after, here), 1).mean[0] < seedling_chances(outlook(before, here), 1).mean[0] - 0.1


def test_half_a_record_moves_half_as_much_as_none_to_all():
    rng = np.random.default_rng(5)
    pairs, rows, counts = book(rng, 30)
    counts["pods_set"][-10:] = counts["units"][-10:]
    none, half, whole = (
        fit(pairs, rows, counts, weight=np.where(np.arange(30) < 20, 1.0, share))[0].stages[0].mean[0]
        for share in (1e-9, 0.5, 1.0)
    )
    assert none < half < whole


@pytest.mark.parametrize(("pods", "way"), [(0, -1), (6, 1)])
def test_known_good_checks_inform_the_plant_more_than_its_species(pods, way):
    """A new mother pollinated with good pollen of her own kind: what came of it speaks for her before her sisters."""
    pairs, rows, counts = book(np.random.default_rng(6), 60)
    checks = 4
    own = np.zeros((checks, 2), dtype=int)
    more = {name: np.append(count, [NAN] * checks) for name, count in counts.items()}
    more["units"][-checks:], more["pods_set"][-checks:] = 6, pods
    plants = [*("old" for _ in rows), *("new" for _ in own)]
    model, seen, *_ = fit(
        np.concatenate([pairs, own]), np.concatenate([rows, np.zeros((checks, 1))]), more, plants=plants
    )
    asked = Pairings(Levels.of(seen, Parents(["s0", "s0"], ["s3", "s3"], ["new", None])))
    new, sister = outlook(model, np.array([[0.5], [0.5]]), asked).stages[0].mean
    assert way * (new - sister) > 0.02
