"""The database of a cross book: the file or server it lies on, its copies, and what can go wrong."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import SplitResult, parse_qsl, quote, unquote, urlsplit

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
_SHARED = 32_768
_BEGIN = {
    ("sqlite", False): ["BEGIN"],
    ("sqlite", True): ["BEGIN IMMEDIATE"],
    ("postgresql", False): ["BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"],
    ("postgresql", True): ["BEGIN", f"SET LOCAL lock_timeout = '{_WAIT_SECONDS}s'"],
}
"""What begins a transaction of a dialect, that writes or not."""
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


@dataclass(frozen=True)
class Connection:
    """A way to a book, in SQL with a question mark in the place of each value; cursors are those of the DB-API."""

    raw: Any
    dialect: str

    def execute(self, sql: str, values: Sequence[object] = ()) -> Any:
        """Execute a statement and return its cursor."""
        return self.raw.execute(self._spelt(sql), values or None) if self.on_server else self.raw.execute(sql, values)

    def execute_many(self, sql: str, rows: Iterable[Sequence[object]]) -> None:
        """Execute a statement once for each row of values."""
        self.raw.cursor().executemany(self._spelt(sql), rows)

    def _spelt(self, sql: str) -> str:
        return sql.replace("?", "%s") if self.on_server else sql

    @property
    def on_server(self) -> bool:
        """Whether it is PostgreSQL's."""
        return self.dialect == "postgresql"

    @property
    def contradiction(self) -> type[Exception]:
        """What its driver raises where a row contradicts others."""
        refused: type[Exception] = self.raw.IntegrityError
        return refused


@dataclass(frozen=True)
class Database:
    """Where a book lies: a file of SQLite, or a PostgreSQL database at a URL, or in memory if neither is given."""

    file: Path | None = None
    url: str = ""
    _idle: list[Connection] = field(default_factory=list, repr=False, compare=False)

    @property
    def dialect(self) -> str:
        """The name of its SQL."""
        return "postgresql" if self.url else "sqlite"

    @property
    def in_memory(self) -> bool:
        """Whether it is gone once it is closed."""
        return not self.url and self.file is None

    @property
    def spoken(self) -> str:
        """Where it lies as it is said on screens: without a password, or what else may hold one."""
        if not self.url:
            return str(self.file or "sqlite://")
        parts = urlsplit(self.url)
        user, _, host = parts.netloc.rpartition("@")
        name, colon, _ = user.partition(":")
        shown = f"{name}:***@" if colon else f"{name}@" if name else ""
        return f"postgresql://{shown}{host}{parts.path}"

    @property
    def errors(self) -> tuple[type[Exception], ...]:
        """What its driver raises."""
        return (_psycopg().Error if self.url else sqlite3.Error, UnicodeDecodeError)

    def close(self) -> None:
        """Close what is open; whoever uses it again opens it again."""
        while self._idle:
            self._idle.pop().raw.close()

    def take(self) -> Connection:
        """Return a connection that nobody else uses, in which no transaction is open."""
        return self._idle.pop() if self._idle else self._connected()

    def give_back(self, connection: Connection) -> None:
        """Keep a connection for whoever comes next."""
        self._idle.append(connection)

    def give_up(self, connection: Connection) -> None:
        """End a transaction that is not to hold; a connection in which something went wrong is not used again."""
        if self.in_memory:
            connection.execute("ROLLBACK")
            self.give_back(connection)
        else:
            connection.raw.close()

    def _connected(self) -> Connection:
        if self.url:
            how: dict[str, Any] = {"connect_timeout": _WAIT_SECONDS, "client_encoding": "utf8"}
            return Connection(_psycopg().connect(self.url, autocommit=True, **how), self.dialect)
        place = ":memory:" if self.file is None else str(self.file)
        as_uri = self.file is not None and _frozen(self.file)
        if self.file is not None and as_uri:
            place = address_of(self.file)
        raw = sqlite3.connect(
            place, uri=as_uri, timeout=_WAIT_SECONDS, isolation_level=None, check_same_thread=self.in_memory
        )
        _prepare_sqlite(raw, self.file)
        return Connection(raw, self.dialect)


def database_at(where: str | Path) -> Database:
    """Return the database of a book: a file of SQLite, or the URL of a PostgreSQL database.

    Raises
    ------
    WrongUse
        If a URL is none, or is neither of SQLite nor of PostgreSQL, or its driver is not installed. The error shows
        nothing of it, for nobody can tell where in such a one a password stands.
    """
    if isinstance(where, Path):
        return Database(where)
    backend, separator, rest = where.partition("://")
    if backend == "sqlite" and separator:
        return Database(Path(unquote(rest[1:]))) if rest[1:] else Database()
    if backend.partition("+")[0] != "postgresql" or not separator or not _is_server(f"postgresql://{rest}"):
        raise WrongUse(say("store.which"))
    try:
        _psycopg()
    except ModuleNotFoundError as error:
        raise WrongUse(say("store.no_driver", driver=error.name)) from None
    return Database(url=f"postgresql://{rest}")


def _psycopg() -> Any:
    import psycopg  # noqa: PLC0415 - an extra

    return psycopg


def _is_server(url: str) -> bool:
    """Tell whether a URL can be a server's; one whose password has signs that divide a URL is none."""
    parts: SplitResult = urlsplit(url)
    try:
        port = parts.port
    except ValueError:
        return False
    return port != 0 and not parts.netloc.endswith(":") and "@" not in parts.path and parts.netloc.count("@") <= 1


def address_of(file: Path, *, reading: bool = False) -> str:
    """Return a file's address for SQLite, which never makes the file; a frozen one is only read."""
    frozen = _frozen(file)
    query = "mode=ro" if reading or frozen else "mode=rw"
    return f"file:{quote(str(file))}?{query}{'&immutable=1' if frozen and not _size(file, '-wal') else ''}"


@contextmanager
def connected(file: Path, *, reading: bool = False) -> Iterator[sqlite3.Connection]:
    """Open the file of a book by itself, and say in words what SQLite says of it."""
    try:
        address = address_of(file, reading=reading)
        with closing(sqlite3.connect(address, uri=True, timeout=_WAIT_SECONDS)) as connection:
            yield connection
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise file_error(str(error), file) or error from error


@contextmanager
def transaction(database: Database, *, writing: bool = False) -> Iterator[Connection]:
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
        with _begun(database, writing=writing) as connection:
            yield connection
            last_word = writing
            connection.execute("COMMIT")
    except database.errors as error:
        known = _in_words(error, database)
        if last_word and not isinstance(known, Busy):
            reason = _reason(error, database)
            raise NotKnown(say("store.not_known", reason=reason), reason) from error
        if known is None:
            raise
        raise known from error


@contextmanager
def _begun(database: Database, *, writing: bool) -> Iterator[Connection]:
    """Begin a transaction, which ends with whoever fails in it; otherwise its user has committed it."""
    connection = database.take()
    try:
        for statement in _BEGIN[database.dialect, writing]:
            connection.execute(statement)
        yield connection
    except BaseException:
        with suppress(*database.errors):
            database.give_up(connection)
        raise
    database.give_back(connection)


def _in_words(error: Exception, database: Database) -> Exception | None:
    """Return the error to be told for one of the database's; None for a fault of ours."""
    file, where, reason = database.file, database.spoken, _reason(error, database)
    if isinstance(error, UnicodeDecodeError):  # where the names of the tables are damaged
        return damage_of(file, say("store.damaged", where=where)) if file else None
    if file is not None:
        known = file_error(str(error), file)
        return known or (_unreachable(reason, where) if isinstance(error, sqlite3.OperationalError) else None)
    if database.in_memory:
        return None
    if any(word in reason.lower() for word in _BUSY):
        return Busy(say("store.busy", where=where))
    state = getattr(error, "sqlstate", "")
    if state in _REFUSED:
        return Unreachable(say(f"store.{_REFUSED[state]}", where=where, reason=reason))
    driver = _psycopg()
    away = state is None or isinstance(error, driver.OperationalError | driver.InterfaceError | driver.InternalError)
    return _unreachable(reason, where) if away else None


def _reason(error: Exception, database: Database) -> str:
    """Return the first line of what a database says of itself, without a password."""
    text = str(error).strip().partition("\n")[0].rstrip(".")
    parts = urlsplit(database.url)
    hidden = {parts.password, *(value for key, value in parse_qsl(parts.query) if "pass" in key)}
    for secret in filter(None, hidden | {unquote(one) for one in hidden if one}):
        text = text.replace(secret, "***")
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


def _prepare_sqlite(connection: sqlite3.Connection, file: Path | None) -> None:
    """Keep what was acknowledged through a power cut, and hold references."""
    if file is not None and not _has_room(file.parent) and _size(file, "-shm") < _SHARED:
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")  # what is needed to share a book has no room beside it
    for pragma in ("foreign_keys = ON", "synchronous = FULL"):
        connection.execute(f"PRAGMA {pragma}")
