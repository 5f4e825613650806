"""Priors of coefficients, and effects of groups: which a record carries, and how those of one kind are related."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.likelihood import Floats

__all__ = ["Factor", "GaussianPrior", "Ints", "Kinship", "nested_chain"]

Ints = NDArray[np.intp]

_ROUNDING = 1e-8
_LEAST = 1e-10
_KEPT = 4


@dataclass(frozen=True, slots=True)
class GaussianPrior:
    """Independent normal priors, one a coefficient; an infinite ``sd`` leaves the coefficient free.

    Attributes
    ----------
    mean, sd : ndarray of float, shape (n_coefficients,)
    """

    mean: Floats
    sd: Floats


@dataclass(frozen=True, slots=True)
class Kinship:
    """A correlation matrix A with its spectrum, so that lambda A + (1 - lambda) I costs nothing to factor.

    Attributes
    ----------
    matrix : ndarray of float, shape (n_levels, n_levels)
        Diagonal 1, positive semi-definite.
    values, vectors : ndarray of float, shape (n_levels,) and (n_levels, n_levels)
        Its eigenvalues, not below 0, and eigenvectors.
    inverses : dict of float to ndarray of float
        The inverses computed last, by their shares.
    """

    matrix: Floats
    values: Floats
    vectors: Floats
    inverses: dict[float, Floats] = field(default_factory=dict, compare=False, repr=False)

    @classmethod
    def of(cls, matrix: ArrayLike) -> Kinship:
        """Decompose a correlation matrix.

        Raises
        ------
        ValueError
            If it is not positive semi-definite.

        Examples
        --------
        >>> Kinship.of([[1.0, 0.5], [0.5, 1.0]]).values.round(6).tolist()
        [0.5, 1.5]
        """
        a = np.asarray(matrix, dtype=np.float64)
        values, vectors = np.linalg.eigh(a)
        if values.size and values[0] < -_ROUNDING * values.size:
            raise ValueError("the correlation matrix is not positive semi-definite")
        return cls(a, np.maximum(values, 0.0), vectors)

    def spectrum(self, share: float) -> Floats:
        """Return the eigenvalues of share A + (1 - share) I, above 0 even where relatives are the same."""
        return np.maximum(share * self.values + (1.0 - share), _LEAST)

    def tilt(self, share: float) -> Floats:
        """Return the slope of the log of each of these eigenvalues in the share."""
        return (self.values - 1.0) / self.spectrum(share)

    def inverse(self, share: float) -> Floats:
        """Return the inverse of share A + (1 - share) I."""
        if share not in self.inverses:
            if len(self.inverses) >= _KEPT:
                self.inverses.clear()
            self.inverses[share] = (self.vectors / self.spectrum(share)) @ self.vectors.T
        return self.inverses[share]


@dataclass(frozen=True, slots=True)
class Factor:
    """One kind of effect, such as that of the seed parent's species.

    Attributes
    ----------
    name : str
    levels : ndarray of int, shape (n_records, n_memberships)
        The levels a record belongs to, -1 for none; one but for shared memberships.
    shares : ndarray of float, shape (n_records, n_memberships)
        Weight of each membership, 1 unless shared.
    size : int
        Number of levels.
    kinship : Kinship or None
        How levels are related; None: not at all.
    nested : bool
        Whether the effects are integrated out group by group instead of having a column each. Nested factors lie
        within one another, are not related, and every record has one level of each.
    """

    name: str
    levels: Ints
    shares: Floats
    size: int
    kinship: Kinship | None = None
    nested: bool = False

    @classmethod
    def of(
        cls,
        name: str,
        levels: ArrayLike,
        size: int | None = None,
        kinship: Kinship | None = None,
        *,
        nested: bool = False,
    ) -> Factor:
        """Make a factor in which every record has one level (or a row of levels) of share 1.

        Examples
        --------
        >>> Factor.of("mother", [0, 0, 2]).size
        3
        """
        table = np.asarray(levels, dtype=np.intp)
        table = table[:, None] if table.ndim == 1 else table
        count = int(table.max(initial=-1)) + 1 if size is None else size
        return cls(name, table, np.where(table >= 0, 1.0, 0.0), count, kinship, nested)


def nested_chain(factors: tuple[Factor, ...]) -> tuple[int, ...]:
    """Return the places of the nested factors, the finest first.

    Raises
    ------
    ValueError
        If they do not lie within one another, are related, or leave a record out.

    Examples
    --------
    >>> pair = Factor.of("pair", [0, 0, 1, 1], nested=True)
    >>> record = Factor.of("record", [0, 1, 2, 3], nested=True)
    >>> nested_chain((pair, record))
    (1, 0)
    """
    chain = tuple(sorted((i for i, factor in enumerate(factors) if factor.nested), key=lambda i: -factors[i].size))
    for factor in (factors[i] for i in chain):
        if factor.kinship is not None or factor.levels.shape[1] != 1 or np.any(factor.levels < 0):
            raise ValueError(f"the levels of {factor.name!r} are related, shared or missing, so they cannot be nested")
    for fine, coarse in pairwise(factors[i] for i in chain):
        _, first, inverse = np.unique(fine.levels[:, 0], return_index=True, return_inverse=True)
        if np.any(coarse.levels[:, 0] != coarse.levels[first, 0][inverse]):
            raise ValueError(f"the levels of {fine.name!r} do not lie within those of {coarse.name!r}")
    return chain
