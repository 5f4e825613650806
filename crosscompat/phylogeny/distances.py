"""How far apart species stand, by their names, and a square table of distances, which may have gaps.

A name counts as it stands, as it folds, or as a plant name.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import repeat
from os import PathLike
from pathlib import Path

import numpy as np

from crosscompat.ground.csv_cells import raise_faults, read_records
from crosscompat.ground.errors import SHOWN, BadInput, Fault, Place, UnknownName, first_faults, worded
from crosscompat.ground.names import NameIndex, fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.text_source import NUMBER
from crosscompat.phylogeny.tree_arrays import Floats, Ints, content_hash

AGREE = 1e-9
"""Two halves of a table are one if they differ by no more than this, relative to the larger."""

_GAPS = frozenset({"", "na", "nan"})


class Distances(ABC):
    """How far apart species stand, whether a tree or a table says so.

    Where a method takes names, a label may be written with underscores or spaces, or as a plant name; a name that is
    not there raises `UnknownName`.
    """

    @property
    @abstractmethod
    def tips(self) -> tuple[str, ...]:
        """The labels, as written."""

    @property
    @abstractmethod
    def unit(self) -> str | None:
        """What a distance of 1 means; None where nobody said."""

    @property
    @abstractmethod
    def fingerprint(self) -> str:
        """SHA-256 of the content in hexadecimal, the same on every machine."""

    @abstractmethod
    def patristic_between(self, a: Ints, b: Ints) -> Floats:
        """Return the distance of tip ``a[i]`` to tip ``b[i]``, both by their numbers in ``tips``, as an (m,) array."""

    @abstractmethod
    def patristic_matrix(self, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of k names, by default of all tips, to each other in their order, as a (k, k) array."""

    @abstractmethod
    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Return the distances of one tip to k names, by default to all tips, as a (k,) array."""

    @property
    def n_tips(self) -> int:
        """How many tips there are."""
        return len(self.tips)

    @cached_property
    def index(self) -> NameIndex:
        """The tips as plant names."""
        return NameIndex(self.tips)

    @cached_property
    def _exact(self) -> dict[str, int]:
        return {label: place for place, label in enumerate(self.tips)}

    @cached_property
    def _folded(self) -> dict[str, int]:
        return {fold(label): place for place, label in enumerate(self.tips)}

    def position(self, name: str, *, nearest: bool = True) -> int:
        """Return the number of one tip, or raise `UnknownName`, with the ``nearest`` labels, which takes long."""
        place = self._exact.get(name)
        place = self._folded.get(fold(name)) if place is None else place
        if place is not None:
            return place
        label = self.index.resolve(name) if nearest else self.index.find(name)
        if label is None:
            raise UnknownName("", name)
        return self._exact[label]

    def positions(self, names: Iterable[str] | None = None) -> Ints:
        """Return the numbers of k tips, by default of all, or raise one `UnknownName` of all names that are not there.

        Examples
        --------
        >>> from crosscompat.phylogeny.newick import parse_newick
        >>> parse_newick("(Aloe_vera:1,'Aloe ferox':1);").positions(["Aloe vera", "Aloe_ferox", "Aloe_vera"]).tolist()
        [0, 1, 0]
        """
        if names is None:
            return np.arange(self.n_tips)
        given = names if isinstance(names, list | tuple) else list(names)
        places = np.fromiter(map(self._exact.get, given, repeat(-1)), np.int64, len(given))
        unknown: dict[str, UnknownName] = {}
        others: dict[str, int] = {}
        rest = np.flatnonzero(places < 0).tolist()
        for name in dict.fromkeys(given[at] for at in rest):
            try:
                others[name] = self.position(name, nearest=len(unknown) < SHOWN)
            except UnknownName as error:
                unknown[name] = error
        if unknown:
            raise _together(list(unknown.values()))
        places[rest] = [others[given[at]] for at in rest]
        return places

    def patristic(self, a: str, b: str) -> float:
        """Return the distance of two tips; on a tree, the sum of branch lengths on the path between them."""
        return float(self.patristic_pairs([a], [b])[0])

    def patristic_pairs(self, a: Sequence[str], b: Sequence[str]) -> Floats:
        """Return the distance of each ``a[i]`` to ``b[i]``, as an (m,) array; a `ValueError` if lengths differ."""
        if len(a) != len(b):
            raise ValueError("the two lists of names must be of one length")
        places = self.positions([*a, *b])
        return self.patristic_between(places[: len(a)], places[len(a) :])


def _together(unknown: Sequence[UnknownName]) -> UnknownName:
    """Return one error that names all the names, the first of them in full."""
    first, more = unknown[0], len(unknown) - SHOWN
    if len(unknown) == 1:
        return first
    sentences = [str(error) for error in unknown[:SHOWN]]
    if more > 0:
        sentences.append(say("names.unknown_more", n=more))
    return UnknownName("\n".join(sentences), first.name, first.nearest)


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
        """Return what `Distances.patristic_between` does; a `BadInput` names every gap among the pairs."""
        distances = self.values[a, b]
        gaps = np.flatnonzero(np.isnan(distances))
        if gaps.size:
            pairs = list(dict.fromkeys(zip(a[gaps].tolist(), b[gaps].tolist(), strict=True)))
            raise BadInput(first_faults(pairs, self._gap, "table.gap", None))
        return distances

    def patristic_matrix(self, names: Iterable[str] | None = None) -> Floats:
        """Gaps are NaN."""
        places = self.positions(names)
        matrix: Floats = self.values[np.ix_(places, places)]
        return matrix

    def patristic_from(self, a: str, names: Iterable[str] | None = None) -> Floats:
        """Gaps are NaN."""
        row: Floats = self.values[self.position(a)][self.positions(names)]
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
    lines, separator = read_records(path, unreadable)
    rows = {number: cells for number, cells in enumerate(lines, 1) if any(cell.strip() for cell in cells)}
    raise_faults(unreadable)
    faults = _Faults(Path(path).name)
    first = min(rows, default=1)
    if rows.setdefault(first, [""])[0].lstrip()[:1] in {"(", "#", "<", "["}:
        raise BadInput([worded("table", "tree", Place(faults.file))])
    labels = _header(first, rows.pop(first), faults)
    row_of = _rows_by_label(first, rows, labels, faults)
    values = np.full((len(labels), len(labels)), np.nan)
    for place, number in row_of.items():
        for column, cell in enumerate(rows[number][1 : len(labels) + 1]):
            values[place, column] = _value(cell.strip(), number, labels[column], faults, comma=separator != ",")
    _settle_halves(values, labels, row_of, rows, faults)
    faults.settle()
    return DistanceTable(tuple(labels), values, unit)


class _Faults:
    """Faults of one table: the first of each kind in full, the rest as a number."""

    def __init__(self, file: str) -> None:
        self.file = file
        self._faults: list[Fault] = []
        self._count: Counter[str] = Counter()

    def add(self, key: str, row: int, column: str | None, **values: str) -> None:
        self._count[key] += 1
        if self._count[key] <= SHOWN:
            self._faults.append(worded("table", key, Place(self.file, row=row, column=column), **values))

    def settle(self) -> None:
        """Raise everything there is to say, row by row."""
        more = {key: count - SHOWN for key, count in self._count.items() if count > SHOWN}
        faults = sorted(self._faults, key=lambda fault: fault.place.row or 0)
        faults += [Fault(Place(self.file), say(f"table.{key}.more", n=n)) for key, n in more.items()]
        if faults:
            raise BadInput(faults)


def _header(number: int, cells: list[str], faults: _Faults) -> list[str]:
    labels = [cell.strip() for cell in cells[1:]]
    while labels and not labels[-1]:
        labels.pop()
    seen: dict[str, int] = {}
    for column, label in enumerate(labels, 2):
        if not label:
            faults.add("no_name", number, str(column))
        elif seen.setdefault(fold(label), column) != column:
            faults.add("twice_above", number, label, first=labels[seen[fold(label)] - 2])
    if not labels:
        faults.add("no_header", number, None)
        faults.settle()
    return labels


def _rows_by_label(top: int, rows: dict[int, list[str]], labels: list[str], faults: _Faults) -> dict[int, int]:
    """Return the number of each label's row by the label's place; a row that is too long is cut to its name."""
    place_of = {fold(label): place for place, label in reversed(list(enumerate(labels)))}
    seen: dict[int, int] = {}
    for number, cells in rows.items():
        name = cells[0].strip()
        place = place_of.get(fold(name))
        if place is None:
            faults.add("row_unknown" if name else "no_name", number, "1", name=name)
        elif seen.setdefault(place, number) != number:
            faults.add("twice_beside", number, "1", name=name, first=str(seen[place]))
        elif any(cell.strip() for cell in cells[len(labels) + 1 :]):
            faults.add("row_long", number, None, name=name)
            del cells[1:]
    for place, label in enumerate(labels):
        if place not in seen and place_of.get(fold(label)) == place and label:
            faults.add("row_missing", top, label, name=label)
    return seen


def _value(cell: str, row: int, column: str, faults: _Faults, *, comma: bool) -> float:
    """Return the distance in a cell, NaN for a gap or a fault."""
    if cell.lower() in _GAPS:
        return np.nan
    plain = cell.replace(",", ".") if comma and cell.count(",") == 1 and "." not in cell else cell
    value = float(plain) if NUMBER.fullmatch(plain) else np.inf
    if np.isfinite(value) and value >= 0:
        return value
    faults.add("negative" if np.isfinite(value) else "no_number", row, column, got=cell)
    return np.nan


def _settle_halves(
    values: Floats, labels: list[str], row_of: dict[int, int], rows: dict[int, list[str]], faults: _Faults
) -> None:
    """Fill each half from the other, where they agree, and the diagonal with zeros."""
    with np.errstate(invalid="ignore"):
        differ = np.abs(values - values.T) > AGREE * np.maximum(values, values.T)
    for a, b in np.argwhere(np.triu(differ, 1)).tolist():
        here, twin = row_of[a], row_of[b]
        got, other = rows[here][b + 1].strip(), rows[twin][a + 1].strip()
        faults.add("unlike", here, labels[b], got=got, other=other, twin=str(twin), above=labels[a])
    for place in np.flatnonzero(np.diag(values) > 0).tolist():
        got = rows[row_of[place]][place + 1].strip()
        faults.add("diagonal", row_of[place], labels[place], name=labels[place], got=got)
    whole = np.where(np.isnan(values), values.T, values)
    values[:] = (whole + whole.T) / 2
    np.fill_diagonal(values, 0.0)
