"""From a pairing's row of numbers to a chance with its uncertainty, and the reasons that add up to it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.fitted import FittedModel
from crosscompat.model.likelihood import Floats

__all__ = ["MOST_FLOWERS", "Chances", "Logits", "Reasons", "chance_of", "chances", "flowers_for", "logits", "reasons"]

MOST_FLOWERS = 200

_NORMAL_95 = 1.6448536269514722  # the 95th percentile: 90% lie between it and its negative
_STEP, _STEPS = 1 / 6, 51


@dataclass(frozen=True, slots=True)
class Logits:
    """Logit of the chance per unit, as a Gaussian.

    Attributes
    ----------
    mean, sd : ndarray of float, shape (n_pairs,)
    """

    mean: Floats
    sd: Floats


@dataclass(frozen=True, slots=True)
class Chances:
    """Chance of at least one seedling.

    Attributes
    ----------
    mean, low, high : ndarray of float, shape (n_pairs,)
        Posterior mean, and the 5th and 95th percentiles.
    """

    mean: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why one pairing's logit is what it is: ``base`` and ``terms`` add up to the posterior mean exactly.

    Attributes
    ----------
    base : float
        Logit of a pairing that is average in everything.
    terms : tuple of (str, float, float or None)
        Name of the feature, what it adds, and its value; None where unknown, which adds nothing.
    """

    base: float
    terms: tuple[tuple[str, float, float | None], ...]


def logits(model: FittedModel, rows: Floats) -> Logits:
    """Return the logit of the chance per unit of each pairing.

    Parameters
    ----------
    model : FittedModel
        What was learned.
    rows : ndarray of float, shape (n_pairs, n_features)
        An unknown number (NaN) is put at its training mean and widens the answer by (b² + var b) s², with b its
        coefficient and s² its variance among the crosses fitted.

    Examples
    --------
    Halfway to the reference the intercept of the prior speaks alone.

    >>> from crosscompat.model.fitted import prior_model
    >>> from crosscompat.pairing import recipe_for
    >>> answer = logits(prior_model(recipe_for(None, reference=2.0)), np.array([[0.5]]))
    >>> answer.mean, answer.sd
    (array([-0.5]), array([1.5]))
    """
    stage = model.stages[0]
    unknown = np.isnan(rows)
    filled = np.where(unknown, model.means, rows)
    design = np.column_stack([np.ones(len(rows)), filled - model.centre])
    variance = np.einsum("ij,jk,ik->i", design, stage.covariance, design)
    second_moment = stage.mean[1:] ** 2 + np.diag(stage.covariance)[1:]
    variance += unknown @ (second_moment * model.variances)
    return Logits(design @ stage.mean, np.sqrt(variance))


def chances(answer: Logits, flowers: ArrayLike = 1) -> Chances:
    """Return the chance of at least one seedling from a number of flowers.

    Parameters
    ----------
    answer : Logits
        Logit of the chance per unit.
    flowers : array_like of int
        Units pollinated, one number or one a pairing.

    Notes
    -----
    With p the chance per unit, the chance from N units is 1 - (1 - p)^N for each p that the posterior allows; the mean
    is taken over the Gaussian by the trapezoid rule, whose error falls exponentially for so smooth a curve [1]_.

    References
    ----------
    .. [1] Trefethen LN, Weideman JAC (2014). The exponentially convergent trapezoidal rule. SIAM Review 56:385-458.

    Examples
    --------
    A logit known to be 0 is an even chance a flower, 3 in 4 from two.

    >>> import numpy as np
    >>> certain = Logits(np.zeros(1), np.zeros(1))
    >>> chances(certain).mean.round(6), chances(certain, 2).mean.round(6)
    (array([0.5]), array([0.75]))
    """
    units = np.asarray(flowers, dtype=np.float64)
    nodes, weights = _quadrature()
    mean = np.zeros(answer.mean.shape)
    for node, weight in zip(nodes, weights, strict=True):
        mean += weight * _at_least_one(answer.mean + node * answer.sd, units)
    reach = _NORMAL_95 * answer.sd
    return Chances(mean, _at_least_one(answer.mean - reach, units), _at_least_one(answer.mean + reach, units))


def chance_of(logit: float) -> float:
    """Return the chance that a logit stands for.

    Examples
    --------
    >>> chance_of(0.0)
    0.5
    """
    return float(np.exp(-np.logaddexp(0.0, -logit)))


def flowers_for(answer: Logits, target: float) -> NDArray[np.int64]:
    """Return the fewest flowers whose mean chance reaches ``target``; 0 where more than 200 are needed.

    Examples
    --------
    >>> import numpy as np
    >>> certain = Logits(np.array([0.0, -9.0]), np.zeros(2))
    >>> flowers_for(certain, 0.8)
    array([3, 0])
    """
    low = np.zeros(answer.mean.shape, dtype=np.int64)
    high = np.full(answer.mean.shape, MOST_FLOWERS + 1, dtype=np.int64)
    while np.any(high - low > 1):
        middle = (low + high) // 2
        enough = chances(answer, middle).mean >= target
        high, low = np.where(enough, middle, high), np.where(enough, low, middle)
    return np.where(high > MOST_FLOWERS, 0, high)


def reasons(model: FittedModel, row: Floats) -> Reasons:
    """Return what each feature of one pairing adds to the logit of its chance, against an average pairing.

    Parameters
    ----------
    model : FittedModel
        What was learned.
    row : ndarray of float, shape (n_features,)
        The pairing's numbers, NaN where unknown.
    """
    slopes = model.stages[0].mean
    base = float(slopes[0] + (model.means - model.centre) @ slopes[1:])
    terms = []
    for name, value, mean, slope in zip(model.recipe.names, row, model.means, slopes[1:], strict=True):
        unknown = bool(np.isnan(value))
        added = 0.0 if unknown else float(slope * (value - mean)) + 0.0  # the last zero clears the sign of -0.0
        terms.append((name, added, None if unknown else float(value)))
    return Reasons(base, tuple(terms))


def _at_least_one(eta: Floats, units: Floats) -> Floats:
    chance: Floats = -np.expm1(-units * np.logaddexp(0.0, eta))
    return chance


@cache
def _quadrature() -> tuple[Floats, Floats]:
    nodes = _STEP * np.arange(-_STEPS, _STEPS + 1, dtype=np.float64)
    weights = np.exp(-0.5 * nodes**2)
    return nodes.astype(np.float64), np.asarray(weights / weights.sum(), dtype=np.float64)
