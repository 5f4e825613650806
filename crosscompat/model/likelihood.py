"""How well a chance per unit explains what was counted.

Three kinds of count are known: "k of n", "none of n" (k = 0) and "some of n", where only that at least one of the n
took is on record. All three are log-concave in the logit, so that Newton's method has one mode to find.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Counts", "Floats", "curvature", "log_likelihood", "score"]

Floats = NDArray[np.float64]

_LOWEST = -500.0  # below this logit the slope of "some of n" is 1 to the last digit


@dataclass(frozen=True, slots=True)
class Counts:
    """What was counted, record by record.

    Attributes
    ----------
    tried : ndarray of float, shape (n_records,)
        Units tried, at least 1.
    took : ndarray of float, shape (n_records,)
        Units that took, between 0 and ``tried``; not read where ``some``.
    some : ndarray of bool, shape (n_records,)
        True where only "some of these took" is known.
    weight : ndarray of float, shape (n_records,)
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
        """Build counts from arrays, with "k of n" and weight 1 where nothing else is said.

        Examples
        --------
        >>> Counts.of([4, 4], [1, 0]).weight
        array([1., 1.])
        """
        units = np.asarray(tried, dtype=np.float64)
        return cls(
            units,
            np.asarray(took, dtype=np.float64),
            np.zeros(units.shape, dtype=np.bool_) if some is None else np.asarray(some, dtype=np.bool_),
            np.ones(units.shape) if weight is None else np.asarray(weight, dtype=np.float64),
        )


def _softplus(eta: Floats) -> Floats:
    return np.logaddexp(0.0, eta)


def _chance(eta: Floats) -> Floats:
    return np.exp(-_softplus(-eta))


def log_likelihood(eta: Floats, counts: Counts) -> float:
    """Return the weighted log likelihood at logits ``eta``, without the binomial coefficients.

    Parameters
    ----------
    eta : ndarray of float, shape (n_records,)
        Logit of the chance per unit.
    counts : Counts
        What was counted.

    Examples
    --------
    One unit of two took, and at least one of two, both at an even chance: log(1/4) and log(3/4).

    >>> import numpy as np
    >>> both = Counts.of([2, 2], [1, 2], some=[False, True])
    >>> bool(np.isclose(log_likelihood(np.zeros(2), both), np.log(1 / 4) + np.log(3 / 4)))
    True
    """
    missed = counts.tried * _softplus(eta)
    with np.errstate(divide="ignore"):
        at_least_one = np.log(-np.expm1(-missed))
    exact = counts.took * eta - missed
    return float(counts.weight @ np.where(counts.some, at_least_one, exact))


def score(eta: Floats, counts: Counts) -> Floats:
    """Return the derivative of each record's log likelihood by its logit, shape (n_records,).

    Examples
    --------
    >>> import numpy as np
    >>> score(np.zeros(2), Counts.of([4, 1], [3, 1], some=[False, True]))
    array([1. , 0.5])
    """
    chance = _chance(eta)
    expected = counts.tried * chance
    return counts.weight * np.where(counts.some, _some_score(eta, counts.tried), counts.took - expected)


def curvature(eta: Floats, counts: Counts) -> Floats:
    """Return minus the second derivative of each record's log likelihood by its logit, never negative.

    Examples
    --------
    >>> import numpy as np
    >>> curvature(np.zeros(2), Counts.of([4, 1], [3, 1], some=[False, True]))
    array([1.  , 0.25])
    """
    chance = _chance(eta)
    spread = counts.tried * chance * (1.0 - chance)
    slope = _some_score(eta, counts.tried)
    some = slope * (counts.tried * chance + slope - (1.0 - chance))
    return counts.weight * np.where(counts.some, np.maximum(some, 0.0), spread)


def _some_score(eta: Floats, tried: Floats) -> Floats:
    within = np.maximum(eta, _LOWEST)
    with np.errstate(over="ignore"):
        return tried * _chance(within) / np.expm1(tried * _softplus(within))
