"""Which collection a command means."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from crosscompat.carried import carried_trees, tree_for_genus
from crosscompat.collection.settings import FILE_NAME, Settings, read_settings
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import fold, genus_of
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.collection.opening import Collection

__all__ = ["collection_at", "collection_or_carried", "settings_at"]


def collection_at(folder: Path | None, *, crosses: bool = True, remember: bool = False) -> Collection:
    """Open the collection in a folder, the current one by default; `open_collection` says what the rest does.

    Raises
    ------
    WrongUse
        If there is none.
    """
    place = _place(folder)
    from crosscompat.collection.opening import open_collection

    return open_collection(place, crosses=crosses, remember=remember)


def settings_at(folder: Path | None) -> tuple[Path, Settings]:
    """Return the folder of a collection and its settings, for a command that needs its cross book alone.

    Raises
    ------
    WrongUse
        If there is none.
    """
    place = _place(folder)
    return place, read_settings(place / FILE_NAME)


def collection_or_carried(folder: Path | None, names: Iterable[str]) -> Collection:
    """Open the collection in a folder; without one, the carried tree of the genus that the names begin with.

    What is only asked may be asked again soon: what took time to read is kept in the folder.

    Raises
    ------
    WrongUse
        If there is neither.
    """
    place = folder or Path()
    if folder is not None or (place / FILE_NAME).is_file():
        return collection_at(folder, remember=True)
    for name in names:
        carried = tree_for_genus(genus_of(name) or _first_word(name))
        if carried is not None:
            from crosscompat.collection.opening import open_carried

            return open_carried(carried)
    carried_genera = ", ".join(tree.genus for tree in carried_trees())
    raise WrongUse(say("cli.no_collection_or_tree", folder=str(place.resolve()), genera=carried_genera))


def _first_word(name: str) -> str:
    """Return where the genus should stand in a name that cannot be read; what is wrong with it is told later."""
    return fold(name).lstrip("(").partition(" ")[0]


def _place(folder: Path | None) -> Path:
    """Return the folder of a collection, the current one by default.

    Raises
    ------
    WrongUse
        If there is none.
    """
    place = folder or Path()
    if not (place / FILE_NAME).is_file():
        raise WrongUse(say("cli.no_collection", folder=str(place.resolve())))
    return place
