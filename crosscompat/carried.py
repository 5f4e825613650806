"""The trees and trait tables that come with the package, a folder each."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["CarriedTree", "carried_file", "carried_tree", "carried_trees", "tree_for_genus"]


@dataclass(frozen=True, slots=True)
class CarriedTree:
    """A tree that comes with the package: what its ``tree.toml`` says, and the files beside it.

    A grower calls it by its ``name``, that of its folder. ``group`` (``cactus``, ``spurge`` or nothing) says which
    cautions apply, ``fruit_word`` is the group's own word for a seed vessel, ``trait_kinds`` has the kinds of the
    columns of its traits, and ``synonyms`` is a table, where there is one.
    """

    name: str
    title: str
    genus: str
    unit: str
    source: str
    doi: str
    licence: str
    changes: str
    tips: int
    tree: Path
    traits: Path
    group: str
    fruit_word: str
    trait_kinds: Mapping[str, str]
    synonyms: Path | None


@cache
def carried_trees() -> tuple[CarriedTree, ...]:
    """Return what is carried, by name.

    Examples
    --------
    >>> [tree.genus for tree in carried_trees() if tree.name == "echinocereus"]
    ['Echinocereus']
    """
    trees = []
    for index in sorted(_folder().glob("*/tree.toml")):
        table, folder = tomllib.loads(index.read_text(encoding="utf-8")), index.parent
        synonyms = folder / "synonyms.csv"
        trees.append(
            CarriedTree(
                name=folder.name,
                **{key: value for key, value in table.items() if key in CarriedTree.__slots__},
                tree=folder / "tree.nwk",
                traits=folder / "traits.csv",
                synonyms=synonyms if synonyms.is_file() else None,
            )
        )
    return tuple(trees)


def carried_tree(name: str) -> CarriedTree:
    """Return the carried tree of that name, or raise `WrongUse`."""
    for tree in carried_trees():
        if tree.name == name:
            return tree
    raise WrongUse(say("carried.unknown", name=name, known=", ".join(tree.name for tree in carried_trees())))


def tree_for_genus(genus: str) -> CarriedTree | None:
    """Return the carried tree of a genus, or None.

    Examples
    --------
    >>> tree_for_genus("echinocereus").name
    'echinocereus'
    """
    return next((tree for tree in carried_trees() if tree.genus.casefold() == genus.casefold()), None)


def carried_file(name: str) -> Path:
    """Return where a carried file lies.

    Examples
    --------
    >>> carried_file("sources.csv").is_file()
    True
    """
    return _folder() / name


def _folder() -> Path:
    """Inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent
    installed = package / "carried"
    return installed if installed.is_dir() else package.parent / "trees"
