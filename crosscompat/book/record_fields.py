"""Fields that say of themselves what they hold, and how a row of a table becomes them."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import MISSING, Field, field, fields
from datetime import date, datetime, time
from functools import cache, partial
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

from crosscompat.ground import csv_cells
from crosscompat.ground.csv_cells import BadCell, Cells
from crosscompat.ground.dates import FIRST_YEAR, LAST_YEAR
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def in_column(name: str | None, default: Any = MISSING) -> Any:
    """Make a field that a table holds under another name, or not at all."""
    return field(default=default, metadata={"column": name})


def points_to(kind: str, default: Any = MISSING) -> Any:
    """Make a field that points to a record of a kind."""
    return field(default=default, metadata={"of": kind})


def one_of(allowed: tuple[str, ...], default: Any = MISSING) -> Any:
    """Make a field that has one of some values."""
    return field(default=default, metadata={"choices": allowed})


def from_to(low: int, high: int) -> Any:
    """Make a field for a number within bounds, or None."""
    return field(default=None, metadata={"range": (low, high)})


def value_types(kind: type) -> Mapping[str, type]:
    """Return the type of every field of a kind, None aside."""
    return {name: next(iter(get_args(hint)), hint) for name, hint in _hints(kind).items()}


def needed(kind: type) -> frozenset[str]:
    """Return the fields of a kind that are never None."""
    return frozenset(name for name, hint in _hints(kind).items() if type(None) not in get_args(hint))


def reference(item: Field[Any]) -> str | None:
    """Return the kind of record that a field points to, or None."""
    return item.metadata.get("of")


def choices(item: Field[Any]) -> tuple[str, ...] | None:
    """Return the only values that a field may have, or None."""
    return item.metadata.get("choices")


def column_of(item: Field[Any]) -> str | None:
    """Return the column of a table that holds a field, or None."""
    column: str | None = item.metadata.get("column", item.name)
    return column if item.default_factory is MISSING else None


def read_fields(cells: Cells, kind: type, names: Collection[str] | None = None) -> dict[str, Any]:
    """Return the fields of a kind as a row of a table has them, by their names; all that tables hold if none are named.

    A blank one has its default, or else is None, which adds a fault where it is needed, as does what cannot be read.
    """
    found = {}
    for item in fields(kind):
        column = column_of(item)
        if column is not None and (names is None or item.name in names):
            default = None if item.default is MISSING else item.default
            must = default is None and item.name in needed(kind)
            value = read_cell(cells, column, kind, item, needed=must)
            found[item.name] = default if value is None else value
    return found


def read_cell(cells: Cells, column: str, kind: type, item: Field[Any], *, needed: bool = False) -> Any:
    """Return the value of a field that a cell holds; one that cannot be read adds a fault."""
    return cells.read(column, partial(read_field, kind, item, comma=cells.sheet.decimal_comma), needed=needed)


def read_field(kind: type, item: Field[Any], text: str, *, comma: bool = False) -> Any:
    """Return the value of a field that is written so, or raise `BadCell` if it is none."""
    if allowed := choices(item):
        return csv_cells.choice(text, allowed)
    wanted = value_types(kind)[item.name]
    value = csv_cells.decimal(text, comma=comma) if wanted is float else READERS[wanted](text)
    low, high = item.metadata.get("range", (value, value))
    if not low <= value <= high:
        raise BadCell(say("records.range", text=text), say("records.range_advice", low=low, high=high))
    return value


READERS: Mapping[type, Callable[[str], Any]] = {
    int: csv_cells.whole,
    float: csv_cells.decimal,
    bool: csv_cells.yes_no,
    date: csv_cells.day,
    datetime: csv_cells.timestamp,
    time: csv_cells.hour,
    str: str,
}
"""How the text of a cell becomes a value, by its type; what is none raises `BadCell`."""


@cache
def _hints(kind: Any) -> Mapping[str, Any]:
    """Return the types of a kind's fields; to work them out takes long enough to be felt at every start."""
    return get_type_hints(kind)


_MOST, _LONGEST, _SHOWN = 999_999_999, 100_000, 40
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\u202a-\u202e\u2066-\u2069]")


def admit(record: DataclassInstance) -> None:
    """Let a record into the book, or raise `WrongUse` with what is wrong in every field: every value passes here.

    Examples
    --------
    >>> from crosscompat.book.records import Flowering
    >>> admit(Flowering(plant="x", date=date(26, 5, 1), open_flowers=2**63))
    Traceback (most recent call last):
    crosscompat.ground.errors.WrongUse: date cannot be 0026-05-01. open_flowers cannot be 9223372036854775808.
    """
    wrong = []
    for name, fits in _tests(type(record)).items():
        value = getattr(record, name)
        if value is not None and not fits(value):
            text = ascii(value) if isinstance(value, str) else str(value)
            shown = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
            wrong.append(say("records.not_admitted", field=name, value=shown))
    if wrong:
        raise WrongUse(" ".join(wrong))


def admissible(text: str) -> bool:
    r"""Tell whether a text is not too long to be kept and holds no signs that steer a screen.

    Examples
    --------
    >>> admissible("two lines,\nno more"), admissible("\x1b[2J"), admissible("a\u202eb")
    (True, False, False)
    """
    return len(text) <= _LONGEST and not _UNPRINTABLE.search(text)


@cache
def _tests(kind: type) -> Mapping[str, Callable[[Any], bool]]:
    """Return what tells whether a field can hold a value, by its name."""
    return {item.name: _test(item, value_types(kind)[item.name]) for item in fields(kind)}


def _test(item: Field[Any], kind: type) -> Callable[[Any], bool]:
    if allowed := choices(item):
        return allowed.__contains__
    low, high = item.metadata.get("range") or (0 if kind is int else -_MOST, _MOST)
    if kind in {int, float}:
        return lambda value: bool(low <= value <= high)
    if kind is str:
        return admissible
    if issubclass(kind, date):
        return lambda day: FIRST_YEAR <= day.year <= LAST_YEAR
    return lambda _: True
