"""A collection kept open between requests: read anew when its book or a file of it has changed."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import RLock
from typing import Any, TypeVar

from flask import current_app, session

from crosscompat.book.store import Reading, Store, Writing
from crosscompat.book.store.database import AlreadyWritten
from crosscompat.collection.opening import Collection, open_collection
from crosscompat.collection.settings import FILE_NAME, open_book, read_settings

T = TypeVar("T")


@dataclass
class Nursery:
    """The collection in a folder, which may not be there yet.

    What is worked out of it is remembered until something changes, so that a book of many years is not read for
    every page.
    """

    folder: Path
    _lock: RLock = field(default_factory=RLock)
    _store: Store | None = None
    _stamp: object = None
    _known: dict[object, Any] = field(default_factory=dict)

    @property
    def exists(self) -> bool:
        """Whether there is a collection."""
        return (self.folder / FILE_NAME).is_file()

    @property
    def collection(self) -> Collection:
        """The collection as it stands, with its crosses."""
        return self.remembered("collection", lambda: open_collection(self.folder))

    def remembered(self, what: object, make: Callable[[], T]) -> T:
        """Return what was worked out before if nothing has changed since, else work it out."""
        with self._lock:
            stamp = self._changed()
            if stamp != self._stamp:
                self._stamp, self._known = stamp, {}
            if what not in self._known:
                self._known[what] = make()
            known: T = self._known[what]
            return known

    @contextmanager
    def reading(self) -> Iterator[Reading]:
        """Open the book to read."""
        with self._book().reading() as page:
            yield page

    @contextmanager
    def writing(self, change: str, *, who: str | None, dry_run: bool = False) -> Iterator[Writing]:
        """Open the book to write a change, once however often it is sent; raises `AlreadyWritten` if it was."""
        with replace(self._book(), change=change).writing("", who=who, dry_run=dry_run) as pen:
            yield pen

    def close(self) -> None:
        """Close the book."""
        with self._lock:
            if self._store is not None:
                self._store.close()
            self._store, self._stamp, self._known = None, None, {}

    def _book(self) -> Store:
        with self._lock:
            if self._store is None:
                self._store = open_book(self.folder, read_settings(self.folder / FILE_NAME))
            return self._store

    def _changed(self) -> object:
        """Return what is another as soon as the book or a file of the collection is."""
        with os.scandir(self.folder) as entries:
            files = sorted((one.name, one.stat().st_mtime_ns) for one in entries if not one.name.startswith("book."))
        with self._book().reading() as page:
            return files, page.last_change()


def nursery() -> Nursery:
    """Return the collection that is served."""
    served: Nursery = current_app.extensions["nursery"]
    return served


@contextmanager
def once() -> Iterator[None]:
    """Go on as if it were done where a form is sent again that was written down before, and say so."""
    try:
        yield
    except AlreadyWritten as error:
        told(str(error))


def told(text: str) -> None:
    """Say something on the page that comes next."""
    session["said"] = text
