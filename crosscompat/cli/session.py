"""Which collection and which cross book a command means, and what is asked before something odd is written."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from crosscompat.carried import carried_trees, tree_for_genus
from crosscompat.cli.options import confirm
from crosscompat.cli.output import talk
from crosscompat.ground.errors import CrosscompatError, WrongUse
from crosscompat.ground.names import fold, genus_of
from crosscompat.ground.wording import say, speak_of

if TYPE_CHECKING:
    from crosscompat.book.store import Store
    from crosscompat.collection.opening import Collection
    from crosscompat.collection.settings import Settings


def collection_at(folder: Path | None, *, crosses: bool = True) -> Collection:
    """Open the collection in a folder, the current one by default, with its crosses or without.

    `WrongUse` says that there is none.
    """
    from crosscompat.collection.opening import open_collection

    collection = open_collection(_place(folder), crosses=crosses)
    _in_words_of(collection.settings)
    return collection


def settings_at(folder: Path | None) -> tuple[Path, Settings]:
    """Return the folder of a collection and its settings, for a command that needs its cross book alone.

    `WrongUse` says that there is none.
    """
    from crosscompat.collection.settings import FILE_NAME, read_settings

    place = _place(folder)
    settings = read_settings(place / FILE_NAME)
    _in_words_of(settings)
    return place, settings


def collection_or_carried(folder: Path | None, names: Iterable[str]) -> Collection:
    """Open the collection in a folder; without one, the carried tree of the genus that the names begin with.

    `WrongUse` says that there is neither.
    """
    if folder is not None or is_collection(Path()):
        return collection_at(folder)
    from crosscompat.collection.opening import open_carried

    genera = (genus_of(name) or fold(name).lstrip("(").partition(" ")[0] for name in names)
    carried = next(filter(None, map(tree_for_genus, genera)), None)
    if carried is None:
        known = ", ".join(tree.genus for tree in carried_trees())
        raise WrongUse(say("cli.no_collection_or_tree", folder=str(Path.cwd()), genera=known))
    collection = open_carried(carried)
    _in_words_of(collection.settings)
    return collection


def is_collection(folder: Path) -> bool:
    """Tell whether a folder is a collection."""
    from crosscompat.collection.settings import FILE_NAME

    return (folder / FILE_NAME).is_file()


def _place(folder: Path | None) -> Path:
    place = folder or Path()
    if not is_collection(place):
        raise WrongUse(say("cli.no_collection", folder=str(place.resolve())))
    return place


def _in_words_of(settings: Settings) -> None:
    speak_of(settings.fruit_word, settings.flower_word)


_T = TypeVar("_T")


class Stopped(CrosscompatError):
    """Something that cannot well be was to be written, and nobody has said yes.

    Each of the ``reasons`` is a question by itself; or, where ``ask`` is one for all, what to know before it is
    answered. ``answer`` is what would have been written, for those who read no sentences.
    """

    exit_code = 1

    def __init__(self, reasons: Sequence[str], *, ask: str = "", answer: Any = None) -> None:
        self.reasons, self.ask, self.answer = tuple(reasons), ask, answer
        super().__init__(" ".join([*(() if ask else self.reasons), say("entry.stopped")]))


@contextmanager
def open_here(folder: Path | None) -> Iterator[tuple[Settings, Store]]:
    """Open the cross book of a collection, which is not read itself but for its settings."""
    from crosscompat.collection.settings import open_book

    place, settings = settings_at(folder)
    with open_book(place, settings) as store:
        yield settings, store


@contextmanager
def open_with_collection(folder: Path | None, *, crosses: bool = False) -> Iterator[tuple[Collection, Store]]:
    """Open a collection, with its crosses or without, and its cross book beside it."""
    from crosscompat.collection.settings import open_book

    collection = collection_at(folder, crosses=crosses)
    with open_book(folder or Path(), collection.settings) as store:
        yield collection, store


def agreed(write: Callable[[frozenset[str]], _T], *, anyway: bool) -> _T:
    """Write, and ask what must be asked first; the book is not held while somebody thinks.

    ``write`` is called with the reasons that were answered with yes, all of them if ``anyway``, and raises `Stopped` if
    there are others; so does this, if somebody said no or nobody could be asked.
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
