"""One phylogenetic share lambda for all stages.

How much of a species' effect runs in the family is taken to be the same at every stage. Each stage is integrated by
itself; what the other stages say of lambda then weighs its points anew, as a message on the coordinate of lambda [1]_.

References
----------
.. [1] Minka TP (2001). Expectation propagation for approximate Bayesian inference. UAI 17:362-369.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np

from crosscompat.model.likelihood import Floats
from crosscompat.model.variances import Point

__all__ = ["agree_on_share"]

_INSIDE = 1e-12
_STANDARD = NormalDist()


def agree_on_share(stages: tuple[tuple[Point, ...], ...]) -> tuple[tuple[Point, ...], ...]:
    """Weigh the points of every stage by what the other stages say of lambda.

    Parameters
    ----------
    stages : tuple of tuple of Point
        Stage by stage, as `integrate` gives them.

    Notes
    -----
    A stage's own word is the Gaussian that turns the prior of the coordinate, standard normal, into the mean and
    variance of its points; one that is wider than the prior says nothing.
    """
    if any(len(points) == 1 for points in stages):
        return stages
    places = [np.array([_coordinate(point.mode.scales.share) for point in points]) for points in stages]
    weights = [np.array([point.weight for point in points]) for points in stages]
    words = np.array([_word(z, w) for z, w in zip(places, weights, strict=True)])
    others = words.sum(axis=0) - words
    found = []
    for points, z, w, (precision, pull) in zip(stages, places, weights, others, strict=True):
        new = w * np.exp(pull * z - 0.5 * precision * z**2)
        new /= new.sum()
        found.append(tuple(replace(point, weight=float(share)) for point, share in zip(points, new, strict=True)))
    return tuple(found)


def _coordinate(share: float) -> float:
    """Return the coordinate of a share: that of its probability under Beta(2, 2) in a standard normal."""
    below = share * share * (3.0 - 2.0 * share)
    return _STANDARD.inv_cdf(min(max(below, _INSIDE), 1.0 - _INSIDE))


def _word(z: Floats, weight: Floats) -> tuple[float, float]:
    """Precision and precision times mean of what one stage says beyond the prior."""
    mean = float(weight @ z)
    variance = float(weight @ (z - mean) ** 2)
    precision = max(1.0 / max(variance, _INSIDE) - 1.0, 0.0)
    return precision, mean / max(variance, _INSIDE) if precision > 0 else 0.0
