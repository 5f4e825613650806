"""Rows that touch few of many columns: sums of their products, and quadratic forms, cell by cell of a kept pattern."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.columns import Pattern
from crosscompat.model.effects import Ints
from crosscompat.model.likelihood import Floats

__all__ = ["Alike", "Crowd", "alike", "crowds"]

_CHUNK = 60_000  # numbers that stay near the processor
_SIZES = 6
_CROWDED = 24


@dataclass(frozen=True, slots=True)
class Alike:
    """Rows that touch equally many columns.

    Attributes
    ----------
    rows : ndarray of int, shape (n,)
        Which rows.
    width : int
        Columns that each touches, w.
    cells : ndarray of int, shape (n, w * (w + 1) / 2)
        Cells of every two columns that a row touches.
    lone : bool
        Whether each is a record that has its coarsest group for itself.
    """

    rows: Ints
    width: int
    cells: Ints
    lone: bool = False

    @classmethod
    def of(cls, pattern: Pattern, rows: Ints, columns: Ints, *, lone: bool = False) -> Alike:
        """Find the cells of rows that touch the given columns, (n, w)."""
        i, j = np.triu_indices(columns.shape[1])
        return cls(rows, columns.shape[1], pattern.cells.find(columns[:, i], columns[:, j]), lone)

    def products(self, numbers: Floats, weight: Floats) -> Floats:
        """Return weight * row row' for the numbers (n, w) of each row, as the cells lie."""
        i, j = np.triu_indices(self.width)
        found = np.empty(self.cells.shape)
        for part in self._parts():
            some = numbers[part]
            np.multiply(some[:, i], (some * weight[part, None])[:, j], out=found[part])
        return found

    def quadratic(self, numbers: Floats, matrix: Floats) -> Floats:
        """Return row' matrix row for the numbers (n, w) of each row; the matrix is a row of cells."""
        i, j = np.triu_indices(self.width)
        twice, found = np.where(i == j, 1.0, 2.0), np.empty(len(numbers))
        for part in self._parts():
            some = numbers[part]
            found[part] = (some[:, i] * some[:, j] * matrix[self.cells[part]]) @ twice
        return found

    def _parts(self) -> list[slice]:
        """Cut rows into parts whose products stay near the processor."""
        step = max(1, _CHUNK // max(1, self.cells.shape[1]))
        return [slice(at, at + step) for at in range(0, len(self.rows), step)]


@dataclass(frozen=True, slots=True)
class Crowd:
    """Many rows that touch the same many columns.

    Attributes
    ----------
    rows : ndarray of int, shape (n,)
    width : int
        Columns that each touches, w.
    cells : ndarray of int, shape (w, w)
        Cells of every two of these columns.
    lone : bool
        False.
    """

    rows: Ints
    width: int
    cells: Ints
    lone: bool = False

    @classmethod
    def of(cls, pattern: Pattern, rows: Ints, columns: Ints) -> Crowd:
        """Find the cells of rows that all touch the given columns, (w,)."""
        return cls(rows, columns.size, pattern.cells.find(*np.broadcast_arrays(columns[:, None], columns[None, :])))

    def quadratic(self, numbers: Floats, matrix: Floats) -> Floats:
        """Return row' matrix row for the numbers (n, w) of each row; the matrix is a row of cells."""
        found: Floats = np.einsum("ni,ni->n", numbers @ matrix[self.cells], numbers)
        return found


def alike(pattern: Pattern, columns: Ints, rows: Ints, tops: Ints, *, lone: bool = False) -> tuple[Alike, ...]:
    """Put rows that touch equally many columns together.

    Parameters
    ----------
    pattern : Pattern
    columns : ndarray of int, shape (n_tops, w)
        Columns of each coarsest group, padded with q at the end.
    rows : ndarray of int, shape (n,)
    tops : ndarray of int, shape (n,)
        The coarsest group of each row.
    lone : bool
        Whether each row is a record that has its coarsest group for itself.
    """
    width = (columns < pattern.cells.size).sum(axis=1)[tops]
    sizes = np.unique(width)
    if sizes.size > _SIZES:  # many little heaps cost more than some padding
        step = -(-int(sizes[-1]) // _SIZES)
        width = np.minimum(-(-width // step) * step, columns.shape[1])
        sizes = np.unique(width)
    return tuple(
        Alike.of(pattern, rows[width == size], columns[tops[width == size], :size], lone=lone) for size in sizes
    )


def crowds(pattern: Pattern, columns: Ints, top: Ints) -> tuple[Alike | Crowd, ...]:
    """Put records together by how many columns their coarsest group touches; a group with many stands for itself."""
    width = (columns < pattern.cells.size).sum(axis=1)
    alone = np.bincount(top, minlength=len(columns))[top] == 1
    single, few = np.flatnonzero(alone), np.flatnonzero(~alone & (width[top] <= _CROWDED))
    crowded = np.flatnonzero(~alone & (width[top] > _CROWDED))
    many = [(group, crowded[top[crowded] == group]) for group in np.unique(top[crowded])]
    return (
        *alike(pattern, columns, single, top[single], lone=True),
        *alike(pattern, columns, few, top[few]),
        *(Crowd.of(pattern, rows, columns[group, : width[group]]) for group, rows in many),
    )
