"""The database of a cross book: the file or server it lies on, its copies, and what can go wrong."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, quote, unquote

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import (
    ArgumentError,
    DBAPIError,
    InterfaceError,
    InternalError,
    NoSuchModuleError,
    OperationalError,
)

from crosscompat.ground.errors import Busy, CrosscompatError, WrongUse
from crosscompat.ground.wording import say

FOLDER = "backups"
DAILY = "daily"
"""The word in the name of a copy that was taken before the first writing of a day."""
_STAMP = "%Y-%m-%d-%H%M%S"
_DAY = len("2026-05-01")


def backups_of(book: Path) -> list[Path]:
    """Return the copies that were taken of a book and lie beside it, that which holds the latest first.

    A copy all of whose changes another one has too is older than that, whatever their clocks said; else the day of the
    latest change decides, and then their names.
    """
    held = {path: changes_in(path) for _, path in named_copies(book)}
    latest = {path: max((change[1] for change in held[path]), default=b"") for path in held}
    outdone = {path: sum(held[path] < other for other in held.values()) for path in held}
    return sorted(sorted(held, key=lambda path: latest[path], reverse=True), key=lambda path: outdone[path])


def daily_copies(book: Path) -> list[tuple[str, Path]]:
    """Return the copies of a book that were taken before the first writing of a day, with that day, as `backups_of`."""
    days = {path: name[1][:_DAY] for name, path in named_copies(book) if name[2] == f"-{DAILY}"}
    return [(days[path], path) for path in backups_of(book) if path in days]


def changes_in(book: Path) -> frozenset[tuple[Any, ...]]:
    """Return the changes that a book lists, read from both ends as far as they can be: number, moment and the rest."""
    found: set[tuple[Any, ...]] = set()
    for order in ("ASC", "DESC"):
        with suppress(sqlite3.Error), closing(sqlite3.connect(address_of(book, reading=True), uri=True)) as connection:
            connection.text_factory = bytes
            for row in connection.execute(f"SELECT * FROM changes ORDER BY id {order}"):  # noqa: S608 - ours
                found.add(row)
    return frozenset(found)


def named_copies(book: Path) -> list[tuple[re.Match[str], Path]]:
    """Return the copies that lie beside a book, with the parts of their names, by the moment they are named for."""
    name = re.compile(rf"{re.escape(book.stem)}-(\d{{4}}-\d\d-\d\d-\d{{6}})(-[^.]*?)??(?:-(\d+))?\.sqlite")
    found = [(parts, path) for path in (book.parent / FOLDER).glob("*.sqlite") if (parts := name.fullmatch(path.name))]
    return sorted(found, key=lambda one: (one[0][1], int(one[0][3] or 1)), reverse=True)


def free_copy(book: Path, before: str = "", after: str = "") -> Path:
    """Return a name for a new copy of a book that no file has; with words before it, it is none of its backups.

    A folder for copies that is a link is refused: what came from somebody else may have it lead anywhere.
    """
    folder = book.parent / FOLDER
    if folder.is_symlink():
        raise Unreachable(say("store.linked", folder=str(folder)))
    stem = "-".join(filter(None, [before, book.stem, datetime.now().astimezone().strftime(_STAMP), after]))
    tries = (folder / f"{stem}{'' if i == 1 else f'-{i}'}.sqlite" for i in range(1, 10_000))
    return next(path for path in tries if not path.exists())


_WAIT_SECONDS = 5
_ROOM = 100_000
"""Bytes that a disk must have free for SQLite to make what it needs beside a book."""
_SHARED, _PORTS = 32_768, 65_535
_FULL = "database or disk is full"
_DAMAGED = ("malformed", "not a database", "disk image", "corrupt", "decode", "no such")
_BUSY = ("locked", "lock timeout", "could not serialize", "deadlock")
_REFUSED = {"42501": "not_allowed", "25006": "read_only"}
"""What PostgreSQL says of a role without the right, and of a server or session that only reads."""
_UNREACHABLE = ("unable to open", "readonly", "disk", "full", "i/o error", "permission")


class Damaged(CrosscompatError):
    """The file of the book is no longer a sound database."""


class Unreachable(CrosscompatError):
    """The book cannot be opened or written where it lies."""


class NotKnown(CrosscompatError):
    """It is not known whether what was to be written has been, for the ``reason`` that the database gives."""

    exit_code = 5

    def __init__(self, text: str, reason: str = "") -> None:
        super().__init__(text)
        self.reason = reason


class AlreadyWritten(CrosscompatError):
    """A change that was written before is not written again."""

    exit_code = 0


def open_engine(where: str | Path) -> Engine:
    """Return the way to a book: a file of SQLite, or the URL of a PostgreSQL database.

    Raises
    ------
    WrongUse
        If a URL is none, or is neither of SQLite nor of PostgreSQL, or its driver is not installed. The error shows
        nothing of it, for nobody can tell where in such a one a password stands.
    """
    url = _url(where)
    how: dict[str, Any] = {"timeout": _WAIT_SECONDS}
    if url.get_backend_name() != "sqlite":
        how = {"connect_timeout": _WAIT_SECONDS, "client_encoding": "utf8"}
    try:
        engine = create_engine(url, connect_args=how)
    except ModuleNotFoundError as error:
        raise WrongUse(say("store.no_driver", driver=error.name)) from None
    except NoSuchModuleError:
        raise WrongUse(say("store.which")) from None
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", partial(_prepare_sqlite, file_of(engine)))
    event.listen(engine, "begin", _begin)
    return engine


def file_of(engine: Engine) -> Path | None:
    """Return the file of a book, or None for one on a server."""
    name = engine.url.database
    if engine.dialect.name != "sqlite" or not name:
        return None
    return Path(unquote(name.removeprefix("file:"))) if name.startswith("file:") else Path(name)


def spoken_place(engine: Engine) -> str:
    """Return where a book lies as it is said on screens: without a password, or what else may hold one."""
    return str(file_of(engine) or engine.url.set(query={}).render_as_string(hide_password=True))


def address_of(file: Path, *, reading: bool = False) -> str:
    """Return a file's address for SQLite, which never makes the file; a frozen one is only read."""
    frozen = _frozen(file)
    query = "mode=ro" if reading or frozen else "mode=rw"
    return f"file:{quote(str(file))}?{query}{'&immutable=1' if frozen and not _size(file, '-wal') else ''}"


@contextmanager
def connected(file: Path, *, reading: bool = False) -> Iterator[sqlite3.Connection]:
    """Open the file of a book beside SQLAlchemy, and say in words what SQLite says of it."""
    try:
        address = address_of(file, reading=reading)
        with closing(sqlite3.connect(address, uri=True, timeout=_WAIT_SECONDS)) as connection:
            yield connection
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise file_error(str(error), file) or error from error


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
    NotKnown
        If that happened when all was written and nothing but the last word was missing.
    """
    last_word = False
    try:
        with engine.connect().execution_options(writing=writing) as connection, connection.begin() as whole:
            yield connection
            last_word = writing
            try:
                whole.commit()
            except DBAPIError:
                connection.invalidate()  # or it goes on holding the book
                raise
    except DBAPIError as error:
        known = _in_words(error, engine)
        if last_word and not isinstance(known, Busy):
            reason = _reason(error, engine)
            raise NotKnown(say("store.not_known", reason=reason), reason) from error
        raise known from error
    except UnicodeDecodeError as error:  # of the driver, where the names of the tables are damaged
        file = file_of(engine)
        raise damage_of(file, say("store.damaged", where=str(file))) if file else error from error


def _in_words(error: DBAPIError, engine: Engine) -> Exception:
    """Return the error to be told for one of the database's; a fault of ours stays as it is."""
    file, where, reason = file_of(engine), spoken_place(engine), _reason(error, engine)
    if file is not None:
        known = file_error(str(error.orig), file)
        return known or (_unreachable(reason, where) if isinstance(error, OperationalError) else error)
    if any(word in reason.lower() for word in _BUSY):
        return Busy(say("store.busy", where=where))
    state = getattr(error.orig, "sqlstate", "")
    if state in _REFUSED:
        return Unreachable(say(f"store.{_REFUSED[state]}", where=where, reason=reason))
    away = state is None or isinstance(error, OperationalError | InterfaceError | InternalError)
    return _unreachable(reason, where) if away else error


def _reason(error: DBAPIError, engine: Engine) -> str:
    """Return the first line of what a database says of itself, without a password."""
    text = str(error.orig).strip().partition("\n")[0].rstrip(".")
    hidden = [engine.url.password, *(value for key, value in engine.url.query.items() if "pass" in key)]
    for secret in filter(None, hidden):
        text = text.replace(str(secret), "***")
    return text


def file_error(text: str, file: Path) -> CrosscompatError | None:
    """Return the error to be told for what SQLite says of a file; None where it is none of the file's."""
    said = text.lower()
    if any(word in said for word in _BUSY):
        return Busy(say("store.busy", where=str(file)))
    if any(word in said for word in _DAMAGED):
        return damage_of(file, say("store.damaged", where=str(file)))
    return _unreachable(text, str(file)) if any(word in said for word in _UNREACHABLE) else None


def damage_of(file: Path, what: str) -> Damaged:
    """Return what is told of a book that is damaged: in what way, and the way back."""
    copies = backups_of(file)
    way = say("store.way_back.newest", backup=str(copies[0])) if copies else say("store.way_back.none")
    return Damaged(f"{what} {way}")


def _unreachable(text: str, where: str) -> Unreachable:
    if "readonly" in text and not _has_room(Path(where).parent):
        text = _FULL
    return Unreachable(say("store.unreachable", where=where, reason=text.strip().rstrip(".")))


def _frozen(file: Path) -> bool:
    """Tell whether a book lies where nothing can be written beside it: it is read all the same."""
    folder = file.parent
    return file.exists() and not (os.access(folder, os.W_OK) and (_has_room(folder) or _size(file, "-wal")))


def _has_room(folder: Path) -> bool:
    return not folder.exists() or shutil.disk_usage(folder).free >= _ROOM


def _size(file: Path, ending: str) -> int:
    """Return the bytes of what lies beside a book: ``-wal`` is what it has not yet taken in."""
    beside = file.with_name(file.name + ending)
    return beside.stat().st_size if beside.exists() else 0


def _url(where: str | Path) -> URL:
    if isinstance(where, Path):
        if _frozen(where):
            name, query = address_of(where).split("?")
            return URL.create("sqlite", database=name, query=dict(parse_qsl(f"{query}&uri=true")))
        return URL.create("sqlite", database=str(where))
    try:
        url = make_url(where)
    except (ArgumentError, ValueError):  # one that is no number stands where the port should
        raise WrongUse(say("store.which")) from None
    if "@" in f"{url.host}{url.database}" or (url.port is not None and not 0 < url.port <= _PORTS):
        raise WrongUse(say("store.which"))
    if url.get_backend_name() not in {"sqlite", "postgresql"}:
        raise WrongUse(say("store.which"))
    return url.set(drivername="postgresql+psycopg") if url.get_backend_name() == "postgresql" else url


def _prepare_sqlite(file: Path | None, connection: Any, _: Any) -> None:
    """Leave transactions to us, keep what was acknowledged through a power cut, and hold references."""
    connection.isolation_level = None
    cursor = connection.cursor()
    if file is not None and not _has_room(file.parent) and _size(file, "-shm") < _SHARED:
        cursor.execute("PRAGMA locking_mode = EXCLUSIVE")  # what is needed to share a book has no room beside it
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
