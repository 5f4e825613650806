"""A whole history written into an empty book: changes under their own numbers, and every version of every record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, fields

from sqlalchemy import Connection, func, insert, select

from crosscompat.book.records import KINDS, Record
from crosscompat.book.store.schema import CHANGES, RECORDS, TABLES
from crosscompat.book.store.store import Change, Reading, Version, Writing
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["refuse_filled", "restore_history"]


def refuse_filled(page: Reading) -> None:
    """Stop at a book in which something was ever written.

    Raises
    ------
    WrongUse
        If it is such a one.
    """
    counts = (select(func.count()).select_from(table) for table in (CHANGES, RECORDS))
    if any(page.connection.execute(count).scalar_one() for count in counts):
        raise WrongUse(say("store.not_empty"))


def restore_history(
    pen: Writing, changes: Sequence[Change], versions: Mapping[type[Record], Sequence[Version]]
) -> None:
    """Write changes and versions as they were elsewhere; it is no change of its own.

    Parameters
    ----------
    pen : Writing
        Nothing must have been written with it yet.
    changes : sequence of Change
        Oldest first.
    versions : mapping
        By kind of record, those of one record together and in the order in which records were first written.

    Raises
    ------
    WrongUse
        If something was ever written in the book.
    """
    refuse_filled(pen)
    if changes:
        pen.connection.execute(insert(CHANGES), [asdict(change) for change in changes])
        _count_on(pen.connection)
    kinds = [kind for kind in KINDS.values() if versions.get(kind)]
    for kind in kinds:
        name = TABLES[kind].name
        ids = dict.fromkeys(version.record.id for version in versions[kind])
        pen.connection.execute(insert(RECORDS), [{"id": one, "kind": name} for one in ids])
    for kind in kinds:
        pen.connection.execute(insert(TABLES[kind]), list(_rows(kind, versions[kind])))


def _rows(kind: type[Record], versions: Iterable[Version]) -> Iterable[Mapping[str, object]]:
    names = [item.name for item in fields(kind)]
    for version in versions:
        values = {name: getattr(version.record, name) for name in names}
        yield values | {"made_in": version.made_in, "replaced_in": version.replaced_in}


def _count_on(connection: Connection) -> None:
    """Let the next change get the next number; SQLite does so of itself."""
    if connection.dialect.name == "postgresql":
        last = select(func.max(CHANGES.c.id)).scalar_subquery()
        connection.execute(select(func.setval(func.pg_get_serial_sequence("changes", "id"), last)))
