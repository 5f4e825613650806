"""Effects of groups: which of them each record carries, and how those of one kind are related."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.model.likelihood import Floats

__all__ = ["Factor", "Ints", "Kinship", "nested_chain"]

Ints = NDArray[np.intp]

_MOST_LOCAL = 20_000_000
_ROUNDING = 1e-8
_LEAST = 1e-10
_KEPT = 4


@dataclass(frozen=True, slots=True)
class Kinship:
    """A correlation matrix A with its spectrum, so that lambda A + (1 - lambda) I costs nothing to factor.

    Attributes
    ----------
    matrix : ndarray of float, shape (n_levels, n_levels)
        Diagonal 1, positive semi-definite.
    values, vectors : ndarray of float, shape (n_levels,) and (n_levels, n_levels)
        Its eigenvalues, not below 0, and eigenvectors.
    last : dict of float to ndarray of float
        The inverses that were asked for last, by their shares.
    """

    matrix: Floats
    values: Floats
    vectors: Floats
    last: dict[float, Floats] = field(default_factory=dict, compare=False, repr=False)

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
        found = self.last.get(share)
        if found is None:
            found = (self.vectors / self.spectrum(share)) @ self.vectors.T
            if len(self.last) >= _KEPT:
                self.last.clear()
            self.last[share] = found
        return found


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
    place : {"free", "column", "nested"}
        Whether the effects are kept as columns, are eliminated group by group, or whichever is the cheaper.
    """

    name: str
    levels: Ints
    shares: Floats
    size: int
    kinship: Kinship | None = None
    place: Literal["free", "column", "nested"] = "free"

    @classmethod
    def of(
        cls,
        name: str,
        levels: ArrayLike,
        size: int | None = None,
        kinship: Kinship | None = None,
        place: Literal["free", "column", "nested"] = "free",
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
        return cls(name, table, np.where(table >= 0, 1.0, 0.0), count, kinship, place)

    @property
    def may_nest(self) -> bool:
        """Whether every record has exactly one level of share 1, and levels are unrelated."""
        alone = self.kinship is None and self.levels.shape[1] == 1
        return alone and self.place != "column" and bool(np.all(self.levels >= 0))


def nested_chain(factors: tuple[Factor, ...]) -> tuple[int, ...]:
    """Return the places of the factors to eliminate record by record: each nested in the next, finest first.

    Examples
    --------
    >>> pair = Factor.of("pair", [0, 0, 1, 1])
    >>> record = Factor.of("record", [0, 1, 2, 3])
    >>> nested_chain((pair, record))
    (1, 0)
    """
    order = sorted((i for i, factor in enumerate(factors) if factor.may_nest), key=lambda i: -factors[i].size)
    chain: list[int] = []
    for i in order:
        fits = not chain or _coarsens(factors[chain[-1]].levels[:, 0], factors[i].levels[:, 0])
        if fits and (factors[i].place == "nested" or _local_numbers(factors, [*chain, i]) <= _MOST_LOCAL):
            chain.append(i)
    return tuple(chain)


def _coarsens(fine: Ints, coarse: Ints) -> bool:
    """Tell whether records that share a level of ``fine`` always share a level of ``coarse``."""
    _, first, inverse = np.unique(fine, return_index=True, return_inverse=True)
    return bool(np.all(coarse == coarse[first][inverse]))


def _local_numbers(factors: tuple[Factor, ...], chain: list[int]) -> int:
    """Count records times the most columns that one coarsest group of the chain touches."""
    groups = factors[chain[-1]].levels[:, 0]
    width = 0
    for i, factor in enumerate(factors):
        if i not in chain:
            keys = (groups[:, None] * (factor.size + 1) + factor.levels + 1).ravel()
            width += int(np.bincount(np.unique(keys) // (factor.size + 1)).max(initial=0))
    return groups.size * max(width, 1)
