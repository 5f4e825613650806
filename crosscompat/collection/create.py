"""Making a new collection."""

from __future__ import annotations

import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from crosscompat.book import crosses, plants, wanted
from crosscompat.book.cells import write_sheet
from crosscompat.carried import CarriedTree, carried_tree, carried_trees
from crosscompat.collection.settings import FILE_NAME, FORMAT
from crosscompat.errors import WrongUse
from crosscompat.files import write_atomically
from crosscompat.wording import say

__all__ = ["Made", "create_collection"]

_DEFAULT_TREE = "echinocereus"
_HEADERS = {"plants.csv": plants.HEADER, "crosses.csv": crosses.HEADER, "wanted.csv": wanted.HEADER}


@dataclass(frozen=True, slots=True)
class Made:
    """A new collection: its folder, the files in it and the tree it starts from."""

    folder: str
    files: list[str]
    tree: str


def create_collection(folder: Path, *, tree: str | None = None, unit: str | None = None) -> Made:
    """Make a folder with settings and empty tables.

    Parameters
    ----------
    folder : Path
        Made if it is not there; files of a collection must not be in it yet.
    tree : str, optional
        Name of a carried tree, or a file, which is copied unless it is in the folder already.
    unit : str, optional
        Unit of the branch lengths of a file.

    Raises
    ------
    WrongUse
        If the folder holds a collection already, or the tree is neither carried nor a file.
    """
    carried, file = _tree(tree)
    copy = folder / file.name if file else None
    in_place = copy is not None and file is not None and copy.exists() and copy.samefile(file)
    names = (FILE_NAME, *_HEADERS, *([file.name] if file and not in_place else []))
    there = [name for name in names if (folder / name).exists()]
    if there:
        raise WrongUse(say("create.there", folder=str(folder), files=", ".join(there)))
    folder.mkdir(parents=True, exist_ok=True)
    if file is not None and copy is not None and not in_place:
        shutil.copyfile(file, copy)
    for name, header in _HEADERS.items():
        write_sheet(folder / name, header, [])
    used = carried.name if carried else file.name if file else _DEFAULT_TREE
    write_atomically(folder / FILE_NAME, _settings(folder.resolve().name, used, carried, unit).encode())
    return Made(str(folder), [FILE_NAME, *_HEADERS, *([file.name] if file else [])], used)


def _tree(tree: str | None) -> tuple[CarriedTree | None, Path | None]:
    if tree is None:
        return carried_tree(_DEFAULT_TREE), None
    if tree in {carried.name for carried in carried_trees()}:
        return carried_tree(tree), None
    if Path(tree).is_file():
        return None, Path(tree)
    raise WrongUse(say("create.no_tree", tree=tree, known=_listed([carried.name for carried in carried_trees()])))


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)


def _settings(name: str, tree: str, carried: CarriedTree | None, unit: str | None) -> str:
    lines = [
        say("create.settings.head"),
        f"format = {FORMAT}",
        f"name = {_quoted(name)}",
        "",
        say("create.settings.tree"),
        f"tree = {_quoted(tree)}",
    ]
    known_unit = carried.unit if carried else unit
    lines += [f"tree_unit = {_quoted(known_unit)}"] if known_unit else [say("create.settings.unit")]
    lines += [f"traits = {_quoted(carried.name)}"] if carried else [say("create.settings.traits")]
    group, fruit = (carried.group, carried.fruit_word) if carried else ("", "fruit")
    lines += [
        "",
        say("create.settings.group"),
        f"group = {_quoted(group)}",
        f"fruit_word = {_quoted(fruit)}",
        'hemisphere = "north"',
        'season_start = "01-01"',
        say("create.settings.window"),
        "window_days = 365",
        say("create.settings.invented"),
        "invented = false",
    ]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """Return a TOML string, which JSON's strings are but for the sign DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
