"""Making a book ready: a new one gets its tables, an older one is copied and brought up to date."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, insert, inspect, select

from crosscompat.book.store.backup import back_up
from crosscompat.book.store.engine import Damaged, file_of, transaction
from crosscompat.book.store.schema import HEAD, VERSION, metadata
from crosscompat.errors import WrongUse
from crosscompat.wording import say

__all__ = ["make_ready"]


def make_ready(engine: Engine) -> Path | None:
    """Bring a book to the newest version.

    Returns
    -------
    Path or None
        Where the older one was kept; None if there was nothing to do, or the book lies on a server.

    Raises
    ------
    Damaged
        If the file is no sound book.
    WrongUse
        If a newer version of this package has written it.
    """
    found = _version(engine)
    if found == HEAD:
        return None
    if found is None:
        _make(engine)
        return None
    from crosscompat.book.store.migrate import known_versions, migrate  # noqa: PLC0415 - only an older book needs it

    if found not in known_versions():
        raise WrongUse(say("store.newer", found=found, known=HEAD))
    file = file_of(engine)
    backup = back_up(file, found) if file else None
    migrate(engine)
    return backup


def _version(engine: Engine) -> str | None:
    """Return the version of a book, or None where there is none yet."""
    with transaction(engine) as connection:
        if engine.dialect.name == "sqlite":
            _refuse_damage(connection, engine)
        return _noted(connection)


def _noted(connection: Connection) -> str | None:
    if not inspect(connection).has_table(VERSION.name):
        return None
    return connection.execute(select(VERSION.c.version_num)).scalar()


def _refuse_damage(connection: Connection, engine: Engine) -> None:
    if connection.exec_driver_sql("PRAGMA quick_check(1)").scalar() != "ok":
        raise Damaged(say("store.damaged", where=str(file_of(engine))))


def _make(engine: Engine) -> None:
    """Make all tables at once; whoever comes second finds them made."""
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            connection.connection.driver_connection.execute("PRAGMA journal_mode = WAL")  # type: ignore[union-attr]
    with transaction(engine, writing=True) as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql("SELECT pg_advisory_xact_lock(7207)")
        if _noted(connection) is None:
            metadata.create_all(connection)
            VERSION.create(connection)
            connection.execute(insert(VERSION).values(version_num=HEAD))
