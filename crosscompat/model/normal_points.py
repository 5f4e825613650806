"""Points that stand for a normal distribution."""

from __future__ import annotations

from functools import cache
from statistics import NormalDist

import numpy as np

from crosscompat.model.likelihood import Floats

__all__ = ["normal_points"]


@cache
def normal_points(count: int, size: int) -> Floats:
    """Return a fixed set of points that stands for a standard normal: mirrored, of mean 0 and covariance I exactly.

    Parameters
    ----------
    count : int
        Number of points; an even number at least twice ``size`` is taken.
    size : int
        Dimensions.

    Returns
    -------
    ndarray of float, shape (n_points, size)

    Notes
    -----
    The additive recurrence of the generalised golden ratio (Roberts M, 2018, The unreasonable effectiveness of
    quasirandom sequences), through the normal quantile, then whitened.

    Examples
    --------
    >>> points = normal_points(24, 3)
    >>> bool(np.allclose(points.mean(axis=0), 0)), bool(np.allclose(points.T @ points / len(points), np.eye(3)))
    (True, True)
    """
    half = max((count + 1) // 2, size)
    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (size + 1))
    steps = np.array([ratio ** -(j + 1) for j in range(size)])
    cube = (0.5 + np.arange(1, half + 1)[:, None] * steps) % 1.0
    quantile = NormalDist().inv_cdf
    points = np.array([[quantile(float(u)) for u in row] for row in cube])
    both = np.concatenate([points, -points])
    root = np.linalg.cholesky(both.T @ both / len(both))
    return np.asarray(np.linalg.solve(root, both.T).T, dtype=np.float64)
