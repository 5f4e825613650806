"""Making a book ready: a new one gets its tables, one of another format is left alone."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from sqlalchemy import Connection, Engine, insert, inspect, select

from crosscompat.book.store.backup import into_wal, put_beside, unfinished
from crosscompat.book.store.copies import backups_of
from crosscompat.book.store.engine import damage_of, file_of, open_engine, transaction
from crosscompat.book.store.schema import FORMAT, FORMAT_NOTE, metadata
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["make_ready"]


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
