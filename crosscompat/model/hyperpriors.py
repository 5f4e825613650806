"""Priors of the unknown scales, each written as a coordinate that is standard normal before any record.

A standard deviation is s F⁻¹(Φ(z)) with F the half-normal distribution, the phylogenetic share lambda is G⁻¹(Φ(z)) with
G that of Beta(2, 2). Where the data say nothing the posterior of z is then exactly standard normal, and where a
standard deviation may be 0 it trails off gently to the left.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, erfc, exp, pi, sin, sqrt
from statistics import NormalDist

import numpy as np

from crosscompat.model.gaussian import Scales
from crosscompat.model.likelihood import Floats

__all__ = ["Coordinates", "beta22", "half_normal"]

_NORMAL = NormalDist()
_FAR = 5.0


def half_normal(z: float) -> tuple[float, float]:
    """Return the quantile of |N(0, 1)| at Φ(z), and its slope in z.

    Examples
    --------
    >>> round(half_normal(0.0)[0], 4)  # the median of |N(0, 1)|
    0.6745
    """
    y = sqrt(pi / 2.0) * _NORMAL.cdf(z) if z < -_FAR else -_NORMAL.inv_cdf(0.25 * erfc(z / sqrt(2.0)))
    return y, 0.5 * exp(0.5 * (y * y - z * z))


def beta22(z: float) -> tuple[float, float]:
    """Return the quantile of Beta(2, 2) at Φ(z), and its slope in z.

    Examples
    --------
    >>> round(beta22(0.0)[0], 4)
    0.5
    """
    x = 0.5 - sin(asin(1.0 - 2.0 * _NORMAL.cdf(z)) / 3.0)
    density = 6.0 * x * (1.0 - x)
    return x, _NORMAL.pdf(z) / density if density > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Coordinates:
    """Which scales are unknown, and how a vector of coordinates becomes scales.

    Attributes
    ----------
    prior : ndarray of float, shape (n_factors,), or None
        Half-normal scale of each standard deviation. None: coordinates are log sd and logit lambda, without a prior.
    factors : int
        Number of factors.
    related : bool
        Whether any factor has a kinship, so that lambda is unknown; it is the last coordinate.
    """

    prior: Floats | None
    factors: int
    related: bool

    @property
    def size(self) -> int:
        """Number of unknown scales."""
        return self.factors + int(self.related)

    def scales(self, z: Floats) -> tuple[Scales, Floats]:
        """Return the scales at z, and the factors that turn slopes by log sd and by lambda into slopes by z."""
        if self.prior is None:
            share = 1.0 / (1.0 + exp(-float(z[-1]))) if self.related else 0.5
            turn = np.append(np.ones(self.factors), [share * (1.0 - share)] * self.related)
            return Scales(np.exp(z[: self.factors]), share), turn
        pairs = [half_normal(float(v)) for v in z[: self.factors]]
        share, bend = beta22(float(z[-1])) if self.related else (0.5, 0.0)
        sds = np.array([s * y for s, (y, _) in zip(self.prior, pairs, strict=True)], dtype=np.float64)
        turn = np.array([dy / y for y, dy in pairs] + [bend] * self.related, dtype=np.float64)
        return Scales(sds, share), turn
