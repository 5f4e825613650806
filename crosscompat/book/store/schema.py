"""The tables of the cross book, one a kind of record, made from the records themselves.

A row is never changed but for one mark: ``made_in`` is the change that wrote it and ``replaced_in`` the one that put
another in its place, or took it back. The rows that nothing has replaced are the book as it stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import Field, fields
from datetime import UTC, date, datetime, time
from types import MappingProxyType
from typing import Any

import sqlalchemy as sa

from crosscompat.book.records import KINDS, Record, needed, reference, value_types

__all__ = ["CHANGES", "FORMAT", "FORMAT_NOTE", "RECORDS", "TABLES", "Moment", "also_on_postgresql", "metadata"]

FORMAT = 1
"""The shape of the tables; a book that says another is left alone."""

_UNIQUE = {"plants": "name", "crosses": "number"}
_ID = 36

metadata = sa.MetaData()


class Moment(sa.TypeDecorator[datetime]):
    """A moment, kept in UTC; one without a zone is taken for UTC."""

    impl = sa.DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:  # noqa: ARG002
        """Return what is written."""
        return value.astimezone(UTC).replace(tzinfo=None) if value is not None and value.tzinfo else value

    def process_result_value(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:  # noqa: ARG002
        """Return what was read."""
        return None if value is None else value.replace(tzinfo=UTC)


_COLUMN_TYPES: Mapping[type, Any] = {
    str: sa.Text,
    int: sa.Integer,
    float: sa.Float(53),
    bool: sa.Boolean,
    date: sa.Date,
    time: sa.Time,
    datetime: Moment,
}

CHANGES = sa.Table(
    "changes",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at", Moment, nullable=False),
    sa.Column("who", sa.Text),
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("undoes", sa.Integer, sa.ForeignKey("changes.id")),
    sa.Column("imported", sa.Boolean, nullable=False),
    sqlite_autoincrement=True,
)

RECORDS = sa.Table(
    "records",
    metadata,
    sa.Column("place", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("id", sa.String(_ID), nullable=False, unique=True),
    sa.Column("kind", sa.String(_ID), nullable=False),
    sqlite_autoincrement=True,
)

FORMAT_NOTE = sa.Table("book_format", sa.MetaData(), sa.Column("format", sa.Integer, primary_key=True))


def _table(name: str, kind: type[Record]) -> sa.Table:
    standing = sa.Column("replaced_in", sa.Integer, sa.ForeignKey("changes.id"))
    table = sa.Table(
        name,
        metadata,
        sa.Column("id", sa.String(_ID), sa.ForeignKey("records.id"), primary_key=True),
        *(_column(item, kind) for item in fields(kind) if item.name != "id"),
        sa.Column("made_in", sa.Integer, sa.ForeignKey("changes.id"), primary_key=True, autoincrement=False),
        standing,
    )
    unique = ["id", *([_UNIQUE[name]] if name in _UNIQUE else [])]
    pointing = [item.name for item in fields(kind) if reference(item)]
    for column in dict.fromkeys([*unique, *pointing]):
        sa.Index(
            f"ix_{name}_{column}_standing",
            table.c[column],
            unique=column in unique,
            sqlite_where=standing.is_(None),
        )
    for mark in ("made_in", "replaced_in"):
        sa.Index(f"ix_{name}_{mark}", table.c[mark])
    return table


def also_on_postgresql() -> None:
    """Let the indexes cover the standing rows alone on PostgreSQL too.

    It is not said with the index, for that would load the whole dialect wherever a book is opened.
    """
    for table in TABLES.values():
        for index in (one for one in table.indexes if str(one.name).endswith("_standing")):
            index.dialect_options["postgresql"]["where"] = table.c.replaced_in.is_(None)


def _column(item: Field[Any], kind: type[Record]) -> sa.Column[Any]:
    nullable = item.name not in needed(kind)
    if reference(item):
        return sa.Column(item.name, sa.String(_ID), sa.ForeignKey("records.id"), nullable=nullable)
    return sa.Column(item.name, _COLUMN_TYPES[value_types(kind)[item.name]], nullable=nullable)


TABLES: Mapping[type[Record], sa.Table] = MappingProxyType({kind: _table(name, kind) for name, kind in KINDS.items()})
"""The table of every kind of record."""
