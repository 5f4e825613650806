"""A square table of distances, which may stand in for a tree and may have gaps."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial
from os import PathLike
from pathlib import Path

import numpy as np

from crosscompat.ground.csv_cells import raise_faults, read_records
from crosscompat.ground.errors import BadInput, Fault, Place, first_faults, worded
from crosscompat.ground.names import fold
from crosscompat.phylogeny.build import NUMBER
from crosscompat.phylogeny.name_lookup import Distances
from crosscompat.phylogeny.tree_arrays import Floats, Ints, content_hash

__all__ = ["DistanceTable", "read_distances"]

AGREE = 1e-9
"""Two halves of a table are one if they differ by no more than this, relative to the larger."""

_GAPS = frozenset({"", "na", "nan"})


@dataclass(frozen=True, eq=False, repr=False)
class DistanceTable(Distances):
    """Distances known pair by pair.

    ``values`` is a (k, k) float array, one row a label, symmetric, zero on the diagonal, NaN where nobody has given a
    distance. It cannot be written to. Other values raise a `ValueError`.

    Examples
    --------
    >>> table = DistanceTable(("Aloe_vera", "Aloe_ferox"), [[0, 2.5], [2.5, 0]])
    >>> table.patristic("Aloe vera", "Aloe ferox")
    2.5
    """

    labels: tuple[str, ...]
    values: Floats
    unit: str | None = None

    def __post_init__(self) -> None:
        values = np.array(self.values, dtype=np.float64)
        size = len(self.labels)
        if values.shape != (size, size):
            raise ValueError("values must be square, one row a tip")
        if not np.array_equal(values, values.T, equal_nan=True) or (np.diag(values) != 0).any():
            raise ValueError("values must be symmetric with zeros on the diagonal")
        if np.isinf(values).any() or (values < 0).any():
            raise ValueError("values must be zero or more, and finite where they are known")
        values.setflags(write=False)
        object.__setattr__(self, "values", values)
        object.__setattr__(self, "labels", tuple(self.labels))

    def __repr__(self) -> str:
        return f"<DistanceTable of {self.n_tips} tips, unit={self.unit!r}>"

    def __reduce__(self) -> tuple[object, ...]:
        return type(self), (self.labels, self.values, self.unit)

    @property
    def tips(self) -> tuple[str, ...]:
        """The labels, as written."""
        return self.labels

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over labels, values, gaps and unit, in hexadecimal; the order of rows does not matter."""
        order = np.array(sorted(range(self.n_tips), key=self.tips.__getitem__), dtype=np.int64)
        values = self.values[np.ix_(order, order)]
        words = ["table", self.unit or "", *(self.tips[place] for place in order.tolist())]
        return content_hash(words, np.isnan(values).astype(np.int64), np.nan_to_num(values))

    def patristic_between(self, a: Ints, b: Ints) -> Floats:
        """Return the distance of tip ``a[i]`` to tip ``b[i]``, both by their numbers in ``tips``, as an (m,) array.

        Only these pairs need be known.

        Raises
        ------
        BadInput
            Naming every gap among the pairs.
        """
        distances = self.values[a, b]
        gaps = np.flatnonzero(np.isnan(distances))
        if gaps.size:
            pairs = list(dict.fromkeys(zip(a[gaps].tolist(), b[gaps].tolist(), strict=True)))
            raise BadInput(first_faults(pairs, self._gap, "table.gap", None))
        return distances

    def patristic_matrix(self, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of k names, by default of all tips, as a (k, k) array; gaps are NaN."""
        places = np.arange(self.n_tips) if names is None else self._lookup.positions(names)
        matrix: Floats = self.values[np.ix_(places, places)]
        return matrix

    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of one tip to k names, by default to all tips, as a (k,) array; gaps are NaN."""
        places = np.arange(self.n_tips) if names is None else self._lookup.positions(names)
        row: Floats = self.values[self._lookup.position(a)][places]
        return row

    def _gap(self, pair: tuple[int, int]) -> Fault:
        return worded("table", "gap", Place(), a=self.tips[pair[0]], b=self.tips[pair[1]])


def read_distances(path: str | PathLike[str], *, unit: str | None = None) -> DistanceTable:
    r"""Read a square table of distances from a CSV.

    The first row and the first column name the species. Cells are parted by commas, semicolons or tabs; with semicolons
    or tabs a number may have a decimal comma. A blank cell (or NA, as R writes it) is a gap; the upper or the lower
    triangle alone will do. Where both halves are given they must agree to nine digits, and their mean is taken.

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
    unreadable: list[Fault] = []
    records, separator = read_records(path, unreadable)
    raise_faults(unreadable)
    rows = [_Row(number, cells) for number, cells in enumerate(records, 1) if any(cell.strip() for cell in cells)]
    faults = _Faults(Path(path).name)
    if not rows:
        faults.add("no_header", 1, None)
        faults.settle()
    if rows[0].cells[0].lstrip()[:1] in {"(", "#", "<", "["}:
        raise BadInput([worded("table", "tree", Place(faults.file))])
    labels = _header(rows[0], faults)
    written = _rows_by_label(rows, labels, faults)
    values = np.full((len(labels), len(labels)), np.nan)
    for place, row in written.items():
        for column, cell in enumerate(row.cells[1 : len(labels) + 1]):
            value = _value(cell.strip(), row.number, labels[column], faults, comma=separator != ",")
            if value is not None:
                values[place, column] = value
    _settle_halves(values, labels, written, faults)
    faults.settle()
    return DistanceTable(tuple(labels), values, unit)


@dataclass(frozen=True, slots=True)
class _Row:
    number: int
    cells: list[str]


@dataclass(frozen=True, slots=True)
class _Faults:
    """Faults by kind, worded when all are there: the first ones in full, the rest as a number."""

    file: str
    of_kind: dict[str, list[tuple[Place, dict[str, str]]]] = field(default_factory=lambda: defaultdict(list))

    def add(self, key: str, row: int, column: str | None, **values: str) -> None:
        self.of_kind[key].append((Place(self.file, row=row, column=column), values))

    def settle(self) -> None:
        """Raise everything there is to say, row by row."""

        def fault(key: str, item: tuple[Place, dict[str, str]]) -> Fault:
            return worded("table", key, item[0], **item[1])

        faults = [
            worded_fault
            for key, items in self.of_kind.items()
            for worded_fault in first_faults(items, partial(fault, key), f"table.{key}", self.file)
        ]
        if faults:
            raise BadInput(sorted(faults, key=lambda fault: (fault.place.row is None, fault.place.row or 0)))


def _header(row: _Row, faults: _Faults) -> list[str]:
    labels = [cell.strip() for cell in row.cells[1:]]
    while labels and not labels[-1]:
        labels.pop()
    seen: dict[str, str] = {}
    for column, label in enumerate(labels, 2):
        if not label:
            faults.add("no_name", row.number, str(column))
        elif fold(label) in seen:
            faults.add("twice_above", row.number, label, first=seen[fold(label)])
        else:
            seen[fold(label)] = label
    if not labels:
        faults.add("no_header", row.number, None)
        faults.settle()
    return labels


def _rows_by_label(rows: list[_Row], labels: list[str], faults: _Faults) -> dict[int, _Row]:
    """Return the row of each label by the label's place."""
    place_of = {fold(label): place for place, label in reversed(list(enumerate(labels)))}
    seen: dict[int, _Row] = {}
    for row in rows[1:]:
        name = row.cells[0].strip()
        place = place_of.get(fold(name))
        if place is None:
            faults.add("row_unknown" if name else "no_name", row.number, "1", name=name)
        elif place in seen:
            faults.add("twice_beside", row.number, "1", name=name, first=str(seen[place].number))
        elif any(cell.strip() for cell in row.cells[len(labels) + 1 :]):
            faults.add("row_long", row.number, None, name=name)
            seen[place] = _Row(row.number, row.cells[:1])
        else:
            seen[place] = row
    for place, label in enumerate(labels):
        if place not in seen and place_of.get(fold(label)) == place and label:
            faults.add("row_missing", rows[0].number, label, name=label)
    return seen


def _value(cell: str, row: int, column: str, faults: _Faults, *, comma: bool) -> float | None:
    """Return the distance in a cell, or None for a gap or a fault."""
    if cell.lower() in _GAPS:
        return None
    plain = cell.replace(",", ".") if comma and cell.count(",") == 1 and "." not in cell else cell
    value = float(plain) if NUMBER.fullmatch(plain) else np.inf
    if np.isfinite(value) and value >= 0:
        return value
    faults.add("negative" if np.isfinite(value) else "no_number", row, column, got=cell)
    return None


def _settle_halves(values: Floats, labels: list[str], written: Mapping[int, _Row], faults: _Faults) -> None:
    """Fill each half from the other, where they agree, and the diagonal with zeros."""
    with np.errstate(invalid="ignore"):
        differ = np.abs(values - values.T) > AGREE * np.maximum(values, values.T)
    for a, b in np.argwhere(np.triu(differ, 1)).tolist():
        here, twin = written[a], written[b]
        got, other = here.cells[b + 1].strip(), twin.cells[a + 1].strip()
        faults.add("unlike", here.number, labels[b], got=got, other=other, twin=str(twin.number), above=labels[a])
    for place in np.flatnonzero(np.diag(values) > 0).tolist():
        row = written[place]
        faults.add("diagonal", row.number, labels[place], name=labels[place], got=row.cells[place + 1].strip())
    mean = (values + values.T) / 2
    other_half = np.where(np.isnan(values), values.T, values)
    values[:] = np.where(np.isnan(mean), other_half, mean)
    np.fill_diagonal(values, 0.0)
