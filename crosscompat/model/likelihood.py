"""How well a chance per unit explains what was counted: "k of n", "none of n" (k = 0) and "some of n".

Of the last only that at least one of the n took is on record. All three are log-concave in the logit, so that Newton's
method has one mode to find.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]

_LEAST = 1e-300
_LOWEST = -500.0  # below this logit the slope of "some of n" is 1 to the last digit
_SMALL = 1e-6
_CHUNK = 30_000  # numbers that stay near the processor
_WIDE = 1.0
_FAR = 700.0  # beyond this logit the exponential is no number any more


@dataclass(frozen=True, slots=True)
class Counts:
    """What was counted, record by record, arrays of shape (n_records,).

    ``tried`` units, at least 1, of which so many ``took``; this is not read where ``some``, that is where only "some of
    these took" is known. ``weight`` is how much of a full record each one is, 1 for sound evidence.
    """

    tried: Floats
    took: Floats
    some: Flags
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

    ``eta``, and the result, are of shape (n_records,) or (n_records, k).

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


# Nodes in sds, with log weights for a function that is not yet divided by the normal: of Gauss and Hermite, and even
# ones, which err less where the likelihood cuts a wide normal off.
_HERMITE, _WEIGHTS = np.polynomial.hermite_e.hermegauss(16)
_EVEN = np.linspace(-8.0, 8.0, 48)
_RULES = ((_HERMITE, np.log(_WEIGHTS) + 0.5 * _HERMITE**2), (_EVEN, np.full(48, np.log(_EVEN[1] - _EVEN[0]))))


@dataclass(frozen=True, slots=True)
class TiltedMoments:
    """Records with the quadrature that suits each.

    Sixteen Gauss-Hermite nodes err by at most 0.001 where a logit has an sd of 1 or less; where it has a larger one the
    likelihood is sharp beside the normal and they err by hundredths. Forty-eight even nodes there err by less than
    0.001, up to sds of 5. ``parts`` holds which records, their counts, the nodes in sds and the logs of their weights.
    """

    parts: tuple[tuple[Ints, Counts, Floats, Floats], ...]
    size: int

    @classmethod
    def of(cls, counts: Counts, variance: Floats) -> TiltedMoments:
        """Choose a quadrature for each record, by how well its logit is known; a choice kept from sweep to sweep."""
        parts, wide = [], variance > _WIDE**2
        for which, (x, log_weight) in zip((~wide, wide), _RULES, strict=True):
            rows = np.flatnonzero(which)
            step = _CHUNK // x.size
            parts += [(at, counts[at], x, log_weight) for at in np.split(rows, range(step, rows.size, step)) if at.size]
        return cls(tuple(parts), variance.size)

    def moments(self, mean: Floats, variance: Floats, centre: Floats, width: Floats) -> tuple[Floats, Floats, Floats]:
        """Return log mass, mean and variance of normal times likelihood, each of shape (n_records,).

        ``mean`` and ``variance`` are those of the normal; the quadrature is laid out about ``centre`` in units of
        ``width``, about the mean and the sd of the product.
        """
        result = np.empty((3, self.size))
        for at, counts, x, log_weight in self.parts:
            eta = centre[at] + width[at] * x[:, None]
            logs = _likelihoods(eta, counts)
            eta -= mean[at]
            eta *= eta
            eta *= 0.5 / variance[at]
            logs -= eta
            logs += log_weight[:, None]
            top = logs.max(axis=0)
            with np.errstate(invalid="ignore"):  # what is no number shows in the result
                logs -= top
            total, first, second = np.stack([np.ones(x.size), x, x**2]) @ np.exp(logs, out=logs)
            first = first / total
            result[0, at] = top + np.log(total * width[at]) - 0.5 * np.log(2.0 * np.pi * variance[at])
            result[1, at] = centre[at] + width[at] * first
            result[2, at] = width[at] ** 2 * (second / total - first**2)
        return result[0], result[1], result[2]


def _likelihoods(eta: Floats, counts: Counts) -> Floats:
    """Return the weighted log likelihood of each record at each of its logits, shape (n_nodes, n_records)."""
    if counts.some.any() or eta.max(initial=0.0) > _FAR:
        return log_likelihoods(eta.T, counts).T
    missed = np.exp(eta)
    missed += 1.0
    np.log(missed, out=missed)  # as good as log1p in sums, and twice as quick
    missed *= -counts.tried
    missed += counts.took * eta
    missed *= counts.weight
    return missed
