"""A cross book wherever it lies: opened, made ready if it is new, read and written in transactions."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from crosscompat.book.records import new_id
from crosscompat.book.store.backup import altered_in, copy_of_the_day, into_wal, put_beside, unfinished
from crosscompat.book.store.database import (
    AlreadyWritten,
    Connection,
    Damaged,
    Database,
    NotKnown,
    Unreachable,
    backups_of,
    damage_of,
    database_at,
    transaction,
)
from crosscompat.book.store.pages import Reading, Version, Writing
from crosscompat.book.store.seal import first_altered, last_altered
from crosscompat.book.store.tables import FORMAT, Change, make_statements
from crosscompat.ground.errors import BookWarning, CrosscompatError, WrongUse
from crosscompat.ground.wording import say

__all__ = ["Change", "Damaged", "Reading", "Store", "Unreachable", "Version", "Writing", "open_store"]


_SMALL = 10_000_000
"""Bytes up to which a book is read through before each writing, in a fifth of a second; a larger one once a day."""


class _OnlyTried(Exception):
    """Ends a transaction whose writing was a trial."""


@dataclass(frozen=True)
class Store:
    """A cross book, wherever it lies.

    Attributes
    ----------
    identity : str
        Like that of no other book.
    damage : Damaged or None
        Why nothing more is written in it, found when it was opened; it is read all the same.
    copied_daily : bool
        Whether it is copied before the first writing of a day; one on a server never is.
    change : str
        The identifier of the change that is written next, once however often it is tried; one of its own if empty.

    Examples
    --------
    >>> from crosscompat.book.records import Plant
    >>> book = open_store("sqlite://")
    >>> with book.writing("plant added", who="A. Grower") as pen:
    ...     pen.add(Plant(name="coc-1"))
    >>> with book.reading() as page:
    ...     [plant.name for plant in page.current(Plant)], [change.what for change in page.changes()]
    (['coc-1'], ['plant added'])
    """

    database: Database
    identity: str
    damage: Damaged | None = None
    copied_daily: bool = False
    change: str = ""

    def __enter__(self) -> Self:
        """Use the book for a while; it is closed at the end."""
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the book; whoever uses it again opens it again."""
        self.database.close()

    @contextmanager
    def reading(self) -> Iterator[Reading]:
        """Open the book to read; all that is read in one go is of one moment. Damage is told by a `BookWarning`."""
        if self.damage is not None:
            warnings.warn(str(self.damage), BookWarning, stacklevel=3)
        with self._minded(), transaction(self.database) as connection:
            yield Reading(connection)

    @contextmanager
    def writing(self, what: str, *, who: str | None = None, dry_run: bool = False) -> Iterator[Writing]:
        """Open the book to write; if anything goes wrong inside, nothing has been written, nor in a dry run.

        Raises
        ------
        Busy
            If somebody else is writing.
        Damaged
            If the book or its history is not as it was written.
        AlreadyWritten
            If the book has a change of the identifier that its writer gave it.
        NotKnown
            If the book was out of reach when all was written, and nobody can tell whether it holds.
        """
        if self.damage is not None:
            raise self.damage
        uid = self.change or new_id()
        try:
            with self._written(what, who, uid, dry_run=dry_run) as pen:
                yield pen
        except NotKnown as error:
            if not self._holds(uid, error):
                raise Unreachable(say("store.not_done", reason=error.reason)) from error

    def _holds(self, uid: str, error: NotKnown) -> bool:
        """Tell whether a change is in the book after all, as whoever opens it next will see, or raise `NotKnown`."""
        if self.database.in_memory:
            raise error
        self.database.close()  # where the disk is full it is opened anew and only read
        try:
            with transaction(self.database, writing=self.database.file is None) as connection:
                _wait_for_writers(connection)
                return _change_of(connection, uid) is not None
        except CrosscompatError:
            retry = say("store.retry", uid=uid)
            raise NotKnown(f"{error} {retry}") from error
        finally:
            self.database.close()

    @contextmanager
    def _written(self, what: str, who: str | None, uid: str, *, dry_run: bool) -> Iterator[Writing]:
        with suppress(_OnlyTried), self._minded(), transaction(self.database, writing=True) as connection:
            _wait_for_writers(connection)
            if (number := _change_of(connection, uid)) is not None:
                raise AlreadyWritten(say("store.already", number=number))
            pen = Writing(connection, what, who, uid, self._begin if not dry_run else lambda _: None)
            yield pen
            if dry_run:
                raise _OnlyTried
            pen.seal()

    @contextmanager
    def _minded(self) -> Iterator[None]:
        """Tell values that cannot be read for what they are where the book was altered."""
        try:
            yield
        except ValueError as error:
            raise self.altered() or error from error

    def altered(self) -> Damaged | None:
        """Return what is to be told of the first change that is not as it was written, if there is one."""
        if self.database.file is not None:
            return altered_in(self.database.file)
        with transaction(self.database) as connection:
            return self._altered(first_altered(connection.execute))

    def _altered(self, number: int | None) -> Damaged | None:
        file, text = self.database.file, say("store.altered", where=self.database.spoken, number=number)
        return None if number is None else damage_of(file, text) if file else Damaged(text)

    def _begin(self, connection: Connection) -> None:
        """Make sure that a book may be written in, just before the first writing, and copy it once a day."""
        file = self.database.file
        small = file is not None and file.stat().st_size <= _SMALL
        altered = altered_in(file) if file and small else self._altered(last_altered(connection.execute))
        if altered is not None:
            raise altered
        if self.copied_daily and file is not None:
            copy_of_the_day(connection, file)


def _wait_for_writers(connection: Connection) -> None:
    if connection.on_server:
        connection.execute("LOCK TABLE changes IN SHARE ROW EXCLUSIVE MODE")


def _change_of(connection: Connection, uid: str) -> int | None:
    row = connection.execute("SELECT id FROM changes WHERE uid = ?", (uid,)).fetchone()
    return None if row is None else int(row[0])


def open_store(where: str | Path, *, copied_daily: bool = False, identity: str = "", change: str = "") -> Store:
    """Open a cross book, and make it if there is none.

    An empty book takes over the ``identity`` that is expected there, if it is known; nothing is written in
    another one. The rest is as `Store` has it.

    Raises
    ------
    Damaged
        If nothing of the book can be read.
    WrongUse
        If it is another program's, or another version of this package has written it.
    Unreachable, Busy
        As `database.database_at` and `database.transaction` say.
    """
    database = database_at(where)
    try:
        known = _identified(database)
        if known is None:
            _make(database)
            known = _identified(database)
        own, damage = known or ("", None)
        if identity and own != identity and damage is None:
            damage = _other_book(database, own, identity)
    except BaseException:
        database.close()
        raise
    return Store(database, identity if identity and damage is None else own, damage, copied_daily, change)


def _identified(database: Database) -> tuple[str, Damaged | None] | None:
    """Return a book's identity and what harm it has come to, None where there is none yet; refuse what is no book."""
    file = database.file
    if file is not None and not file.exists():
        if backups_of(file):
            raise damage_of(file, say("store.gone", where=str(file)))
        return None
    with transaction(database) as connection:
        sound = file is None or connection.execute("PRAGMA quick_check(1)").fetchone() == ("ok",)
        if connection.on_server:
            (encoding,) = connection.execute("SHOW server_encoding").fetchone()
            if encoding != "UTF8":
                raise WrongUse(say("store.encoding", where=database.spoken, encoding=encoding))
        tables = _tables(connection)
        if "book_format" not in tables:
            if file is None:
                return None
            raise (
                WrongUse(say("store.no_book", file=str(file)))
                if tables
                else damage_of(file, say("store.emptied", where=str(file)))
            )
        number, identity = connection.execute("SELECT format, book FROM book_format").fetchone()
        if number != FORMAT:
            raise WrongUse(say("store.other_format", found=number, known=FORMAT))
    return identity, None if sound or file is None else damage_of(file, say("store.harmed", where=str(file)))


def _tables(connection: Connection) -> set[str]:
    """Return the names of the tables that are there."""
    query = "SELECT name FROM sqlite_master WHERE type = 'table'"
    if connection.on_server:
        query = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
    return {name for (name,) in connection.execute(query)}


def _make(database: Database) -> None:
    """Make all tables at once; whoever comes second finds them made."""
    if database.file is None:
        with transaction(database, writing=True) as connection:
            if connection.on_server:
                connection.execute("SELECT pg_advisory_xact_lock(7207)")
            if "book_format" not in _tables(connection):
                _make_tables(connection)
        return
    with unfinished(database.file) as part:  # under another name first: there is never half of a book
        other = Database(part)
        try:
            with transaction(other, writing=True) as connection:
                _make_tables(connection)
        except NotKnown as error:  # it is known: a book without its name is none
            raise Unreachable(say("store.not_done", reason=error.reason)) from error
        finally:
            other.close()
        into_wal(part)
        with suppress(FileExistsError):
            put_beside(part, database.file)


def _make_tables(connection: Connection) -> None:
    for statement in make_statements(connection.dialect):
        connection.execute(statement)
    connection.execute("INSERT INTO book_format (format, book) VALUES (?, ?)", (FORMAT, new_id()))


def _other_book(database: Database, own: str, identity: str) -> Damaged | None:
    """Give an empty book the identity that is expected of it; a book that is not empty is another one."""
    with transaction(database) as connection:
        filled = connection.execute("SELECT 1 FROM changes LIMIT 1").fetchone()
    if filled:
        return Damaged(say("store.other_book", where=database.spoken, own=own))
    with transaction(database, writing=True) as connection:
        connection.execute("UPDATE book_format SET book = ?", (identity,))
    return None
