"""Copies of a book: taken while it is open, checked, compared and put back."""

from __future__ import annotations

import os
import sqlite3
import warnings
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from itertools import takewhile
from pathlib import Path
from uuid import uuid4

from crosscompat.book.store.database import (
    DAILY,
    Connection,
    Damaged,
    Unreachable,
    address_of,
    backups_of,
    changes_in,
    connected,
    daily_copies,
    damage_of,
    free_copy,
    named_copies,
)
from crosscompat.book.store.seal import first_altered
from crosscompat.book.store.tables import FORMAT, from_sql
from crosscompat.ground.dates import today
from crosscompat.ground.errors import BookWarning, Busy, WrongUse
from crosscompat.ground.files import PART, remove_unfinished
from crosscompat.ground.wording import say

KEPT = 10
"""How many copies of a day are kept; those taken otherwise are left alone."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What became of the book that was replaced: where it is kept, if there was one, and whether it was sound."""

    kept: Path | None
    sound: bool


def back_up(book: Path, label: str = "", to: Path | None = None) -> Path:
    """Copy a book of SQLite as it stands at one moment, others writing or not.

    The copy is one plain file that is safe on disk and was read through before it gets its name, which is by default a
    new one in the folder ``backups`` beside the book, for the moment and with the label.

    Raises
    ------
    WrongUse
        If there is such a file already, or no book.
    Damaged, Unreachable
        If the book is not sound, or the copy cannot be written; there is no copy then.
    """
    target = to or free_copy(book, after=label)
    if not book.is_file():
        raise WrongUse(say("store.no_book", file=str(book)))
    if target.exists():
        raise WrongUse(say("store.backup_there", file=str(target)))
    target.parent.mkdir(parents=True, exist_ok=True)
    for folder in {book.parent, target.parent}:
        remove_unfinished(folder)
    with unfinished(target) as copy:
        _copy(book, copy)
        try:
            put_beside(copy, target)
        except FileExistsError:
            raise WrongUse(say("store.backup_there", file=str(target))) from None
    return target


def put_beside(part: Path, target: Path) -> None:
    """Give a finished file its name, for good; raises `FileExistsError` if some other file has it by now."""
    _fsync(part)
    try:
        os.link(part, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        part.replace(target)
    _settle(target.parent)


def last_sound(book: Path) -> tuple[Path | None, list[Path]]:
    """Return the sound copy of a book that holds most, and those named for a later moment that are not sound."""
    sound = next(filter(is_book, backups_of(book)), None)
    later = takewhile(lambda copy: copy != sound, (copy for _, copy in named_copies(book)))
    return sound, [copy for copy in later if not is_book(copy)]


def restore(book: Path, backup: Path, agree: Callable[[int], None] = lambda _: None) -> Restored:
    """Put a copy in the place of a book.

    A sound book is compared, copied aside and overwritten in one transaction, in which nobody else writes and of which
    others see all or nothing; a damaged one is moved aside with what it had not yet taken in. Before anything is
    changed ``agree`` is told how many changes of the book the copy lacks; what it raises ends it all.

    Raises
    ------
    WrongUse
        If the copy is no sound book.
    Busy, Unreachable
        If somebody is writing, or the disk is full; the book is as it was then.
    """
    if not is_book(backup):
        number = None
        with suppress(Damaged, Unreachable, sqlite3.Error):
            number = first_altered_in(backup)
        key = "no_backup" if number is None else "altered_copy"
        raise WrongUse(say(f"store.{key}", file=str(backup), number=number))
    if book.is_file() and is_book(book):
        with _held(book, backup) as connection:
            agree(changes_lacking(book, backup))
            kept = back_up(book, to=free_copy(book, "set-aside"))
            _overwrite(connection)
        return Restored(kept, sound=True)
    agree(changes_lacking(book, backup))
    with unfinished(book) as copy:
        _copy(backup, copy)
        into_wal(copy)
        aside = _set_aside(book)
        copy.replace(book)
    _settle(book.parent)
    return Restored(aside, sound=False)


@contextmanager
def _held(book: Path, backup: Path) -> Iterator[sqlite3.Connection]:
    """Hold a book for writing, with a copy attached, until all that is done within is done at once."""
    with connected(book) as connection:
        connection.isolation_level = None
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("ATTACH ? AS backup", (address_of(backup, reading=True),))
        connection.execute("BEGIN IMMEDIATE")
        yield connection
        connection.execute("COMMIT")


def _overwrite(connection: sqlite3.Connection) -> None:
    """Give every table of a held book the rows of the copy."""
    tables = connection.execute("SELECT name FROM backup.sqlite_master WHERE type = 'table'").fetchall()
    for (table,) in tables:
        connection.execute(f'DELETE FROM main."{table}"')  # noqa: S608 - a table of ours
        connection.execute(f'INSERT INTO main."{table}" SELECT * FROM backup."{table}"')  # noqa: S608 - as above


def _copy(book: Path, copy: Path) -> None:
    """Copy a book page by page into one plain file, and read the copy through."""
    copy.touch()  # so that a folder that cannot be written to is told by its own name
    with connected(book) as source:
        source.execute("PRAGMA schema_version").fetchone()
        with closing(sqlite3.connect(copy)) as target:
            source.backup(target)
            target.execute("PRAGMA journal_mode = DELETE")
    if not is_book(copy):
        raise altered_in(book) or damage_of(book, say("store.damaged", where=str(book)))
    _fsync(copy)


def altered_in(book: Path) -> Damaged | None:
    """Return what is to be told of a file that is not sound, or of its first change that is not as it was written."""
    try:
        with connected(book, reading=True) as connection:
            if connection.execute("PRAGMA integrity_check(1)").fetchone()[0] != "ok":
                return damage_of(book, say("store.harmed", where=str(book)))
        number = first_altered_in(book)
    except Damaged as damage:
        return damage
    return None if number is None else damage_of(book, say("store.altered", where=str(book), number=number))


def first_altered_in(book: Path) -> int | None:
    """Return what `first_altered` finds in a file, letters and values of any kind read as they are."""
    with connected(book, reading=True) as connection:
        connection.text_factory = lambda text: text.decode(errors="surrogateescape")
        return first_altered(connection.execute)


def into_wal(book: Path) -> None:
    """Let a book be read while somebody writes; the file remembers it."""
    with connected(book) as connection:
        connection.execute("PRAGMA journal_mode = WAL")


def is_book(path: Path) -> bool:
    """Tell whether a file is a sound cross book; raises `Busy` if somebody holds it so that it cannot be read."""
    try:
        with connected(path, reading=True) as connection:
            ours = connection.execute("SELECT format FROM book_format").fetchall() == [(FORMAT,)]
        return ours and altered_in(path) is None
    except (Damaged, Unreachable, sqlite3.DatabaseError):
        return False


def _set_aside(book: Path) -> Path | None:
    """Move a book with what it has not yet taken in out of the way."""
    whole = [path for ending in ("", "-wal", "-shm") if (path := book.with_name(book.name + ending)).exists()]
    if not whole:
        return None
    kept = free_copy(book, "set-aside")
    kept.parent.mkdir(parents=True, exist_ok=True)
    for path in whole:
        path.replace(kept.with_name(kept.name + path.name.removeprefix(book.name)))
    return kept


@contextmanager
def unfinished(target: Path) -> Iterator[Path]:
    """Give a name beside a file for what is still being written, and leave nothing of it behind."""
    copy = target.with_name(f".{target.name}.{uuid4().hex[:8]}{PART}")
    try:
        yield copy
    finally:
        for ending in ("", "-journal", "-wal", "-shm"):
            copy.with_name(copy.name + ending).unlink(missing_ok=True)


def _fsync(path: Path, how: int = os.O_RDWR) -> None:
    handle = os.open(path, how)  # Windows refuses to sync what is only read
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _settle(folder: Path) -> None:
    """Make the names in a folder safe, where the system knows how."""
    with suppress(OSError):
        _fsync(folder, os.O_RDONLY)


def copy_of_the_day(connection: Connection, book: Path) -> Path | None:
    """Copy a book as it stood before today, unless that was done, or it holds nothing that is older than today.

    The connection holds the book for writing, so that of several who begin at once one alone copies it. What is to be
    written counts for more than the copy: where that cannot be made a `BookWarning` tells, and the next writing tries.

    Raises
    ------
    Damaged
        If the book is not sound; nothing more should be written in it then.
    """
    day = today()
    ends, moment = connection.execute("SELECT min(at), max(at) FROM changes").fetchone(), from_sql(datetime, "sqlite")
    if all(at is None or (moment and moment(at).astimezone().date() == day) for at in ends):
        return None
    if any(copied == day.isoformat() for copied, _ in daily_copies(book)):
        return None
    try:
        copy = back_up(book, DAILY)
    except (Unreachable, Busy, OSError, sqlite3.Error) as error:
        warnings.warn(say("store.not_copied", book=str(book), reason=_reason(error)), BookWarning, stacklevel=2)
        return None
    for old in [old for _, old in daily_copies(book) if old != copy][KEPT - 1 :]:
        with suppress(OSError):
            old.unlink()
    return copy


def _reason(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror}" if error.filename else error.strerror
    return str(error.__cause__ or error).strip().rstrip(".")


def changes_lacking(book: Path, backup: Path) -> int:
    """Return how many changes of a book a copy lacks; of a damaged book those count that can still be read."""
    return len(changes_in(book) - changes_in(backup))
