"""The tree of a collection, kept as it was read for as long as its file holds the same."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from crosscompat.collection.caches import key_of, recall, remember
from crosscompat.phylogeny.packed import packed, unpacked
from crosscompat.phylogeny.tree import Distances, Phylogeny

__all__ = ["remembered_tree"]

_CACHE = ".tree.cache"
_ROOMS = ("phylogeny",)


def remembered_tree(folder: Path, file: Path, read: Callable[[], Distances], *how: str | int | None) -> Distances:
    """Return the tree of a file, read only if the file or the way of reading is another than the last time.

    Parameters
    ----------
    folder : Path
        Where it is remembered.
    file : Path
    read : callable
        Reads it; a table of distances is read every time.
    *how
        What decides how it is read.
    """
    key = key_of([file], _ROOMS, file.name, *how)
    known = None if key is None else recall(folder / _CACHE, key)
    if known is not None:
        return unpacked(known)
    found = read()
    if key is not None and isinstance(found, Phylogeny) and key == key_of([file], _ROOMS, file.name, *how):
        content = packed(found)
        if content is not None:
            remember(folder / _CACHE, key, content)
    return found
