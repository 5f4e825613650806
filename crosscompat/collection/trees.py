"""The tree of a collection, kept as it was read for as long as its file holds the same."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from crosscompat.collection.caches import keep, key_of, recall
from crosscompat.phylogeny.packed import packed, unpacked
from crosscompat.phylogeny.tree import Distances, Phylogeny

__all__ = ["remembered_tree"]

_CACHE = ".tree.cache"
_ROOMS = ("phylogeny",)


def remembered_tree(
    folder: Path, file: Path, read: Callable[[], Distances], *how: str | int | None, remember: bool
) -> Distances:
    """Return the tree of a file, read only if the file or the way of reading is another than when it was kept.

    Parameters
    ----------
    folder : Path
        Where it is remembered.
    file : Path
    read : callable
        Reads it; a table of distances is read every time.
    *how
        What decides how it is read.
    remember : bool
        Whether it is kept in the folder.
    """
    key = key_of([file], _ROOMS, file.name, *how)
    known = None if key is None else recall(folder / _CACHE, key)
    if known is not None:
        return unpacked(known)
    found = read()
    if not remember or key is None or not isinstance(found, Phylogeny):
        return found
    if key == key_of([file], _ROOMS, file.name, *how):
        content = packed(found)
        if content is not None:
            keep(folder / _CACHE, key, content)
    return found
