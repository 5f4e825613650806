"""The most that the mean chance of a seedling can be, quickly: some pairings can be passed over for that alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crosscompat.model.seeds import SeedsPerPod

__all__ = ["most_chance"]

_PROBIT = np.float32(np.pi / 8)
_OFF_BY = np.float32(0.02)


def most_chance(
    mean: NDArray[np.floating], sd: NDArray[np.floating], seeds: SeedsPerPod | None, units: int
) -> NDArray[np.floating]:
    """Return what the mean chance of at least one seedling cannot exceed.

    Parameters
    ----------
    mean, sd : ndarray of float, shape (n_stages, ...)
        Of the logit of each stage; one stage for the plain form.
    seeds : SeedsPerPod or None
        None for the plain form.
    units : int

    Notes
    -----
    The mean of a chance whose logit is Gaussian is that of m / sqrt(1 + pi s² / 8), less than 0.018 below it [1]_. The
    chance from a ripe pod is concave in that of a seed, and the chance from several units in that of one, so that the
    means of the stages give no less than the mean of the whole (Jensen).

    References
    ----------
    .. [1] MacKay DJC (1992). The evidence framework applied to classification networks. Neural Computation 4:720-736,
       for the formula; the error is what a scan of means and standard deviations finds.

    Examples
    --------
    Four even chances, known well, one seed a pod: one in sixteen, and what the formula may be off by.

    >>> even = np.zeros((4, 1))
    >>> float(most_chance(even, even, SeedsPerPod(1.0, 1.0, cap=1), 1).round(3)[0])
    0.073
    """
    stages = mean / np.sqrt(1.0 + _PROBIT * sd * sd)
    np.negative(stages, out=stages)
    np.exp(stages, out=stages)
    stages += 1.0
    np.reciprocal(stages, out=stages)
    stages += _OFF_BY
    np.minimum(stages, 1.0, out=stages)
    if seeds is None:
        unit = stages[0]
    else:
        unit = stages[0] * stages[1] * (1.0 - seeds.none_of_them(1.0 - stages[2] * stages[3]))
    return np.asarray(1.0 - (1.0 - unit) ** units)
