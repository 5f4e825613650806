"""The cross book that a command means, and what is asked before something odd is written into it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from crosscompat.cli.locate import collection_at, settings_at
from crosscompat.cli.output import talk
from crosscompat.cli.prompts import confirm
from crosscompat.collection.settings import Settings, open_book
from crosscompat.ground.errors import CrosscompatError
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.store import Store
    from crosscompat.collection.opening import Collection

__all__ = ["Stopped", "agreed", "open_here", "open_with_collection"]

_T = TypeVar("_T")


class Stopped(CrosscompatError):
    """Something that cannot well be was to be written, and nobody has said yes.

    Attributes
    ----------
    reasons : tuple of str
        Each a question by itself; or, where ``ask`` is one for all, what to know before it is answered.
    answer : object
        What would have been written, for those who read no sentences.
    """

    exit_code = 1

    def __init__(self, reasons: Sequence[str], *, ask: str = "", answer: Any = None) -> None:
        self.reasons, self.ask, self.answer = tuple(reasons), ask, answer
        super().__init__(" ".join([*(() if ask else self.reasons), say("entry.stopped")]))


@contextmanager
def open_here(folder: Path | None) -> Iterator[tuple[Settings, Store]]:
    """Open the cross book of a collection, which is not read itself but for its settings."""
    place, settings = settings_at(folder)
    with _opened(place, settings) as store:
        yield settings, store


@contextmanager
def open_with_collection(folder: Path | None, *, crosses: bool = False) -> Iterator[tuple[Collection, Store]]:
    """Open a collection, with its crosses or without, and its cross book beside it."""
    collection = collection_at(folder, crosses=crosses)
    with _opened(folder or Path(), collection.settings) as store:
        yield collection, store


@contextmanager
def _opened(folder: Path, settings: Settings) -> Iterator[Store]:
    store = open_book(folder, settings)
    try:
        yield store
    finally:
        store.engine.dispose()


def agreed(write: Callable[[frozenset[str]], _T], *, anyway: bool) -> _T:
    """Write, and ask what must be asked first; the book is not held while somebody thinks.

    Parameters
    ----------
    write : callable
        Called with the reasons that were answered with yes; raises `Stopped` if there are others.
    anyway : bool
        Whether everything is answered with yes.

    Raises
    ------
    Stopped
        If somebody said no, or nobody could be asked.
    """
    said_yes: frozenset[str] = frozenset()
    while True:
        try:
            return write(said_yes)
        except Stopped as stopped:
            if not anyway and not _says_yes(stopped):
                raise
            said_yes |= frozenset(stopped.reasons)


def _says_yes(stopped: Stopped) -> bool:
    """Ask on a terminal; elsewhere the answer is no."""
    if not stopped.ask:
        return all(confirm(question) for question in stopped.reasons)
    for reason in stopped.reasons:
        talk(reason)
    return bool(confirm(stopped.ask))
