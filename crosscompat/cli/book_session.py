"""The cross book that a command means, and the words that commands on it share."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from crosscompat.cli.locate import settings_at
from crosscompat.cli.output import talk
from crosscompat.cli.prompts import confirm
from crosscompat.collection.books import book_place, open_book
from crosscompat.collection.settings import Settings
from crosscompat.ground.csv_convert import BadCell, choice
from crosscompat.ground.errors import CrosscompatError, WrongUse
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.store import Store

__all__ = ["BookHere", "Stopped", "agreed", "book_here", "chosen", "file_of_book", "open_here"]

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
        told = () if ask else self.reasons
        super().__init__(" ".join([*told, say("entry.stopped")]))


@dataclass(frozen=True, slots=True)
class BookHere:
    """Where the cross book of a collection lies, and the settings that go with it."""

    folder: Path
    settings: Settings
    place: Path | str


def book_here(folder: Path | None) -> BookHere:
    """Find the cross book of the collection in a folder, the current one by default, without opening it.

    Raises
    ------
    WrongUse
        If there is no collection.
    """
    place, settings = settings_at(folder)
    return BookHere(place, settings, book_place(place, settings))


def file_of_book(here: BookHere) -> Path:
    """Return the file of a book.

    Raises
    ------
    WrongUse
        If it lies on a server, with what to do there.
    """
    if isinstance(here.place, str):
        raise WrongUse(say("the_book.on_a_server"))
    return here.place


@contextmanager
def open_here(folder: Path | None) -> Iterator[tuple[BookHere, Store]]:
    """Open the cross book of a collection."""
    here = book_here(folder)
    store = open_book(here.folder, here.settings)
    try:
        yield here, store
    finally:
        store.engine.dispose()


def chosen(option: str, text: str | None, words: Sequence[str]) -> str | None:
    """Return the one of the book's words that is meant.

    Raises
    ------
    WrongUse
        If it is none of them.
    """
    if text is None:
        return None
    try:
        return choice(text, words)
    except BadCell as bad:
        raise WrongUse(f"--{option}: {bad.what} {bad.advice}") from None


def agreed(write: Callable[[frozenset[str]], _T], *, anyway: bool) -> _T:
    """Write, and ask what must be asked first; the book is not held while somebody thinks.

    Parameters
    ----------
    write : callable
        Called with the reasons that were answered with yes; raises `Stopped` if there are others.
    anyway : bool
        Whether everything is answered with yes.
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
