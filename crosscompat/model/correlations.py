"""How the forecasts of several pairings go together: a poor mother fails all of hers."""

from __future__ import annotations

import numpy as np

from crosscompat.model.composition import Logits
from crosscompat.model.fitted import FittedModel, design_of, prior_step
from crosscompat.model.forecast import all_joined, effect_columns, step_logits
from crosscompat.model.likelihood import Floats, Ints
from crosscompat.model.pairings import Pairings, Parents
from crosscompat.stages import STEPS, WHOLE

_NUDGE = 1e-3
_DRAWS, _SEED = 4_000, 18


def correlations(model: FittedModel, rows: Floats, asked: Pairings, parents: Parents) -> Floats:
    """Return how the logits of some pairings go together, shape (n_pairs, n_pairs).

    Each step that was counted adds its covariance, as far as the logit of the whole follows it (the delta method). Two
    pairings share the coefficients, the effects of parents crossed before, and those of a parent that both have and
    nobody crossed; the fate of one cross is its own.

    Examples
    --------
    Before any cross, two pairings of one mother go together more than two that share nobody.

    >>> from crosscompat.model.composition import SeedsPerPod
    >>> from crosscompat.model.fitted import prior_model
    >>> from crosscompat.model.pairings import strangers
    >>> from crosscompat.pairing import DistanceScale, recipe_for
    >>> model = prior_model(recipe_for(None, DistanceScale(1.0, ())), SeedsPerPod(20.0, 1.0))
    >>> parents = Parents(["a", "a", "c"], ["x", "y", "z"])
    >>> found = correlations(model, np.zeros((3, 0)), strangers(3), parents)
    >>> bool(found[0, 1] > found[0, 2] > 0), np.diag(found).tolist()
    (True, [1.0, 1.0, 1.0])
    """
    found = np.zeros((len(rows), len(rows)))
    for step, share in _sensitivities(model, rows, asked).items():
        found += np.outer(share, share) * _covariances(model, step, rows, asked, parents)
    sd = np.sqrt(np.diag(found))
    found /= np.outer(sd, sd)
    return np.asarray(np.clip(found, -1.0, 1.0))


def number_that_take(correlation: Floats, whole: Logits, flowers: Ints) -> tuple[int, int]:
    """Return between which two numbers lies, nine times in ten, how many of some pairings give a seedling.

    Parameters
    ----------
    correlation : ndarray of float, shape (n_pairs, n_pairs)
        As from `correlations`.
    whole : Logits
        Of a seedling from one flower.
    flowers : ndarray of int, shape (n_pairs,)

    Examples
    --------
    Two even chances of pairings that fail together: none or both.

    >>> number_that_take(np.ones((2, 2)), Logits(np.zeros(2), np.full(2, 50.0)), np.ones(2, dtype=np.intp))
    (0, 2)
    """
    random = np.random.default_rng(_SEED)
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    logits = whole.mean + whole.sd * (random.standard_normal((_DRAWS, whole.mean.size)) @ root.T)
    chance = -np.expm1(-flowers * np.logaddexp(0.0, logits))
    low, high = np.quantile((random.random(chance.shape) < chance).sum(axis=1), (0.05, 0.95))
    return int(low), int(high)


def _sensitivities(model: FittedModel, rows: Floats, asked: Pairings) -> dict[str, Floats]:
    """Return how far the logit of the whole follows that of each step that was counted, shape (n_pairs,) each."""
    counted = [fit.step for fit in model.steps if fit.step != WHOLE]
    shares = {WHOLE: np.ones(len(rows))}
    if not counted:
        return shares
    prior = {step: step_logits(model, step, rows, asked, learned=False) for step in STEPS}
    own = {step: step_logits(model, step, rows, asked) for step in STEPS}
    here = all_joined(model, prior, own)[WHOLE].mean
    for step in (WHOLE, *counted):
        moved = Logits(own[step].mean + _NUDGE, own[step].sd)
        shares[step] = (all_joined(model, prior, {**own, step: moved})[WHOLE].mean - here) / _NUDGE
    return shares


def _covariances(model: FittedModel, step: str, rows: Floats, asked: Pairings, parents: Parents) -> Floats:
    """Return the covariances of the logits of one step, by what was counted at it, shape (n_pairs, n_pairs)."""
    fit, levels = model.fit_of(step) or prior_step(model, step), asked.levels
    columns, extra = effect_columns(fit, asked)
    columns[:, : fit.sizes[0]] = design_of(model.recipe, rows, model.means)
    found: Floats = columns @ fit.covariance @ columns.T
    own = np.diag(found) + extra + fit.variances[4:].sum()
    sides = (
        (levels.seed, parents.seed), (levels.pollen, parents.pollen),
        (levels.seed_plant, parents.seed_plants), (levels.pollen_plant, parents.pollen_plants),
    )  # fmt: skip
    for variance, (level, names) in zip(fit.variances[:4], sides, strict=True):
        if len(names):
            named = np.array([name or "" for name in names])
            new = (level < 0) & (named != "")
            found += variance * (np.equal.outer(named, named) & np.logical_and.outer(new, new))
    found[np.diag_indices(len(found))] = own
    return found
