"""The seal of a book's history: each change holds a digest over what it wrote and over the digest before it.

What was altered by anything but this package, or mixed out of two times of a book, does not come to its digest.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import fields
from datetime import datetime, time
from hashlib import sha256
from typing import Any

from crosscompat.book.store.tables import NAMES, Change

Fetch = Callable[[str], Iterable[Sequence[Any]]]
"""Returns the rows of a query, as the driver of the database gives them."""

_SEALED = ", ".join(f'"{item.name}"' for item in fields(Change) if item.name != "digest")
_ROWS = {
    name: ", ".join(f'"{column}"' for column in (*(item.name for item in fields(kind)), "made_in"))
    for kind, name in NAMES.items()
}


def digest_of(fetch: Fetch, change: int) -> str:
    """Return the digest of a change over what it wrote, replaced or took back, and over the change before it."""
    before = fetch(f"SELECT digest FROM changes WHERE id < {change} ORDER BY id DESC LIMIT 1")  # noqa: S608 - a number
    (row,) = fetch(f"SELECT {_SEALED} FROM changes WHERE id = {change}")  # noqa: S608 - as above
    lines = [line for number, line in _lines(fetch, change) if number == change]
    return _digest(next((digest for (digest,) in before), ""), row, lines)


def first_altered(fetch: Fetch) -> int | None:
    """Return the first change that does not come to its digest, or is not listed; None if there is none."""
    lines = defaultdict(list)
    for number, line in _lines(fetch):
        lines[number].append(line)
    before, last = "", 0
    for *row, digest in fetch(f"SELECT {_SEALED}, digest FROM changes ORDER BY id"):  # noqa: S608 - columns of ours
        last = int(row[0])
        if digest != _digest(before, row, lines.pop(last, [])):
            return last
        before = digest
    return min(lines, default=None) if lines else _misfiled(fetch, last)


def last_altered(fetch: Fetch) -> int | None:
    """Return the last change if that does not come to its digest, which is soon known however large a book is."""
    last = [*fetch("SELECT id, digest FROM changes ORDER BY id DESC LIMIT 1")]
    return next((int(number) for number, digest in last if digest != digest_of(fetch, number)), None)


def _lines(fetch: Fetch, change: int | None = None) -> Iterator[tuple[int, str]]:
    """Yield what each change did to each row, or what one did and others did to the same rows."""
    where = "" if change is None else f" WHERE made_in = {change} OR replaced_in = {change}"
    for table, columns in _ROWS.items():
        for *row, replaced_in in fetch(f"SELECT {columns}, replaced_in FROM {table}{where}"):  # noqa: S608 - ours
            yield row[-1], _text([table, *row])
            if replaced_in is not None:
                yield replaced_in, _text([table, row[0], row[-1]])


def _misfiled(fetch: Fetch, last: int) -> int | None:
    """Return the first change a record of which is listed as of another kind; the last for one that is not there."""
    listed = {one: kind for one, kind in fetch("SELECT id, kind FROM records")}  # noqa: C416 - rows of any kind
    kinds = {kind: fetch(f"SELECT id, min(made_in) FROM {kind} GROUP BY id") for kind in _ROWS}  # noqa: S608 - ours
    wrong = [first for kind, rows in kinds.items() for one, first in rows if listed.pop(one, None) != kind]
    return min(wrong, default=last if listed else None)


def _digest(before: str, change: Sequence[Any], lines: Iterable[str]) -> str:
    return sha256("\n".join([before, _text(change), *sorted(lines)]).encode()).hexdigest()


def _text(row: Iterable[Any]) -> str:
    """Return a row as one text, whichever database it is from: SQLite has no moments and no yes or no of its own."""
    return json.dumps([int(value) if isinstance(value, bool) else value for value in row], default=_as_sqlite)


def _as_sqlite(value: Any) -> str:
    if isinstance(value, datetime):
        return value.isoformat(" ", "microseconds")
    return value.isoformat("microseconds") if isinstance(value, time) else str(value)
