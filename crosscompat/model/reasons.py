"""The reasons that add up to the logit of a pairing, and what each past cross weighs in it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crosscompat.model.composition import share_means
from crosscompat.model.fitted import FittedModel, Past, StepFit, design_of, offset_of, prior_step
from crosscompat.model.forecast import Outlook, all_joined, effect_columns, step_logits
from crosscompat.model.likelihood import Floats, Ints
from crosscompat.model.pairings import Pairings
from crosscompat.model.prior import centre_of
from crosscompat.stages import STEPS, WHOLE

_MOST_SCALE = 2.0

TERMS = ("seed parent", "pollen parent", "seed plant", "pollen plant", "pair", "direction")


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why one pairing's logit is what it is: ``base`` and ``terms`` add up to the posterior mean exactly.

    ``base`` is the logit of a pairing that is average in everything. A term is the name of a feature, what it adds, and
    its value; None where unknown, which adds nothing. Then come those of ``TERMS`` of which the crosses say something;
    their value is 1 if the parent, plant or pair is among the crosses fitted, 0 if its relatives or the other direction
    speak.
    """

    base: float
    terms: tuple[tuple[str, float, float | None], ...]


def reasons(model: FittedModel, step: str, row: Floats, asked: Pairings | None = None) -> Reasons:
    """Return what each feature of one pairing adds to the logit of a step of ``STEPS``, against an average pairing.

    ``row`` is of shape (n_features,), NaN where unknown; ``asked`` the one pairing, by default of parents that no cross
    was made with. What is counted of the step's parts says nothing here (`whole_reasons`).
    """
    fit = model.fit_of(step) or prior_step(model, step)
    slopes = fit.coefficients if step == WHOLE else fit.coefficients + _share_of_whole(model, step, row)
    base = float(slopes[0] + (model.means - centre_of(model.recipe.features)) @ slopes[1:])
    design = design_of(model.recipe, row[None, :], model.means)
    offset = float(offset_of(model, step, design)[0] + design[0] @ fit.coefficients)
    terms = []
    for name, value, mean, slope in zip(model.recipe.names, row, model.means, slopes[1:], strict=True):
        unknown = bool(np.isnan(value))
        added = 0.0 if unknown else float(slope * (value - mean)) + 0.0  # the last zero clears the sign of -0.0
        terms.append((name, added, None if unknown else float(value)))
    base += offset - base - sum(added for _, added, _ in terms)
    if asked is not None and fit.past is not None:
        terms += _effect_terms(fit, asked)
    return Reasons(base, tuple(terms))


def _share_of_whole(model: FittedModel, step: str, row: Floats) -> Floats:
    """Return the prior coefficients of a step: those of the whole, as steep as the share is at this pairing."""
    design = design_of(model.recipe, row[None, :], model.means)
    near = share_means(design @ model.prior.mean + [-0.5, 0.5], model.seeds)[step]
    return np.asarray((near[1] - near[0]) * model.prior.mean)


def whole_reasons(model: FittedModel, row: Floats, asked: Pairings, believed: Outlook) -> Reasons:
    """Return what each feature, parent and pair of one pairing adds to the logit of a seedling from one flower.

    The arguments are those of `reasons`, and what is believed of that pairing. What the counts along the way add is
    told apart step by step, each step joining those before it; within a step it goes to features, parents and pairs as
    they move the logit of that step. What no term accounts for is in the base.
    """
    result = reasons(model, WHOLE, row, asked)
    terms = {name: added for name, added, _ in result.terms}
    values = {name: value for name, _, value in result.terms}
    for step, gain in _gains(model, row, asked, believed):
        moved = _moved_at(model, step, row, asked)
        total = sum(added for added, _ in moved.values())
        scale = gain / total if total else np.inf
        if not 0.0 <= scale <= _MOST_SCALE:
            continue
        for name, (added, value) in moved.items():
            if name == "base":
                continue
            terms[name] = terms.get(name, 0.0) + scale * added
            values.setdefault(name, value)
    base = float(believed.whole.mean[0]) - sum(terms.values())
    return Reasons(base, tuple((name, added, values[name]) for name, added in terms.items()))


def _gains(model: FittedModel, row: Floats, asked: Pairings, believed: Outlook) -> list[tuple[str, float]]:
    """Return what each step that was counted along the way adds to the logit of the whole, one after the other."""
    learned = [fit.step for fit in model.steps if fit.step != WHOLE]
    if not learned:
        return []
    prior = {step: step_logits(model, step, row[None, :], asked, learned=False) for step in STEPS}
    own = {**prior, WHOLE: believed.own[WHOLE]}
    reached, gains = float(own[WHOLE].mean[0]), []
    for i, step in enumerate(learned):
        own[step] = believed.own[step]
        so_far = replace(model, steps=tuple(fit for fit in model.steps if fit.step in {*learned[: i + 1], WHOLE}))
        now = float(all_joined(so_far, prior, own)[WHOLE].mean[0])
        gains.append((step, now - reached))
        reached = now
    return gains


def _moved_at(model: FittedModel, step: str, row: Floats, asked: Pairings) -> dict[str, tuple[float, float | None]]:
    """Return how far the crosses counted at a step moved its logit from the prior, by what moved it."""
    after = reasons(model, step, row, asked)
    before = reasons(replace(model, steps=()), step, row)
    was = {name: added for name, added, _ in before.terms}
    moved: dict[str, tuple[float, float | None]] = {"base": (after.base - before.base, None)}
    return moved | {name: (added - was.get(name, 0.0), value) for name, added, value in after.terms}


def _effect_terms(fit: StepFit, asked: Pairings) -> list[tuple[str, float, float | None]]:
    """Return what the effects of one pairing add, where the crosses say something of them."""
    rows, _ = effect_columns(fit, asked)
    levels, terms = asked.levels, []
    seen = (levels.seed, levels.pollen, levels.seed_plant, levels.pollen_plant)
    for k, name in enumerate(TERMS[:4]):
        added = 0.0
        for block in (k, 4 + k) if name in TERMS[:2] else (k,):
            begin, end = fit.block(block)
            added += float(rows[0, begin:end] @ fit.mean[begin:end])
        if fit.variances[k] > 0:
            terms.append((name, added, float(seen[k][0] >= 0)))
    [tie] = fit.pairs.find(levels.seed, levels.pollen)
    if tie >= 0:
        own = fit.pairs.direction[tie]
        terms += [("pair", float(fit.pairs.pair[tie]), 1.0), ("direction", float(own), float(own != 0))]
    return [(name, added, value) for name, added, value in terms if added != 0]


def past_weights(past: Past, x: Floats, asked: Pairings) -> Floats:
    """Return what each past cross adds to the logit of each pairing, shape (n_pairs, n_records).

    ``x`` is as in ``Past``, shape (n_pairs, p); what is unknown stands at its training mean. The weight of cross i is
    K(x, x_i) (k_i - n_i p_i) at the mode, with K the prior covariance of the two logits: added to the prior logit the
    weights give the logit at the mode exactly. Every cross also moves the intercept, which all pairings share:
    `base_shift` is the sum of that part.
    """
    covariance: Floats = (x * past.prior_sd**2) @ past.x.T
    then, now = past.levels, asked.levels
    seed, pollen = _same(now.seed, then.seed), _same(now.pollen, then.pollen)
    covariance += past.variances[0] * _related(seed, asked.seed_kin, then.seed, past.share)
    covariance += past.variances[1] * _related(pollen, asked.pollen_kin, then.pollen, past.share)
    covariance += past.variances[2] * _same(now.seed_plant, then.seed_plant)
    covariance += past.variances[3] * _same(now.pollen_plant, then.pollen_plant)
    other_way = _same(now.seed, then.pollen) & _same(now.pollen, then.seed)
    covariance += past.variances[4] * (seed & pollen | other_way) + past.variances[5] * (seed & pollen)
    return np.asarray(covariance * past.gradient)


def base_shift(past: Past) -> Floats:
    """Return the part of each past cross that moves the intercept, and so every pairing alike, shape (n_records,)."""
    return np.asarray(past.prior_sd[0] ** 2 * past.gradient)


def _same(here: Ints, there: Ints) -> NDArray[np.bool_]:
    return np.asarray((here[:, None] == there[None, :]) & (here[:, None] >= 0))


def _related(same: NDArray[np.bool_], kin: Floats | None, there: Ints, share: float) -> Floats:
    """Correlation of the effects of species asked about and species crossed."""
    return same.astype(np.float64) if kin is None else np.asarray(share * kin[:, there] + (1.0 - share) * same)
