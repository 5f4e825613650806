"""A square table of distances, which may stand in for a tree and may have gaps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from os import PathLike
from typing import TYPE_CHECKING

import numpy as np

from crosscompat.ground.errors import BadInput, Place
from crosscompat.phylogeny.name_lookup import NameLookup
from crosscompat.phylogeny.postorder import Floats, Ints
from crosscompat.phylogeny.square import Square, read_square
from crosscompat.phylogeny.text_source import SHOWN, capped, told

if TYPE_CHECKING:
    from crosscompat.ground.names import NameIndex

__all__ = ["DistanceTable", "read_distances"]


@dataclass(frozen=True, eq=False, repr=False)
class DistanceTable:
    """Distances known pair by pair.

    Attributes
    ----------
    tips : tuple of k str
        The labels as written.
    values : (k, k) float array
        Symmetric, zero on the diagonal, NaN where nobody has given a distance. It cannot be written to.
    unit : str or None
        What a distance of 1 means.

    Examples
    --------
    >>> table = DistanceTable(("Aloe_vera", "Aloe_ferox"), [[0, 2.5], [2.5, 0]])
    >>> table.patristic("Aloe vera", "Aloe ferox")
    2.5
    """

    tips: tuple[str, ...]
    values: Floats
    unit: str | None = None

    def __post_init__(self) -> None:
        values = np.array(self.values, dtype=np.float64)
        size = len(self.tips)
        if values.shape != (size, size):
            raise ValueError("values must be square, one row a tip")
        if not np.array_equal(values, values.T, equal_nan=True) or (np.diag(values) != 0).any():
            raise ValueError("values must be symmetric with zeros on the diagonal")
        if np.isinf(values).any() or (values < 0).any():
            raise ValueError("values must be zero or more, and finite where they are known")
        values.setflags(write=False)
        object.__setattr__(self, "values", values)
        object.__setattr__(self, "tips", tuple(self.tips))

    def __repr__(self) -> str:
        return f"<DistanceTable of {self.n_tips} tips, unit={self.unit!r}>"

    def __reduce__(self) -> tuple[object, ...]:
        return type(self), (self.tips, self.values, self.unit)

    @cached_property
    def _lookup(self) -> NameLookup:
        return NameLookup(self.tips)

    @property
    def n_tips(self) -> int:
        """How many tips there are."""
        return len(self.tips)

    @property
    def index(self) -> NameIndex:
        """The tips as plant names."""
        return self._lookup.index

    @property
    def complete(self) -> bool:
        """Whether every distance is known."""
        return not np.isnan(self.values).any()

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over labels, values, gaps and unit, in hexadecimal; the order of rows does not matter."""
        from crosscompat.phylogeny.fingerprint import of_table  # noqa: PLC0415 - hashing is seldom asked for

        return of_table(self.tips, self.values, self.unit)

    def patristic(self, a: str, b: str) -> float:
        """Return the distance of two tips.

        Raises
        ------
        UnknownName
            If a name is not in the table.
        BadInput
            If the table has a gap there.
        """
        return float(self.patristic_pairs([a], [b])[0])

    def patristic_pairs(self, a: Sequence[str], b: Sequence[str]) -> Floats:
        """Return the distance of each ``a[i]`` to ``b[i]``, as an (m,) array; only these pairs need be known.

        Raises
        ------
        UnknownName
            If a name is not in the table.
        BadInput
            Naming every gap among the pairs.
        ValueError
            If the two are not of one length.
        """
        return self.patristic_between(*self._lookup.pairs(a, b))

    def patristic_between(self, a: Ints, b: Ints) -> Floats:
        """Return the distance of tip ``a[i]`` to tip ``b[i]``, both by their numbers in ``tips``, as an (m,) array.

        Raises
        ------
        BadInput
            Naming every gap among the pairs.
        """
        found = self.values[a, b]
        if np.isnan(found).any():
            self._refuse(a, b, np.flatnonzero(np.isnan(found)))
        return found

    def patristic_matrix(self, names: Iterable[str] | None = None) -> Floats:
        """Return all distances among ``names`` (default: all tips) in their order, as a (k, k) array; gaps are NaN.

        Raises
        ------
        UnknownName
            If a name is not in the table.
        """
        if names is None:
            return self.values.copy()
        places = self._lookup.positions(names)
        among: Floats = self.values[np.ix_(places, places)]
        return among

    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of one tip to ``names`` (default: all tips) as a (k,) array; gaps are NaN.

        Raises
        ------
        UnknownName
            If a name is not in the table.
        """
        row = self.values[self._lookup.position(a)]
        chosen: Floats = row.copy() if names is None else row[self._lookup.positions(names)]
        return chosen

    def _refuse(self, first: Ints, second: Ints, gaps: Ints) -> None:
        pairs = list(dict.fromkeys((int(first[gap]), int(second[gap])) for gap in gaps))
        shown = [told("table", "gap", Place(), a=self.tips[a], b=self.tips[b]) for a, b in pairs[:SHOWN]]
        raise BadInput(capped(shown, len(pairs), "table.gap", None))


def read_distances(path: str | PathLike[str], *, unit: str | None = None) -> DistanceTable:
    r"""Read a square table of distances from a CSV.

    The first row and the first column name the species. Cells are parted by commas, semicolons or tabs; with semicolons
    or tabs a number may have a decimal comma. A blank cell (or NA, as R writes it) is a gap; the upper or the lower
    triangle alone will do. Where both halves are given they must agree to nine digits, and their mean is taken.

    Parameters
    ----------
    path : path
        The file; UTF-8.
    unit : str, optional
        What a distance of 1 means.

    Raises
    ------
    BadInput
        With every fault of the table: a cell that is no number, negative, or unlike its twin; a diagonal that is not
        zero; names that come twice, or in the first row only, or in the first column only; a row that is too long.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "distances.csv")
    ...     _ = path.write_text(",a,b,c\na,0\nb,1.5,0\nc,,4,0\n")
    ...     table = read_distances(path)
    >>> table.patristic_matrix().tolist()
    [[0.0, 1.5, nan], [1.5, 0.0, 4.0], [nan, 4.0, 0.0]]
    """
    square: Square = read_square(path)
    return DistanceTable(square.labels, square.values, unit)
