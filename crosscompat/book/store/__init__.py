"""A cross book wherever it lies: opened, made ready if it is new, read and written in transactions."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from sqlalchemy import Connection, Engine, inspect, select, update
from sqlalchemy.exc import DBAPIError

from crosscompat.book.records import new_id
from crosscompat.book.store.backup import altered_in, copy_of_the_day, into_wal, put_beside, unfinished
from crosscompat.book.store.database import (
    AlreadyWritten,
    Damaged,
    NotKnown,
    Unreachable,
    backups_of,
    damage_of,
    file_of,
    open_engine,
    spoken_place,
    transaction,
)
from crosscompat.book.store.pages import Change, Reading, Version, Writing
from crosscompat.book.store.seal import fetching, first_altered, last_altered
from crosscompat.book.store.tables import CHANGES, FORMAT, FORMAT_NOTE, make_tables
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

    engine: Engine
    identity: str
    damage: Damaged | None = None
    copied_daily: bool = False
    change: str = ""

    def __enter__(self) -> Self:
        """Use the book for a while; it is closed at the end."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the book; whoever uses it again opens it again."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Reading]:
        """Open the book to read; all that is read in one go is of one moment. Damage is told by a `BookWarning`."""
        if self.damage is not None:
            warnings.warn(str(self.damage), BookWarning, stacklevel=3)
        with self._minded(), transaction(self.engine) as connection:
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
        file = file_of(self.engine)
        if file is None and self.engine.dialect.name == "sqlite":
            raise error
        self.engine.dispose()
        engine = self.engine if file is None else open_engine(file)  # anew: where the disk is full it is only read
        try:
            with transaction(engine, writing=file is None) as connection:
                _wait_for_writers(connection)
                return _change_of(connection, uid) is not None
        except (CrosscompatError, DBAPIError):
            retry = say("store.retry", uid=uid)
            raise NotKnown(f"{error} {retry}") from error
        finally:
            engine.dispose()

    @contextmanager
    def _written(self, what: str, who: str | None, uid: str, *, dry_run: bool) -> Iterator[Writing]:
        with suppress(_OnlyTried), self._minded(), transaction(self.engine, writing=True) as connection:
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
        if (file := file_of(self.engine)) is not None:
            return altered_in(file)
        with transaction(self.engine) as connection:
            return self._altered(first_altered(fetching(connection)))

    def _altered(self, number: int | None) -> Damaged | None:
        file, text = file_of(self.engine), say("store.altered", where=spoken_place(self.engine), number=number)
        return None if number is None else damage_of(file, text) if file else Damaged(text)

    def _begin(self, connection: Connection) -> None:
        """Make sure that a book may be written in, just before the first writing, and copy it once a day."""
        file = file_of(self.engine)
        small = file is not None and file.stat().st_size <= _SMALL
        altered = altered_in(file) if file and small else self._altered(last_altered(fetching(connection)))
        if altered is not None:
            raise altered
        if self.copied_daily and file is not None:
            copy_of_the_day(connection, file)


def _wait_for_writers(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("LOCK TABLE changes IN SHARE ROW EXCLUSIVE MODE")


def _change_of(connection: Connection, uid: str) -> int | None:
    number: int | None = connection.execute(select(CHANGES.c.id).where(CHANGES.c.uid == uid)).scalar()
    return number


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
        As `database.open_engine` and `database.transaction` say.
    """
    engine = open_engine(where)
    try:
        known = _identified(engine)
        if known is None:
            _make(engine)
            known = _identified(engine)
        own, damage = known or ("", None)
        if identity and own != identity and damage is None:
            damage = _other_book(engine, own, identity)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, identity if identity and damage is None else own, damage, copied_daily, change)


def _identified(engine: Engine) -> tuple[str, Damaged | None] | None:
    """Return a book's identity and what harm it has come to, None where there is none yet; refuse what is no book."""
    file = file_of(engine)
    if file is not None and not file.exists():
        if backups_of(file):
            raise damage_of(file, say("store.gone", where=str(file)))
        return None
    with transaction(engine) as connection:
        sound = file is None or connection.exec_driver_sql("PRAGMA quick_check(1)").scalar() == "ok"
        if connection.dialect.name == "postgresql":
            encoding = connection.exec_driver_sql("SHOW server_encoding").scalar()
            if encoding != "UTF8":
                raise WrongUse(say("store.encoding", where=spoken_place(engine), encoding=encoding))
        tables = inspect(connection).get_table_names()
        if FORMAT_NOTE.name not in tables:
            if file is None:
                return None
            raise (
                WrongUse(say("store.no_book", file=str(file)))
                if tables
                else damage_of(file, say("store.emptied", where=str(file)))
            )
        number = connection.execute(select(FORMAT_NOTE.c.format)).scalar()
        if number != FORMAT:
            raise WrongUse(say("store.other_format", found=number, known=FORMAT))
        identity = connection.execute(select(FORMAT_NOTE.c.book)).scalar_one()
    return identity, None if sound or file is None else damage_of(file, say("store.harmed", where=str(file)))


def _make(engine: Engine) -> None:
    """Make all tables at once; whoever comes second finds them made."""
    file = file_of(engine)
    if file is None:
        with transaction(engine, writing=True) as connection:
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql("SELECT pg_advisory_xact_lock(7207)")
            if not inspect(connection).has_table(FORMAT_NOTE.name):
                make_tables(connection, new_id())
        return
    with unfinished(file) as part:  # under another name first: there is never half of a book
        other = open_engine(part)
        try:
            with transaction(other, writing=True) as connection:
                make_tables(connection, new_id())
        except NotKnown as error:  # it is known: a book without its name is none
            raise Unreachable(say("store.not_done", reason=error.reason)) from error
        finally:
            other.dispose()
        into_wal(part)
        with suppress(FileExistsError):
            put_beside(part, file)


def _other_book(engine: Engine, own: str, identity: str) -> Damaged | None:
    """Give an empty book the identity that is expected of it; a book that is not empty is another one."""
    with transaction(engine) as connection:
        filled = connection.execute(select(CHANGES.c.id).limit(1)).first()
    if filled:
        return Damaged(say("store.other_book", where=spoken_place(engine), own=own))
    with transaction(engine, writing=True) as connection:
        connection.execute(update(FORMAT_NOTE).values(book=identity))
    return None
