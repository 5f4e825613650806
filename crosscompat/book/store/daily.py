"""The copy of a book that is taken before the first writing of a day."""

from __future__ import annotations

import sqlite3
import warnings
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path

from sqlalchemy import Connection, func, select

from crosscompat.book.store.backup import back_up
from crosscompat.book.store.copies import DAILY, daily_copies
from crosscompat.book.store.engine import Unreachable
from crosscompat.book.store.schema import CHANGES
from crosscompat.ground.errors import Busy, CopyWarning
from crosscompat.ground.wording import say

__all__ = ["KEPT", "copy_of_the_day"]

KEPT = 10
"""How many such copies are kept; those taken otherwise are left alone."""


def copy_of_the_day(connection: Connection, book: Path) -> Path | None:
    """Copy a book as it stood before today, unless that was done, or it holds nothing that is older than today.

    What is to be written counts for more than the copy of what is there: where the copy cannot be made that is told,
    and tried again with the next writing.

    Parameters
    ----------
    connection : Connection
        One that holds the book for writing, so that of several who begin at once one alone copies it.
    book : Path
        Its file.

    Returns
    -------
    Path or None
        The copy, if one was taken.

    Raises
    ------
    Damaged
        If the book is not sound; nothing more should be written in it then.

    Warns
    -----
    CopyWarning
        If the copy cannot be written.
    """
    today = datetime.now().astimezone().date()
    if not _written_on_other_days(connection, today):
        return None
    if any(day == today.isoformat() for day, _ in daily_copies(book)):
        return None
    try:
        copy = back_up(book, DAILY)
    except (Unreachable, Busy, OSError, sqlite3.Error) as error:
        warnings.warn(say("store.not_copied", book=str(book), reason=_reason(error)), CopyWarning, stacklevel=2)
        return None
    for _, old in daily_copies(book)[KEPT:]:
        with suppress(OSError):
            old.unlink()
    return copy


def _written_on_other_days(connection: Connection, today: date) -> bool:
    ends = connection.execute(select(func.min(CHANGES.c.at), func.max(CHANGES.c.at))).one()
    return any(at is not None and at.astimezone().date() != today for at in ends)


def _reason(error: BaseException) -> str:
    if isinstance(error, OSError) and error.filename:
        return f"{error.filename}: {error.strerror}"
    return str(error.__cause__ or error).strip().rstrip(".")
