"""A cross book wherever it lies: opened, made ready if it is new, read and written in transactions."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, insert, inspect, select, update
from sqlalchemy.exc import DBAPIError

from crosscompat.book.records import new_id
from crosscompat.book.store.backup import altered_in, copy_of_the_day, into_wal, put_beside, unfinished
from crosscompat.book.store.database import (
    CHANGES,
    FORMAT,
    FORMAT_NOTE,
    AlreadyWritten,
    Damaged,
    NotKnown,
    Unreachable,
    backups_of,
    damage_of,
    file_of,
    metadata,
    open_engine,
    transaction,
)
from crosscompat.book.store.pages import Change, Reading, Version, Writing
from crosscompat.book.store.seal import fetching, first_altered, last_altered
from crosscompat.ground.errors import BookWarning, CrosscompatError, WrongUse
from crosscompat.ground.wording import say

__all__ = ["Change", "Damaged", "Reading", "Store", "Unreachable", "Version", "Writing", "open_store"]


def make_ready(engine: Engine) -> tuple[str, Damaged | None]:
    """Make the tables of a new book, refuse what is no book of this format, and return its identity and its damage.

    Raises
    ------
    Damaged
        If nothing of the book can be read.
    WrongUse
        If it is another program's, or another version of this package has written it.
    """
    found, damage = _noted_in(engine)
    if found is None:
        _make(engine)
        found, damage = _noted_in(engine)
    number, identity = found or (None, "")
    if number != FORMAT:
        raise WrongUse(say("store.other_format", found=number, known=FORMAT))
    return identity, damage


def _noted_in(engine: Engine) -> tuple[tuple[int, str] | None, Damaged | None]:
    """Return format and identity of a book, None where there is none yet, and what harm it has come to."""
    file = file_of(engine)
    if file is not None and not file.exists():
        if backups_of(file):
            raise damage_of(file, say("store.gone", where=str(file)))
        return None, None
    with transaction(engine) as connection:
        damage = None
        if file is not None:
            sound = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar() == "ok"
            damage = None if sound else damage_of(file, say("store.harmed", where=str(file)))
            _refuse_others(connection, file)
        return _noted(connection), damage


def _noted(connection: Connection) -> tuple[int, str] | None:
    if not inspect(connection).has_table(FORMAT_NOTE.name):
        return None
    columns = {column["name"] for column in inspect(connection).get_columns(FORMAT_NOTE.name)}
    row = connection.execute(select(*(column for column in FORMAT_NOTE.c if column.name in columns))).first()
    return (row[0], row[1] if len(row) > 1 else "") if row else None


def _refuse_others(connection: Connection, file: Path) -> None:
    """Refuse a file that has been emptied, or is another program's."""
    tables = inspect(connection).get_table_names()
    if not tables:
        raise damage_of(file, say("store.emptied", where=str(file)))
    if FORMAT_NOTE.name not in tables:
        raise WrongUse(say("store.no_book", file=str(file)))


def _make(engine: Engine) -> None:
    """Make all tables at once; whoever comes second finds them made."""
    file = file_of(engine)
    if file is not None:
        _make_file(file)
        return
    with transaction(engine, writing=True) as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("SELECT pg_advisory_xact_lock(7207)")
        if _noted(connection) is None:
            _make_tables(connection)


def _make_tables(connection: Connection) -> None:
    metadata.create_all(connection)
    FORMAT_NOTE.create(connection)
    connection.execute(insert(FORMAT_NOTE).values(format=FORMAT, book=new_id()))


def _make_file(file: Path) -> None:
    """Make a book under another name first: there is never half of one."""
    with unfinished(file) as part:
        engine = open_engine(part)
        try:
            with transaction(engine, writing=True) as connection:
                _make_tables(connection)
        except NotKnown as error:  # it is known: a book without its name is none
            raise Unreachable(say("store.not_done", reason=_reason(error))) from error
        finally:
            engine.dispose()
        into_wal(part)
        with suppress(FileExistsError):
            put_beside(part, file)


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
        Whether it is copied before the first writing of a day (`backup.copy_of_the_day`); one on a server never is.
    change : str
        The identifier of the change that is written next, which is written once however often it is tried; one of its
        own if empty.

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
                raise Unreachable(say("store.not_done", reason=_reason(error))) from error

    def _holds(self, uid: str, error: NotKnown) -> bool:
        """Tell whether a change is in the book after all, as those will see it who open it next.

        Raises
        ------
        NotKnown
            If that cannot be told either.
        """
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
        file = file_of(self.engine)
        if file is not None:
            return altered_in(file)
        with transaction(self.engine) as connection:
            return self._altered(first_altered(fetching(connection)))

    def _altered(self, number: int | None) -> Damaged | None:
        file = file_of(self.engine)
        where = str(file or self.engine.url.render_as_string(hide_password=True))
        text = say("store.altered", where=where, number=number)
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


def _reason(error: BaseException) -> str:
    return str(getattr(error.__cause__, "orig", error)).strip().rstrip(".")


def open_store(where: str | Path, *, copied_daily: bool = False, identity: str = "", change: str = "") -> Store:
    """Open a cross book, and make it if there is none.

    Parameters
    ----------
    identity : str
        That of the book which is expected there, if it is known. An empty book takes it over; nothing is written in
        another one.
    change : str
        As `Store` has it.

    Raises
    ------
    Damaged, Unreachable, Busy, WrongUse
        As `make_ready`, `database.open_engine` and `database.transaction` say.
    """
    engine = open_engine(where)
    try:
        own, damage = make_ready(engine)
        if identity and own != identity and damage is None:
            damage = _other_book(engine, own, identity)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, identity if identity and damage is None else own, damage, copied_daily, change)


def _other_book(engine: Engine, own: str, identity: str) -> Damaged | None:
    """Give an empty book the identity that is expected of it; a book that is not empty is another one."""
    with transaction(engine) as connection:
        filled = connection.execute(select(CHANGES.c.id).limit(1)).first()
    if filled:
        where = str(file_of(engine) or engine.url.render_as_string(hide_password=True))
        return Damaged(say("store.other_book", where=where, own=own))
    with transaction(engine, writing=True) as connection:
        connection.execute(update(FORMAT_NOTE).values(book=identity))
    return None
