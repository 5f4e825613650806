"""The cells of a square table of distances, every fault told at once with its row and column."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from os import PathLike

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.names import fold
from crosscompat.phylogeny.numbers import NUMBER
from crosscompat.phylogeny.postorder import Floats
from crosscompat.phylogeny.text_source import SHOWN, Source, capped, file_content, told

__all__ = ["Square", "read_square"]

AGREE = 1e-9
"""Two halves of a table are one if they differ by no more than this, relative to the larger."""

_GAPS = frozenset({"", "na", "nan"})


@dataclass(frozen=True, slots=True)
class Square:
    """Labels as written in the first row, and symmetric values with NaN for gaps."""

    labels: tuple[str, ...]
    values: Floats


@dataclass(slots=True)
class _Faults:
    """Faults by kind: the first ones in full, the rest as a number."""

    file: str
    found: dict[str, list[Fault]] = field(default_factory=dict)
    count: dict[str, int] = field(default_factory=dict)

    def add(self, key: str, row: int, column: str | None, **values: str) -> None:
        self.count[key] = self.count.get(key, 0) + 1
        if self.count[key] <= SHOWN:
            place = Place(self.file, row=row, column=column)
            self.found.setdefault(key, []).append(told("table", key, place, **values))

    def settle(self) -> None:
        """Raise everything there is to say, row by row."""
        if self.found:
            kinds = [capped(found, self.count[key], f"table.{key}", self.file) for key, found in self.found.items()]
            listed = [fault for kind in kinds for fault in kind]
            raise BadInput(sorted(listed, key=lambda fault: (fault.place.row is None, fault.place.row or 0)))


def read_square(path: str | PathLike[str]) -> Square:
    """Read the table in a file.

    Raises
    ------
    BadInput
        With every fault of the table.
    """
    source = Source.of(*file_content(path))
    file = source.file or ""
    text = source.data.decode("utf-8")
    if not text.strip():
        raise BadInput([told("table", "empty", Place(file))])
    if text.lstrip()[:1] in "(#<[":
        raise BadInput([told("table", "tree", Place(file))])
    rows, comma = _rows(text, file)
    faults = _Faults(file)
    labels = _header(rows[0], faults)
    values = np.full((len(labels), len(labels)), np.nan)
    printed: dict[tuple[int, int], tuple[int, str]] = {}
    for column, row, place, number, cell in _cells(rows, labels, faults, comma=comma):
        values[row, column] = number
        printed[row, column] = place, cell
    _settle_halves(values, labels, printed, faults)
    faults.settle()
    return Square(tuple(labels), values)


def _rows(text: str, file: str) -> tuple[list[tuple[int, list[str]]], bool]:
    """Return the rows that hold anything with their numbers, and whether a decimal may have a comma."""
    first = text.lstrip("\r\n").splitlines()[0]
    delimiter = max("\t;,", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        rows = [(number, row) for number, row in enumerate(reader, 1) if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise BadInput([told("table", "no_csv", Place(file, row=reader.line_num), reason=str(error))]) from None
    return rows, delimiter != ","


def _header(row: tuple[int, list[str]], faults: _Faults) -> list[str]:
    number, cells = row
    labels = [cell.strip() for cell in cells[1:]]
    while labels and not labels[-1]:
        labels.pop()
    seen: dict[str, str] = {}
    for place, label in enumerate(labels, 2):
        if not label:
            faults.add("no_name", number, str(place))
        elif fold(label) in seen:
            faults.add("twice_above", number, label, first=seen[fold(label)])
        else:
            seen[fold(label)] = label
    if not labels:
        faults.add("no_header", number, None)
        faults.settle()
    return labels


def _cells(
    rows: list[tuple[int, list[str]]], labels: list[str], faults: _Faults, *, comma: bool
) -> Iterator[tuple[int, int, int, float, str]]:
    """Yield column, row, row number, value and text of every cell that holds a distance."""
    place_of = {fold(label): place for place, label in reversed(list(enumerate(labels)))}
    seen: dict[int, int] = {}
    for number, cells in rows[1:]:
        name = cells[0].strip()
        place = place_of.get(fold(name))
        if place is None:
            faults.add("row_unknown" if name else "no_name", number, "1", name=name)
            continue
        if place in seen:
            faults.add("twice_beside", number, "1", name=name, first=str(seen[place]))
            continue
        seen[place] = number
        if any(cell.strip() for cell in cells[len(labels) + 1 :]):
            faults.add("row_long", number, None, name=name)
            continue
        for column, cell in enumerate(cells[1 : len(labels) + 1]):
            value = _value(cell.strip(), number, labels[column], faults, comma=comma)
            if value is not None:
                yield column, place, number, value, cell.strip()
    for place, label in enumerate(labels):
        if place not in seen and place_of.get(fold(label)) == place and label:
            faults.add("row_missing", rows[0][0], label, name=label)


def _value(cell: str, row: int, column: str, faults: _Faults, *, comma: bool) -> float | None:
    """Return the distance in a cell, or None for a gap or a fault."""
    if cell.lower() in _GAPS:
        return None
    plain = cell.replace(",", ".") if comma and cell.count(",") == 1 and "." not in cell else cell
    if not NUMBER.fullmatch(plain) or not np.isfinite(float(plain)):
        faults.add("no_number", row, column, got=cell)
        return None
    value = float(plain)
    if value < 0:
        faults.add("negative", row, column, got=cell)
        return None
    return value


def _settle_halves(
    values: Floats, labels: list[str], printed: dict[tuple[int, int], tuple[int, str]], faults: _Faults
) -> None:
    """Fill each half from the other, where they agree, and the diagonal with zeros."""
    with np.errstate(invalid="ignore"):
        differ = np.abs(values - values.T) > AGREE * np.maximum(values, values.T)
    for a, b in np.argwhere(np.triu(differ, 1)).tolist():
        here, there = printed[a, b], printed[b, a]
        faults.add("unlike", here[0], labels[b], got=here[1], other=there[1], twin=str(there[0]), above=labels[a])
    for place in np.flatnonzero(np.diag(values) > 0).tolist():
        row, cell = printed[place, place]
        faults.add("diagonal", row, labels[place], name=labels[place], got=cell)
    mean = (values + values.T) / 2
    other = np.where(np.isnan(values), values.T, values)
    values[:] = np.where(np.isnan(mean), other, mean)
    np.fill_diagonal(values, 0.0)
