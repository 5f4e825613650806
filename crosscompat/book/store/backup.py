"""Copies of a book: taken while it is open, checked, and put back."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

from crosscompat.errors import WrongUse
from crosscompat.wording import say

__all__ = ["FOLDER", "back_up", "backups_of", "restore"]

FOLDER = "backups"


def back_up(book: Path, label: str = "", to: Path | None = None) -> Path:
    """Copy a book of SQLite as it stands at one moment, others writing or not.

    Parameters
    ----------
    book : Path
    label : str
        A word for the copy's name.
    to : Path, optional
        Where; by default a new file in the folder ``backups`` beside it, named for the moment.

    Raises
    ------
    WrongUse
        If there is such a file already.
    """
    stamp = datetime.now().astimezone().strftime("%Y-%m-%d-%H%M%S")
    target = to or _free(book.parent / FOLDER / "-".join(part for part in (book.stem, stamp, label) if part))
    if target.exists():
        raise WrongUse(say("store.backup_there", file=str(target)))
    target.parent.mkdir(parents=True, exist_ok=True)
    unfinished = target.with_name(f".{target.name}.part")
    with closing(sqlite3.connect(book)) as source, closing(sqlite3.connect(unfinished)) as copy:
        source.backup(copy)
    unfinished.replace(target)
    return target


def backups_of(book: Path) -> list[Path]:
    """Return the copies that lie beside a book, newest first."""
    return sorted((book.parent / FOLDER).glob(f"{book.stem}-*.sqlite"), reverse=True)


def restore(book: Path, backup: Path) -> Path | None:
    """Put a copy in the place of a book.

    Parameters
    ----------
    book, backup : Path

    Returns
    -------
    Path or None
        Where the book that was there is kept, damaged or not; None if there was none.

    Raises
    ------
    WrongUse
        If the copy is no sound book.
    """
    _refuse_unsound(backup)
    kept = _set_aside(book)
    unfinished = book.with_name(f".{book.name}.part")
    with closing(sqlite3.connect(backup)) as source, closing(sqlite3.connect(unfinished)) as copy:
        source.backup(copy)
    unfinished.replace(book)
    return kept


def _refuse_unsound(backup: Path) -> None:
    try:
        with closing(sqlite3.connect(f"file:{backup}?mode=ro", uri=True)) as copy:
            sound = copy.execute("PRAGMA integrity_check(1)").fetchone()[0] == "ok"
            sound = sound and copy.execute("SELECT count(*) FROM alembic_version").fetchone()[0] == 1
    except sqlite3.Error:
        sound = False
    if not sound:
        raise WrongUse(say("store.no_backup", file=str(backup)))


def _set_aside(book: Path) -> Path | None:
    """Move a book with what it has not yet taken in out of the way."""
    if not book.exists():
        return None
    kept = _free(book.parent / FOLDER / f"{book.stem}-set-aside")
    kept.parent.mkdir(parents=True, exist_ok=True)
    for ending in ("-wal", "-shm"):
        beside = book.with_name(book.name + ending)
        if beside.exists():
            beside.replace(kept.with_name(kept.name + ending))
    book.replace(kept)
    return kept


def _free(stem: Path) -> Path:
    tries = (stem.with_name(f"{stem.name}{'' if i == 1 else f'-{i}'}.sqlite") for i in range(1, 10_000))
    return next(path for path in tries if not path.exists())
