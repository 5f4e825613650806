"""The tables of a cross book: changes, records, and one table a kind of record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import Field, fields
from datetime import UTC, date, datetime, time
from types import MappingProxyType
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection

from crosscompat.book.record_fields import needed, reference, value_types
from crosscompat.book.records import KINDS, Record

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
    sa.Column("uid", sa.String(_ID), nullable=False, unique=True),
    sa.Column("digest", sa.String(64), nullable=False),
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

FORMAT_NOTE = sa.Table(
    "book_format",
    sa.MetaData(),
    sa.Column("format", sa.Integer, primary_key=True),
    sa.Column("book", sa.String(_ID), nullable=False),
)


def _table(name: str, kind: type[Record]) -> sa.Table:
    return sa.Table(
        name,
        metadata,
        sa.Column("id", sa.String(_ID), sa.ForeignKey("records.id"), primary_key=True),
        *(_column(item, kind) for item in fields(kind) if item.name != "id"),
        sa.Column("made_in", sa.ForeignKey("changes.id"), primary_key=True, autoincrement=False, index=True),
        sa.Column("replaced_in", sa.ForeignKey("changes.id"), index=True),
    )


def _column(item: Field[Any], kind: type[Record]) -> sa.Column[Any]:
    nullable = item.name not in needed(kind)
    if reference(item):
        return sa.Column(item.name, sa.String(_ID), sa.ForeignKey("records.id"), nullable=nullable)
    return sa.Column(item.name, _COLUMN_TYPES[value_types(kind)[item.name]], nullable=nullable)


TABLES: Mapping[type[Record], sa.Table] = MappingProxyType({kind: _table(name, kind) for name, kind in KINDS.items()})
"""The table of every kind of record."""


def make_tables(connection: Connection, book: str) -> None:
    """Make all tables of a new book, with its identity."""
    metadata.create_all(connection)
    for name, kind in KINDS.items():
        unique = {"id", _UNIQUE.get(name, "id")}
        for column in sorted(unique | {item.name for item in fields(kind) if reference(item)}):
            how = "UNIQUE INDEX" if column in unique else "INDEX"
            index = f'CREATE {how} ix_{name}_{column}_standing ON {name} ("{column}") WHERE replaced_in IS NULL'
            connection.exec_driver_sql(index)  # as words, for SQLAlchemy's would load what it knows of PostgreSQL
    FORMAT_NOTE.create(connection)
    connection.execute(sa.insert(FORMAT_NOTE).values(format=FORMAT, book=book))
