"""How well a chance per unit explains what was counted.

Three kinds of count are known: "k of n", "none of n" (k = 0) and "some of n", where only that at least one of the n
took is on record. All three are log-concave in the logit, so that Newton's method has one mode to find.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_LEAST = 1e-300
_LOWEST = -500.0  # below this logit the slope of "some of n" is 1 to the last digit
_SMALL = 1e-6


@dataclass(frozen=True, slots=True)
class Counts:
    """What was counted, record by record, arrays of shape (n_records,).

    Attributes
    ----------
    tried, took : ndarray of float
        Units tried, at least 1, and units that took; the latter is not read where ``some``.
    some : ndarray of bool
        True where only "some of these took" is known.
    weight : ndarray of float
        How much of a full record each one is; 1 for sound evidence.
    """

    tried: Floats
    took: Floats
    some: NDArray[np.bool_]
    weight: Floats

    @classmethod
    def of(
        cls, tried: ArrayLike, took: ArrayLike, some: ArrayLike | None = None, weight: ArrayLike | None = None
    ) -> Counts:
        """Build counts from arrays, with "k of n" and weight 1 where nothing else is said."""
        units = np.asarray(tried, dtype=np.float64)
        return cls(
            units,
            np.asarray(took, dtype=np.float64),
            np.zeros(units.shape, dtype=np.bool_) if some is None else np.asarray(some, dtype=np.bool_),
            np.ones(units.shape) if weight is None else np.asarray(weight, dtype=np.float64),
        )

    def __getitem__(self, at: NDArray[np.intp]) -> Counts:
        return Counts(self.tried[at], self.took[at], self.some[at], self.weight[at])


def _softplus(eta: Floats) -> Floats:
    return np.maximum(eta, 0.0) + np.log1p(np.exp(-np.abs(eta)))


def chance(eta: Floats) -> Floats:
    """Return the chances that logits stand for, of any shape.

    Examples
    --------
    >>> chance(np.array([0.0, -800.0]))
    array([0.5, 0. ])
    """
    return np.exp(-_softplus(-eta))


def log_likelihoods(eta: Floats, counts: Counts) -> Floats:
    """Return the weighted log likelihood of each record at each of its logits, without the binomial coefficients.

    ``eta`` are logits of the chance per unit, shape (n_records,) or (n_records, k), as is the result.

    Examples
    --------
    >>> log_likelihoods(np.zeros(1), Counts.of([2], [1])).round(4)  # 2 log(1/2)
    array([-1.3863])
    """
    tried, took, weight = ((a[:, None] if eta.ndim > 1 else a) for a in (counts.tried, counts.took, counts.weight))
    missed = tried * _softplus(eta)
    value: Floats = took * eta - missed
    if counts.some.any():
        with np.errstate(divide="ignore"):
            value[counts.some] = np.log(-np.expm1(-missed[counts.some]))
    return weight * value


def log_likelihood(eta: Floats, counts: Counts) -> float:
    """Return the sum of :func:`log_likelihoods`."""
    return float(log_likelihoods(eta, counts).sum())


def derivatives(eta: Floats, counts: Counts) -> tuple[Floats, Floats, Floats]:
    """Return each record's slope, curvature (minus the second derivative, above 0) and the slope of that curvature.

    Examples
    --------
    >>> [float(a[0]) for a in derivatives(np.zeros(1), Counts.of([4], [3]))]
    [1.0, 1.0, 0.0]
    """
    hit, miss = chance(eta), chance(-eta)
    gradient: Floats = counts.took * miss - (counts.tried - counts.took) * hit
    bend: Floats = counts.tried * hit * miss
    slope: Floats = bend * (miss - hit)
    some = counts.some
    if some.any():
        gradient[some], bend[some], slope[some] = _some(counts.tried[some], eta[some])
    return counts.weight * gradient, np.maximum(counts.weight * bend, _LEAST), counts.weight * slope


def _some(tried: Floats, eta: Floats) -> tuple[Floats, Floats, Floats]:
    """Give the derivatives of log(1 - (1 - p)^n), stable in both tails."""
    within = np.maximum(eta, _LOWEST)
    hit, miss = chance(within), chance(-within)
    missed = tried * _softplus(within)
    with np.errstate(over="ignore"):
        gradient = tried * hit / np.expm1(missed)
    per_trial = tried * hit / np.maximum(-np.expm1(-missed), _LEAST)
    # per_trial - miss loses its digits as p goes to 0, where it tends to p (n + 1) / 2
    gap = np.where(missed > _SMALL, per_trial - miss, hit * (tried + 1.0) / 2.0)
    slope = gradient * (per_trial * miss - per_trial * gradient + hit * miss) - gradient * gap**2
    return gradient, np.maximum(gradient * gap, 0.0), slope
