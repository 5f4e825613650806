"""What a book holds that a copy of it does not, change by change and by content, whatever their numbers are."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import ClauseElement, MetaData, Table, select
from sqlalchemy.dialects.sqlite import dialect

from crosscompat.book.store.backup import is_book
from crosscompat.book.store.engine import address_of, told_of
from crosscompat.book.store.schema import CHANGES, TABLES
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["changes_lacking"]

_SIDES = ("main", "copy")
_MARKS = ("made_in", "replaced_in")
_WAIT_SECONDS = 5


def changes_lacking(book: Path, backup: Path) -> int:
    """Return how many changes of a book a copy lacks, or tells otherwise.

    Of a sound book all that a change wrote and replaced is compared. Of a damaged one the list of changes is, as far as
    it can still be read; what they wrote may be garbled.

    Parameters
    ----------
    book, backup : Path

    Raises
    ------
    WrongUse
        If the copy is no sound book.
    Busy, Unreachable
        If one of them cannot be read now.
    """
    if not is_book(backup):
        raise WrongUse(say("store.no_backup", file=str(backup)))
    if not book.is_file() or not is_book(book):
        return len(_listed(book) - _listed(backup))
    try:
        return len(set(_told_otherwise(book, backup)))
    except sqlite3.Error as error:
        raise told_of(str(error), book) or error from error


def _listed(book: Path) -> set[tuple[object, ...]]:
    """Return the changes that a book lists, read from both ends as far as they can be."""
    found: set[tuple[object, ...]] = set()
    for query in (select(CHANGES).order_by(CHANGES.c.id), select(CHANGES).order_by(CHANGES.c.id.desc())):
        with suppress(sqlite3.Error), closing(_opened(book)) as connection:
            connection.text_factory = bytes
            for row in connection.execute(_written_out(query)):
                found.add(row)
    return found


def _told_otherwise(book: Path, backup: Path) -> Iterator[int]:
    """Yield the numbers of changes whose line, or anything they wrote or replaced, is not so in the copy."""
    with closing(_opened(book)) as both:
        both.execute("ATTACH DATABASE ? AS copy", (address_of(backup, reading=True),))
        for table in (CHANGES, *TABLES.values()):
            sides = [_columns(both, side, table.name) for side in _SIDES]
            shared = [column.name for column in table.columns if all(column.name in side for side in sides)]
            if not shared:
                continue  # one of them is of a version that had no such table yet
            if table is CHANGES:
                yield from _only_here(both, table, shared, "id")
            else:
                yield from _only_here(both, table, [name for name in shared if name != "replaced_in"], "made_in")
                yield from _only_here(both, table, ["id", *_MARKS], "replaced_in")


def _only_here(both: sqlite3.Connection, table: Table, columns: Sequence[str], number: str) -> Iterator[int]:
    here, there = (table.to_metadata(MetaData(), schema=side) for side in _SIDES)
    rows, others = (
        select(*(side.c[name] for name in columns)).where(side.c[number].is_not(None)) for side in (here, there)
    )
    only = rows.except_(others).subquery()
    for (found,) in both.execute(_written_out(select(only.c[number]).distinct())):
        yield int(found)


def _columns(both: sqlite3.Connection, side: str, table: str) -> set[str]:
    return {name for (name,) in both.execute("SELECT name FROM pragma_table_info(?, ?)", (table, side))}


def _opened(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(address_of(path, reading=True), uri=True, timeout=_WAIT_SECONDS)


def _written_out(query: ClauseElement) -> str:
    return str(query.compile(dialect=dialect()))
