"""The root of a precision matrix that is kept as a row of cells, and what follows from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.columns import Pattern, Round
from crosscompat.model.effects import Ints
from crosscompat.model.likelihood import Floats

__all__ = ["NotPositive", "Root", "mirror", "symmetric"]

_BLOCK = 256  # rows of a square that stay near the processor


class NotPositive(ArithmeticError):
    """The matrix is not positive definite."""


@dataclass(frozen=True, slots=True)
class Root:
    """A positive definite matrix, factored.

    Attributes
    ----------
    pattern : Pattern
    row : ndarray of float, shape (cells + 1,)
        Cells of the eliminated columns as they were when their turn came; the core holds the root of what remained.
    logdet : float
        Log determinant of the matrix.
    """

    pattern: Pattern
    row: Floats
    logdet: float

    @classmethod
    def of(cls, pattern: Pattern, row: Floats) -> Root:
        """Factor a matrix given as a row of cells, which is overwritten.

        Raises
        ------
        NotPositive
            If it is not positive definite.
        """
        from scipy.linalg import lapack  # noqa: PLC0415 - only a fit needs it

        core, logdet = pattern.cells.core.size, 0.0
        for turn in pattern.rounds:
            turn.eliminate(row)
            logdet += float(np.log(row[turn.pivots]).sum())
        if core:  # LAPACK complains on the screen of a matrix without rows
            square = pattern.cells.square(row).T
            _, failed = lapack.dpotrf(square, lower=1, clean=0, overwrite_a=1)
            if failed:
                raise NotPositive
            logdet += 2.0 * float(np.log(square.diagonal()).sum())
        return cls(pattern, row, logdet)

    def solve(self, b: Floats) -> Floats:
        """Return matrix^-1 b, shape (q,)."""
        from scipy.linalg import lapack  # noqa: PLC0415 - only a fit needs it

        core, x = self.pattern.cells.core, np.append(b, 0.0)
        for turn in self.pattern.rounds:
            turn.reduce(self.row, x)
        if core.size:
            x[core] = lapack.dpotrs(self.pattern.cells.square(self.row).T, x[core], lower=1)[0]
        for turn in reversed(self.pattern.rounds):
            turn.extend(self.row, x)
        return x[:-1]

    def inverse(self) -> Floats:
        """Return the inverse in the cells of the pattern, shape (cells + 1,)."""
        from scipy.linalg import lapack  # noqa: PLC0415 - only a fit needs it

        found = self.row.copy()
        if self.pattern.cells.core.size:
            lapack.dpotri(self.pattern.cells.square(found).T, lower=1, overwrite_c=1)
        for turn in reversed(self.pattern.rounds):
            turn.invert(self.row, found)
        return found

    def whole(self, inverse: Floats) -> Floats:
        """Return the whole inverse, shape (q, q), from its cells."""
        cells, turns = self.pattern.cells, self.pattern.rounds[::-1]
        order = np.concatenate([cells.core, *(turn.members for turn in turns)])
        place = np.argsort(order)  # those eliminated last come first, so that what is known is a corner
        full = np.zeros((cells.size, cells.size))
        corner = full[: cells.core.size, : cells.core.size]
        corner[:] = cells.square(inverse)
        mirror(corner)
        for turn in turns:
            self._widen(turn, full, place)
        return full[np.ix_(place, place)] if turns else full

    def _widen(self, turn: Round, full: Floats, place: Ints) -> None:
        """Fill the rows and columns of one round, those of later rounds being known."""
        begin = int(place[turn.members[0]])
        here, near, pull = slice(begin, begin + turn.members.size), place[turn.near[:-1]], turn.pull(self.row)
        across = pull @ full[near, :begin]
        full[here, :begin], full[:begin, here] = -across, -across.T
        full[here, here] = np.diag(1.0 / self.row[turn.pivots]) + across[:, near] @ pull.T


def symmetric(pattern: Pattern, row: Floats, block: slice) -> Floats:
    """Return the matrix of some neighbouring columns of the core, from a row of cells."""
    first = int(np.searchsorted(pattern.cells.core, block.start))
    part = slice(first, first + block.stop - block.start)
    square: Floats = pattern.cells.square(row)[part, part].copy()
    mirror(square)
    return square


def mirror(square: Floats) -> None:
    """Write the upper half of a square into the lower, block by block.

    Examples
    --------
    >>> square = np.array([[1.0, 2.0], [0.0, 3.0]])
    >>> mirror(square)
    >>> square.tolist()
    [[1.0, 2.0], [2.0, 3.0]]
    """
    for begin in range(0, len(square), _BLOCK):
        part = slice(begin, begin + _BLOCK)
        corner = square[part, part]
        corner[:] = np.triu(corner) + np.triu(corner, 1).T
        square[begin + _BLOCK :, part] = square[part, begin + _BLOCK :].T
