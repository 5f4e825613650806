"""Where the cross book of a collection lies."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from crosscompat.collection.settings import Settings

if TYPE_CHECKING:
    from crosscompat.book.store import Store

__all__ = ["BOOK_VARIABLE", "book_place", "open_book"]

BOOK_VARIABLE = "CROSSCOMPAT_BOOK"
"""The environment's variable that names another place, as a URL with a password does not belong in a file."""


def book_place(folder: Path, settings: Settings) -> Path | str:
    """Return the file of a collection's cross book, or the URL of the database that holds it.

    Examples
    --------
    >>> book_place(Path("nursery"), Settings()).as_posix()
    'nursery/book.sqlite'
    >>> book_place(Path("nursery"), Settings(book="postgresql://society@host/crosses"))
    'postgresql://society@host/crosses'
    """
    place = os.environ.get(BOOK_VARIABLE) or settings.book
    return place if "://" in place else folder / place


def open_book(folder: Path, settings: Settings) -> Store:
    """Open the cross book of a collection, and make it if there is none; a file is copied once a day before writing."""
    from crosscompat.book.store import open_store  # noqa: PLC0415 - a collection without records needs no database

    return open_store(book_place(folder, settings), copied_daily=True)
