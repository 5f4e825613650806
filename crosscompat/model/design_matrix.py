"""The design matrix of one stage: coefficients, effects of groups, and groups of nested effects.

A record touches few of many columns, and so do all records of one coarsest nested group (a pair) together. The matrix
is kept as those columns and numbers; only where a group touches about as many as there are is it kept whole.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from crosscompat.model.likelihood import Floats, Ints

if TYPE_CHECKING:
    from scipy.sparse import csr_array

_ROUNDING = 1e-8
_LEAST = 1e-10
_KEPT = 4


@dataclass(frozen=True, slots=True)
class Kinship:
    """A correlation matrix A with its spectrum, so that lambda A + (1 - lambda) I costs nothing to factor.

    ``matrix`` and its eigenvectors, ``vectors``, are of shape (n_levels, n_levels); eigenvalues, ``values``, not below
    0.
    """

    matrix: Floats
    values: Floats
    vectors: Floats
    _inverses: dict[float, Floats] = field(default_factory=dict, compare=False, repr=False)

    @classmethod
    def of(cls, matrix: ArrayLike) -> Kinship:
        """Decompose a correlation matrix; ValueError if it is not positive semi-definite.

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
        """Return the inverse of share A + (1 - share) I; those computed last are kept."""
        if share not in self._inverses:
            if len(self._inverses) >= _KEPT:
                self._inverses.clear()
            self._inverses[share] = (self.vectors / self.spectrum(share)) @ self.vectors.T
        return self._inverses[share]


@dataclass(frozen=True, slots=True)
class Factor:
    """One kind of effect, such as that of the seed parent's species.

    ``levels``, shape (n_records,), are the level of each record of ``size`` many, -1 for none; ``kinship`` says how
    levels are related, None: not at all. Effects of a ``nested`` factor are integrated out group by group instead of
    having a column each: such factors lie within one another, are not related, and every record has a level of each.
    """

    name: str
    levels: Ints
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
        """Make a factor, with as many levels as there are numbers if their number is not given."""
        table = np.asarray(levels, dtype=np.intp)
        return cls(name, table, int(table.max(initial=-1)) + 1 if size is None else size, kinship, nested)


def nested_chain(factors: tuple[Factor, ...]) -> tuple[int, ...]:
    """Return the places of the nested factors, the finest first.

    ValueError if they do not lie within one another, are related, or leave a record out.
    """
    chain = tuple(sorted((i for i, factor in enumerate(factors) if factor.nested), key=lambda i: -factors[i].size))
    for factor in (factors[i] for i in chain):
        if factor.kinship is not None or np.any(factor.levels < 0):
            raise ValueError(f"the levels of {factor.name!r} are related or missing, so they cannot be nested")
    for fine, coarse in pairwise(factors[i] for i in chain):
        _, first, inverse = np.unique(fine.levels, return_index=True, return_inverse=True)
        if np.any(coarse.levels != coarse.levels[first][inverse]):
            raise ValueError(f"the levels of {fine.name!r} do not lie within those of {coarse.name!r}")
    return chain


@dataclass(frozen=True, slots=True)
class Grouping:
    """The groups of one nested factor.

    ``groups`` is of shape (n_records,), ``size`` their number m. ``top`` and ``parent``, shape (m,), say which group of
    the coarsest factor, and of the next coarser one, each lies in; ``member``, shape (m, n_records), is sparse;
    ``single`` is whether no group has two records.
    """

    groups: Ints
    size: int
    top: Ints
    parent: Ints
    member: csr_array
    single: bool

    def sums(self, values: Floats) -> Floats:
        """Return the sum over each group of numbers (n_records,) or rows (n_records, w)."""
        if values.ndim == 1:
            return _sums(self.groups, values, self.size)
        return np.asarray(self.member @ values)


def _grouping(groups: Ints, size: int, coarser: Ints, coarsest: Ints) -> Grouping:
    from scipy.sparse import csr_array  # noqa: PLC0415 - only a fit needs it

    member = csr_array((np.ones(groups.size), (groups, np.arange(groups.size))), shape=(size, groups.size))
    top, parent = np.zeros((2, size), dtype=np.intp)
    top[groups], parent[groups] = coarsest, coarser
    return Grouping(groups, size, top, parent, member, np.unique(groups).size == groups.size)


@dataclass(frozen=True, slots=True)
class _Products:
    """Every two numbers of a record, once: where they stand among all, which record it is, and the cell of a square."""

    left: Ints
    right: Ints
    record: Ints
    cells: Ints
    times: Floats

    @classmethod
    def of(cls, columns: Ints, size: int) -> _Products:
        width = columns.shape[1]
        i, j = np.triu_indices(width)
        record, which = np.nonzero(columns[:, j] >= 0)  # those of none come last
        i, j = i[which], j[which]
        cells = columns[record, i] * size + columns[record, j]
        return cls(record * width + i, record * width + j, record, cells, np.where(i == j, 1.0, 2.0))


@dataclass(frozen=True, slots=True)
class DesignMatrix:
    """Columns of the ``p`` coefficients, then of the levels of each factor that is not nested; ``size`` of all, q.

    ``blocks`` are the columns of each factor, empty for a nested one; ``chain`` and ``nested`` the places of the nested
    factors, finest first, and their groups. ``touched``, shape (n_coarsest_groups, w), are the columns that the records
    of each coarsest group touch, -1 for none; ``columns``, shape (n_records, w), the same record by record, 0 for none;
    ``rows`` the numbers there. If the matrix is kept whole, rows are of shape (n_records, q), and ``products``, every
    two columns of each record, are None.
    """

    p: int
    size: int
    blocks: tuple[slice, ...]
    chain: tuple[int, ...]
    nested: tuple[Grouping, ...]
    touched: Ints
    columns: Ints
    rows: Floats
    products: _Products | None

    def to_records(self, theta: Floats) -> Floats:
        """Return the product with one number a column, shape (n_records,)."""
        if self.products is None:
            return np.asarray(self.rows @ theta)
        return np.asarray(np.einsum("ij,ij->i", self.rows, theta[self.columns]))

    def to_columns(self, weight: Floats) -> Floats:
        """Return the product of the transpose with one number a record, shape (q,)."""
        if self.products is None:
            return np.asarray(weight @ self.rows)
        return _sums(self.columns.ravel(), (self.rows * weight[:, None]).ravel(), self.size)

    def gram(self, right: Floats) -> Floats:
        """Return the product of the transpose with rows like its own, shape (q, q); its upper half is enough."""
        if self.products is None:
            return np.asarray(self.rows.T @ right)
        at = self.products
        result = _sums(at.cells, self.rows.take(at.left) * right.take(at.right), self.size**2)
        return result.reshape(self.size, self.size)

    def quadratic(self, rows: Floats, matrix: Floats) -> Floats:
        """Return row' matrix row for rows like those of the records; of products the upper half is enough."""
        if self.products is None:
            return np.asarray(np.einsum("ij,ij->i", rows @ matrix, rows))
        at = self.products
        each = rows.take(at.left) * rows.take(at.right) * matrix.take(at.cells) * at.times
        return _sums(at.record, each, len(rows))

    def quadratic_of_groups(self, rows: Floats, top: Ints, matrix: Floats) -> Floats:
        """Return row' matrix row for sums of such rows over groups, each within a coarsest group."""
        if self.products is None:
            return np.asarray(np.einsum("ij,ij->i", rows @ matrix, rows))
        at = np.maximum(self.touched[top], 0)
        leaning = np.einsum("nij,nj->ni", matrix[at[:, :, None], at[:, None, :]], rows)
        return np.asarray(np.einsum("ni,ni->n", leaning, rows))


def design_matrix(x: Floats, factors: tuple[Factor, ...]) -> DesignMatrix:
    """Lay coefficients, x of shape (n_records, p), and factors out as columns and groups.

    Examples
    --------
    One intercept and two fathers; the mothers have no columns.

    >>> mother = Factor.of("mother", [0, 0, 1, 1], nested=True)
    >>> design = design_matrix(np.ones((4, 1)), (mother, Factor.of("father", [0, 1, 0, 1])))
    >>> design.size, design.chain
    (3, (0,))
    """
    m, p = x.shape
    chain = nested_chain(factors)
    edges = np.cumsum([p, *(0 if factor.nested else factor.size for factor in factors)]).tolist()
    blocks, size = tuple(slice(*edge) for edge in pairwise(edges)), int(edges[-1])
    groups = [factors[i].levels for i in chain]
    top = groups[-1] if chain else np.arange(m)
    nested = tuple(
        _grouping(own, factors[i].size, coarser, top)
        for i, own, coarser in zip(chain, groups, [*groups[1:], top], strict=False)
    )
    levels = [
        np.where(factor.levels < 0, -1, factor.levels + block.start)
        for factor, block in zip(factors, blocks, strict=True)
        if not factor.nested
    ]
    where = np.column_stack([np.tile(np.arange(p), (m, 1)), *levels]).astype(np.intp)
    value = np.column_stack([x, *(level >= 0 for level in levels)])
    touched, place = _localise(where, top, factors[chain[-1]].size if chain else m)
    if where.shape[1] * touched.shape[1] > size:
        return DesignMatrix(p, size, blocks, chain, nested, touched, where, _filled(where, value, size), None)
    rows = _filled(place, value, touched.shape[1])
    return DesignMatrix(
        p, size, blocks, chain, nested, touched, np.maximum(touched[top], 0), rows, _Products.of(touched[top], size)
    )


def _localise(where: Ints, top: Ints, tops: int) -> tuple[Ints, Ints]:
    """Columns of every coarsest group, padded with -1, and where those of each record stand among them."""
    real, step = where >= 0, int(where.max(initial=0)) + 1
    unique, inverse = np.unique((top[:, None] * step + where)[real], return_inverse=True)
    owner = unique // step
    rank = np.arange(unique.size) - np.searchsorted(owner, owner)
    touched = np.full((tops, max(int(rank.max(initial=-1)) + 1, 1)), -1, dtype=np.intp)
    touched[owner, rank] = unique % step
    place = np.full(where.shape, -1, dtype=np.intp)
    place[real] = rank[inverse]
    return touched, place


def _filled(place: Ints, value: Floats, width: int) -> Floats:
    """Write the numbers of each record at their places, those of none beyond the end."""
    rows = np.zeros((len(place), width + 1))
    np.put_along_axis(rows, np.where(place < 0, width, place), value, axis=1)
    return np.ascontiguousarray(rows[:, :width])


def _sums(groups: Ints, values: Floats, size: int) -> Floats:
    return np.asarray(np.bincount(groups, values, size), dtype=np.float64)
