"""The tables of a cross book in SQL: changes, records, and one table a kind of record; and how values stand in them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from datetime import UTC, date, datetime, time
from types import MappingProxyType
from typing import Any

from crosscompat.book.record_fields import needed, reference, value_types
from crosscompat.book.records import KINDS, Record, new_id

FORMAT = 1
"""The shape of the tables; a book that says another is left alone."""


@dataclass(frozen=True, slots=True)
class Change:
    """One transaction: when, by whom and what, and which change it took back, if it did.

    Its writer gave it the ``uid``, which is like no other; `seal` says what the ``digest`` is.
    """

    id: int
    at: datetime
    who: str | None
    what: str
    undoes: int | None = None
    imported: bool = False
    uid: str = field(default_factory=new_id)
    digest: str = ""


NAMES: Mapping[type[Record], str] = MappingProxyType({kind: name for name, kind in KINDS.items()})
"""The table of every kind of record."""

MARKS = ("made_in", "replaced_in")
"""The changes that wrote a row and that replaced it or took it back."""

_UNIQUE = {"plants": "name", "crosses": "number"}
_ID = "VARCHAR(36)"
_TYPES: Mapping[str, Mapping[type, str]] = {
    "sqlite": {float: "FLOAT", datetime: "DATETIME"},
    "postgresql": {float: "DOUBLE PRECISION", datetime: "TIMESTAMP"},
}
_COUNTED = {"sqlite": "INTEGER PRIMARY KEY AUTOINCREMENT", "postgresql": "SERIAL PRIMARY KEY"}


def make_statements(dialect: str) -> Iterator[str]:
    """Yield what makes all tables of a new book, but for its identity."""
    counted = _COUNTED[dialect]
    yield f"""CREATE TABLE changes (
        id {counted}, at {_sql_type(datetime, dialect)} NOT NULL, who TEXT, what TEXT NOT NULL,
        undoes INTEGER REFERENCES changes (id), imported BOOLEAN NOT NULL, uid {_ID} NOT NULL UNIQUE,
        digest VARCHAR(64) NOT NULL)"""
    yield f"CREATE TABLE records (place {counted}, id {_ID} NOT NULL UNIQUE, kind {_ID} NOT NULL)"
    yield f"CREATE TABLE book_format (format INTEGER PRIMARY KEY, book {_ID} NOT NULL)"
    for kind, name in NAMES.items():
        yield f"CREATE TABLE {name} ({', '.join(_columns(kind, dialect))})"
        yield from _indexes(kind, name)


def _columns(kind: type[Record], dialect: str) -> Iterator[str]:
    types, must = value_types(kind), needed(kind)
    for item in fields(kind):
        points = item.name == "id" or reference(item)
        what = f"{_ID} REFERENCES records (id)" if points else _sql_type(types[item.name], dialect)
        yield f'"{item.name}" {what}{" NOT NULL" if item.name in must else ""}'
    yield "made_in INTEGER NOT NULL REFERENCES changes (id)"
    yield "replaced_in INTEGER REFERENCES changes (id)"
    yield "PRIMARY KEY (id, made_in)"


def _indexes(kind: type[Record], name: str) -> Iterator[str]:
    for mark in MARKS:
        yield f"CREATE INDEX ix_{name}_{mark} ON {name} ({mark})"
    unique = {"id", _UNIQUE.get(name, "id")}
    for column in sorted(unique | {item.name for item in fields(kind) if reference(item)}):
        how = "UNIQUE INDEX" if column in unique else "INDEX"
        yield f'CREATE {how} ix_{name}_{column}_standing ON {name} ("{column}") WHERE replaced_in IS NULL'


def _sql_type(kind: type, dialect: str) -> str:
    names = {str: "TEXT", int: "INTEGER", bool: "BOOLEAN", date: "DATE", time: "TIME"}
    return (names | dict(_TYPES[dialect]))[kind]


def to_sql(value: Any, dialect: str) -> Any:
    """Return a value as it is written; a moment in UTC, and one without a zone is taken for UTC.

    Examples
    --------
    >>> to_sql(date(2026, 5, 1), "sqlite"), to_sql(datetime(2026, 5, 1, 9, 30), "sqlite"), to_sql(4, "sqlite")
    ('2026-05-01', '2026-05-01 09:30:00.000000', 4)
    """
    if isinstance(value, datetime):
        value = value.astimezone(UTC).replace(tzinfo=None) if value.tzinfo else value
        return value.isoformat(" ", "microseconds") if dialect == "sqlite" else value
    if dialect != "sqlite":
        return value
    if isinstance(value, time):
        return value.isoformat("microseconds")
    return value.isoformat() if isinstance(value, date) else value


def from_sql(kind: type, dialect: str) -> Callable[[Any], Any] | None:
    """Return what makes a value of a type out of one that was read and is not blank; None where it is one already."""
    if dialect == "sqlite":
        return _FROM_SQLITE.get(kind)
    return _in_utc if kind is datetime else None


def _in_utc(moment: datetime) -> datetime:
    return moment.replace(tzinfo=UTC)


_FROM_SQLITE: Mapping[type, Callable[[Any], Any]] = {
    bool: bool,
    date: date.fromisoformat,
    time: time.fromisoformat,
    datetime: lambda text: _in_utc(datetime.fromisoformat(text)),
}
