"""A cross book wherever it lies: opened, made ready if it is new, read and written in transactions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine, insert, inspect, select

from crosscompat.book.store.backup import into_wal, put_beside, unfinished
from crosscompat.book.store.database import (
    FORMAT,
    FORMAT_NOTE,
    Damaged,
    Unreachable,
    backups_of,
    damage_of,
    file_of,
    metadata,
    open_engine,
    transaction,
)
from crosscompat.book.store.pages import Change, Reading, Version, Writing
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["Change", "Damaged", "Reading", "Store", "Unreachable", "Version", "Writing", "open_store"]


def make_ready(engine: Engine) -> None:
    """Make the tables of a new book; refuse what is no book of this format.

    Raises
    ------
    Damaged
        If the file is no sound book.
    WrongUse
        If it is another program's, or another version of this package has written it.
    """
    found = _format(engine)
    if found is None:
        _make(engine)
    elif found != FORMAT:
        raise WrongUse(say("store.other_format", found=found, known=FORMAT))


def _format(engine: Engine) -> int | None:
    """Return the format of a book, or None where there is none yet."""
    file = file_of(engine)
    if file is not None and not file.exists():
        if backups_of(file):
            raise damage_of(file, "gone")
        return None
    with transaction(engine) as connection:
        if file is not None:
            _refuse_damage(connection, file)
        return _noted(connection)


def _noted(connection: Connection) -> int | None:
    if not inspect(connection).has_table(FORMAT_NOTE.name):
        return None
    return connection.execute(select(FORMAT_NOTE.c.format)).scalar()


def _refuse_damage(connection: Connection, file: Path) -> None:
    """Refuse a file that is not sound, has been emptied, or is another program's."""
    if connection.exec_driver_sql("PRAGMA quick_check(1)").scalar() != "ok":
        raise damage_of(file)
    tables = inspect(connection).get_table_names()
    if not tables:
        raise damage_of(file, "emptied")
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
    connection.execute(insert(FORMAT_NOTE).values(format=FORMAT))


def _make_file(file: Path) -> None:
    """Make a book under another name first: there is never half of one."""
    with unfinished(file) as part:
        engine = open_engine(part)
        with transaction(engine, writing=True) as connection:
            _make_tables(connection)
        engine.dispose()
        into_wal(part)
        with suppress(FileExistsError):
            put_beside(part, file)


class _OnlyTried(Exception):
    """Ends a transaction whose writing was a trial."""


@dataclass(frozen=True)
class Store:
    """A cross book, wherever it lies.

    Attributes
    ----------
    copied_daily : bool
        Whether it is copied before the first writing of a day (`daily.copy_of_the_day`); one on a server never is.

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
    copied_daily: bool = False

    @contextmanager
    def reading(self) -> Iterator[Reading]:
        """Open the book to read; all that is read in one go is of one moment."""
        with transaction(self.engine) as connection:
            yield Reading(connection)

    @contextmanager
    def writing(self, what: str, *, who: str | None = None, dry_run: bool = False) -> Iterator[Writing]:
        """Open the book to write; if anything goes wrong inside, nothing has been written, nor in a dry run.

        Raises
        ------
        Busy
            If somebody else is writing.
        """
        with suppress(_OnlyTried), transaction(self.engine, writing=True) as connection:
            if connection.dialect.name == "postgresql":
                connection.exec_driver_sql("LOCK TABLE changes IN SHARE ROW EXCLUSIVE MODE")
            yield Writing(connection, what, who, self._to_copy if not dry_run else None)
            if dry_run:
                raise _OnlyTried

    @property
    def _to_copy(self) -> Path | None:
        return file_of(self.engine) if self.copied_daily else None


def open_store(where: str | Path, *, copied_daily: bool = False) -> Store:
    """Open a cross book, and make it if there is none.

    Raises
    ------
    Damaged, Unreachable, Busy, WrongUse
        As `engine.open_engine` and `engine.transaction` say.
    """
    engine = open_engine(where)
    try:
        make_ready(engine)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, copied_daily)
