"""What relatives inherit of the species seen, matched over many points at little more than the cost of one.

At every point it is M u, with u the effects of the species and M = lambda R^-1. Over the points M differs by lambda
alone, so that a few matrices of the same eigenvectors, weighed point by point, make up all of them.
"""

from __future__ import annotations

import numpy as np

from crosscompat.model.effects import Ints, Kinship
from crosscompat.model.likelihood import Floats
from crosscompat.model.threads import side_by_side

__all__ = ["Heirs"]

_NEAR = 3e-3  # of what is inherited along an eigenvector


class Heirs:
    """Sums, over points, of the covariance of the effects that relatives inherit from.

    Parameters
    ----------
    kinship : Kinship
    weights, shares : ndarray of float, shape (n_points,)
        Weight and lambda of each point.
    columns : ndarray of int, shape (k * n_species,)
        Where the effects of the species stand, kind by kind.
    size : int
        All columns, q.

    Notes
    -----
    The eigenvalues of M, point by point, are their mean and the leading singular vectors of what differs from it, so
    many that the rest is below three thousandths of the mean. With M the sum of c B, the covariance of M u with u is
    the sum of B times the covariances weighed with c, and so on.

    Examples
    --------
    Two unrelated species, each seen as seed parent alone: what relatives inherit is lambda u.

    >>> heirs = Heirs(Kinship.of(np.eye(2)), np.array([0.5, 0.5]), np.array([0.2, 0.4]), np.arange(2), 2)
    >>> for point in range(2):
    ...     heirs.add(point, np.eye(2))
    >>> across, among = heirs.matched()
    >>> across.round(6).tolist(), among.round(6).tolist()
    ([[0.3, 0.0], [0.0, 0.3]], [[0.1, 0.0], [0.0, 0.1]])
    """

    def __init__(self, kinship: Kinship, weights: Floats, shares: Floats, columns: Ints, size: int) -> None:
        self.kinship, self.weights, self.columns = kinship, weights, columns
        along = np.array([share / kinship.spectrum(share) for share in shares])
        mean = weights @ along
        off = along / mean - 1.0
        _, size_of, vectors = np.linalg.svd(np.sqrt(weights)[:, None] * off, full_matrices=False)
        few = int((size_of > _NEAR * np.sqrt(mean.size)).sum())
        self.parts = [mean, *(mean * vectors[:few])]
        self.shares = np.column_stack([np.ones(len(weights)), off @ vectors[:few].T])
        self.across = np.zeros((few + 1, columns.size, size))
        self.among = {(k, m): np.zeros((columns.size,) * 2) for k in range(1, few + 1) for m in range(k, few + 1)}

    def add(self, point: int, spread: Floats) -> None:
        """Add one point, with the covariance of all its columns, (q, q)."""
        rows, weight, share = spread[self.columns], self.weights[point], self.shares[point]
        for k, part in enumerate(share):
            self.across[k] += weight * part * rows
        rows = rows[:, self.columns]
        for k, m in self.among:
            self.among[k, m] += weight * share[k] * share[m] * rows

    def matched(self) -> tuple[Floats, Floats]:
        """Return the covariance with all columns, and of what is inherited itself; without that of the means."""
        vectors, among = self.kinship.vectors, np.zeros((self.columns.size,) * 2)
        inherit = [(vectors * part) @ vectors.T for part in self.parts]
        across = np.zeros(self.across.shape[1:])
        for one, total in zip(inherit, self.across, strict=True):
            across += _below(one, total)
        for k, one in enumerate(inherit):
            beside = across[:, self.columns] if k == 0 else self._beside(k, inherit)
            among += _below(one, beside.T)
        return across, among

    def _beside(self, k: int, inherit: list[Floats]) -> Floats:
        found = _below(inherit[0], self.across[k][:, self.columns])
        for m in range(1, len(inherit)):
            found += _below(inherit[m], self.among[min(k, m), max(k, m)])
        return found


def _below(one: Floats, total: Floats) -> Floats:
    """Return a matrix times each block of rows."""
    blocks = np.split(total, len(total) // len(one))
    return np.concatenate(list(side_by_side(lambda rows: np.asarray(one @ rows), blocks, many=True)))
