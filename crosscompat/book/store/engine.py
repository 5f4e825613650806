"""Connections to a cross book: SQLite in a file, or PostgreSQL by URL, and what can go wrong with either."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError

from crosscompat.book.store.copies import backups_of
from crosscompat.book.store.schema import also_on_postgresql
from crosscompat.ground.errors import Busy, CrosscompatError, WrongUse
from crosscompat.ground.wording import say

__all__ = [
    "Damaged",
    "Unreachable",
    "address_of",
    "damage_of",
    "database_error",
    "file_error",
    "file_of",
    "open_engine",
    "transaction",
]

_WAIT_SECONDS = 5
_DAMAGED = ("malformed", "not a database", "disk image", "corrupt")
_BUSY = ("locked", "lock timeout", "could not serialize", "deadlock")
_UNREACHABLE = ("unable to open", "readonly", "disk", "full", "i/o error", "permission")


class Damaged(CrosscompatError):
    """The file of the book is no longer a sound database."""


class Unreachable(CrosscompatError):
    """The book cannot be opened or written where it lies."""


def open_engine(where: str | Path) -> Engine:
    """Return the way to a book.

    Parameters
    ----------
    where : Path or str
        A file of SQLite, or the URL of a PostgreSQL database.

    Raises
    ------
    WrongUse
        If a URL is none, or is neither of SQLite nor of PostgreSQL, or its driver is not installed.
    """
    url = _url(where)
    try:
        engine = create_engine(url, connect_args=_connect_args(url))
    except ModuleNotFoundError as error:
        raise WrongUse(say("store.no_driver", driver=error.name)) from None
    except NoSuchModuleError:
        raise WrongUse(say("store.which", url=url.render_as_string(hide_password=True))) from None
    if engine.dialect.name == "postgresql":
        also_on_postgresql()
    else:
        event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin)
    return engine


def file_of(engine: Engine) -> Path | None:
    """Return the file of a book, or None for one on a server."""
    name = engine.url.database
    if engine.dialect.name != "sqlite" or not name:
        return None
    return Path(unquote(name.removeprefix("file:"))) if name.startswith("file:") else Path(name)


def address_of(file: Path, *, reading: bool = False) -> str:
    """Return a file's address for SQLite, which never makes the file; a frozen one is only read."""
    frozen = _frozen(file)
    query = "mode=ro" if reading or frozen else "mode=rw"
    return f"file:{quote(str(file))}?{query}{'&immutable=1' if frozen and not _pending(file) else ''}"


@contextmanager
def transaction(engine: Engine, *, writing: bool = False) -> Iterator[Connection]:
    """Open one transaction: all of it holds or nothing; what was read in it stays as it was.

    Raises
    ------
    Busy
        If another one is writing for longer than five seconds.
    Damaged
        If the file is no sound database.
    Unreachable
        If the disk is full, the folder read-only or the server away.
    """
    try:
        with engine.connect().execution_options(writing=writing) as connection, connection.begin():
            yield connection
    except DBAPIError as error:
        raise database_error(error, engine) from error


def database_error(error: DBAPIError, engine: Engine) -> Exception:
    """Return the error to be told for one of the database's; a fault of ours stays as it is."""
    text, file = str(error.orig), file_of(engine)
    if file is not None:
        return file_error(text, file) or (
            _unreachable(text, str(file)) if isinstance(error, OperationalError) else error
        )
    where = engine.url.render_as_string(hide_password=True)
    if any(word in text.lower() for word in _BUSY):
        return Busy(say("store.busy", where=where))
    return _unreachable(text, where) if isinstance(error, OperationalError) else error


def file_error(text: str, file: Path) -> CrosscompatError | None:
    """Return the error to be told for what SQLite says of a file; None where it is none of the file's."""
    said = text.lower()
    if any(word in said for word in _BUSY):
        return Busy(say("store.busy", where=str(file)))
    if any(word in said for word in _DAMAGED):
        return damage_of(file)
    return _unreachable(text, str(file)) if any(word in said for word in _UNREACHABLE) else None


def damage_of(file: Path, what: str = "damaged") -> Damaged:
    """Return what is told of a book that is damaged, with the way back."""
    copies = backups_of(file)
    way = say("store.way_back.newest", backup=str(copies[0])) if copies else say("store.way_back.none")
    return Damaged(f"{say(f'store.{what}', where=str(file))} {way}")


def _unreachable(text: str, where: str) -> Unreachable:
    return Unreachable(say("store.unreachable", where=where, reason=text.strip().rstrip(".")))


def _frozen(file: Path) -> bool:
    """Tell whether a book lies where nothing can be written beside it."""
    return file.exists() and not os.access(file.parent, os.W_OK)


def _pending(file: Path) -> bool:
    """Tell whether a book has not yet taken in all that was written to it."""
    wal = file.with_name(file.name + "-wal")
    return wal.exists() and wal.stat().st_size > 0


def _url(where: str | Path) -> URL:
    if isinstance(where, Path):
        if _frozen(where):
            query = {"mode": "ro", "uri": "true"} | ({} if _pending(where) else {"immutable": "1"})
            return URL.create("sqlite", database=f"file:{quote(str(where))}", query=query)
        return URL.create("sqlite", database=str(where))
    try:
        url = make_url(where)
    except ArgumentError:
        raise WrongUse(say("store.which", url=where)) from None
    if url.get_backend_name() not in {"sqlite", "postgresql"}:
        raise WrongUse(say("store.which", url=url.render_as_string(hide_password=True)))
    return url.set(drivername="postgresql+psycopg") if url.get_backend_name() == "postgresql" else url


def _connect_args(url: URL) -> dict[str, Any]:
    return {"timeout": _WAIT_SECONDS} if url.get_backend_name() == "sqlite" else {"connect_timeout": _WAIT_SECONDS}


def _prepare_sqlite(connection: Any, _: Any) -> None:
    """Leave transactions to us, keep what was acknowledged through a power cut, and hold references."""
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in ("foreign_keys = ON", "synchronous = FULL"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: Connection) -> None:
    writing = connection.get_execution_options().get("writing", False)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
    elif writing:
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{_WAIT_SECONDS}s'")
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
