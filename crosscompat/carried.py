"""What comes with the package: trees with their traits, a folder each, and published hybrids and failures."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from crosscompat.ground.csv_cells import read_sheet
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say


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
    """Return what is carried, by name."""
    trees = []
    for index in sorted(carried_file("").glob("*/tree.toml")):
        folder, table = index.parent, tomllib.loads(index.read_text(encoding="utf-8"))
        said: dict[str, Any] = {key: value for key, value in table.items() if key in CarriedTree.__slots__}
        synonyms = folder / "synonyms.csv" if (folder / "synonyms.csv").is_file() else None
        said |= {"tree": folder / "tree.nwk", "traits": folder / "traits.csv", "synonyms": synonyms}
        trees.append(CarriedTree(name=folder.name, **said))
    return tuple(trees)


def carried_tree(name: str) -> CarriedTree:
    """Return the carried tree of that name, or raise `WrongUse`."""
    trees = {tree.name: tree for tree in carried_trees()}
    if name not in trees:
        raise WrongUse(say("carried.unknown", name=name, known=", ".join(trees)))
    return trees[name]


def tree_for_genus(genus: str) -> CarriedTree | None:
    """Return the carried tree of a genus, in any case, or None."""
    return next((tree for tree in carried_trees() if tree.genus.casefold() == genus.casefold()), None)


def carried_file(name: str) -> Path:
    """Return where a carried file lies: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent
    installed = package / "carried"
    return (installed if installed.is_dir() else package.parent / "trees") / name


@dataclass(frozen=True, slots=True)
class KnownHybrid:
    """A published cross.

    ``hybrid`` is what it is called, "" where it has no name, and for a failure; the parents are species, genus in full;
    unless ``direction_known`` they stand in any order. ``how`` it was made (by hand, in nature …) is in a grower's
    words; ``source`` has the references in full, each with its remark.
    """

    hybrid: str
    seed_parent: str
    pollen_parent: str
    direction_known: bool
    outcome: Literal["hybrid", "failure"]
    how: str
    note: str
    source: str


@cache
def known_hybrids() -> tuple[KnownHybrid, ...]:
    """Return the published crosses that come with the package, in the order of their table.

    Examples
    --------
    >>> [known.hybrid for known in known_hybrids() if known.seed_parent == "Echinocereus coccineus"]
    ['Echinocereus ×lloydii', 'Echinocereus ×roetteri']
    """
    references = {row["key"]: row["reference"] for row in _rows("sources.csv")}
    hybrids = []
    for row in _rows("known_hybrids.csv"):
        source = "; ".join(_in_full(cited, references) for cited in row["source"].split("; "))
        read: dict[str, Any] = {"direction_known": row["direction_known"] == "yes", "source": source}
        hybrids.append(KnownHybrid(**{**row, **read}))
    return tuple(hybrids)


def formulas() -> dict[str, str]:
    """Return the formula of each published hybrid that has a name."""
    return {known.hybrid: f"{known.seed_parent} × {known.pollen_parent}" for known in known_hybrids() if known.hybrid}


def _in_full(cited: str, references: dict[str, str]) -> str:
    """Return a citation with its reference for its key; a remark in brackets stays."""
    remark = re.search(r" \([^()]*\)$", cited)
    return references[cited] if remark is None else references[cited[: remark.start()]] + remark[0]


def _rows(name: str) -> list[dict[str, str]]:
    return [{column: cell or "" for column, cell in row.cells.items()} for row in read_sheet(carried_file(name)).rows]
