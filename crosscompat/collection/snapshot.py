"""What a cross book comes to, kept as it was last read, for a book that has not changed by one byte since."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path
from typing import Any

from crosscompat.collection.caches import key_of

__all__ = ["key_of_book", "rows_from", "text_of"]

_BESIDE = ("", "-wal", "-journal")
"""What SQLite holds of a book: the file, and what was written but has not yet been taken into it."""

_ROOMS = ("ground", "book", "book/store")

_FROM_TEXT = {"date": date.fromisoformat, "datetime": datetime.fromisoformat}
_PLAIN = {"NoneType", "str", "int", "float", "bool"}


def key_of_book(book: Path) -> bytes | None:
    """Return what tells a book from every other, and from itself at every other time; None if it cannot be read."""
    file = book.resolve()  # what is beside it lies beside the file, not beside a link to it
    return key_of([file.with_name(file.name + ending) for ending in _BESIDE], _ROOMS)


def text_of(*tables: Sequence[Any]) -> str | None:
    """Return rows of dataclasses as text, a table a kind; None where a field holds what text cannot give back."""
    try:
        return json.dumps([_columns(rows) for rows in tables])
    except TypeError:
        return None


def rows_from(text: str | bytes, *kinds: type) -> list[tuple[Any, ...]]:
    """Return the rows that `text_of` has written, of these kinds.

    Examples
    --------
    >>> from crosscompat.book.current_plants import Plant
    >>> bench = (Plant("A1", "Aus bus", "A", died=date(2026, 5, 1)), Plant("B", "Aus bus", "B"))
    >>> rows_from(text_of(bench), Plant) == [bench]
    True
    """
    return [_rows(kind, columns) for kind, columns in zip(kinds, json.loads(text), strict=True)]


def _columns(rows: Sequence[Any]) -> dict[str, tuple[str, list[Any]]]:
    names = [item.name for item in fields(rows[0])] if rows else []
    return {name: _column([getattr(row, name) for row in rows]) for name in names}


def _column(values: list[Any]) -> tuple[str, list[Any]]:
    kinds = {type(value).__name__ for value in values}
    for kind in _FROM_TEXT:
        if kinds - {"NoneType"} == {kind}:
            return kind, [value and value.isoformat() for value in values]
    if not kinds <= _PLAIN:
        raise TypeError(kinds)
    return "", values


def _rows(kind: type, columns: dict[str, tuple[str, list[Any]]]) -> tuple[Any, ...]:
    read = [_read(*column) for column in columns.values()]
    return tuple(kind(**dict(zip(columns, row, strict=True))) for row in zip(*read, strict=True))


def _read(kind: str, values: list[Any]) -> list[Any]:
    made = _FROM_TEXT.get(kind)
    return values if made is None else [None if value is None else made(value) for value in values]
