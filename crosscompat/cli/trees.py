"""The trees that come with the package."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crosscompat.carried import CarriedTree, carried_trees
from crosscompat.cli.options import Json
from crosscompat.cli.output import give, line, paragraph, unit_in_words
from crosscompat.ground.wording import say

__all__ = ["CarriedTrees", "KnownTrait", "TreeEntry", "trees"]


@dataclass(frozen=True, slots=True)
class KnownTrait:
    """A trait, and of how many species it is known."""

    name: str
    known: int


@dataclass(frozen=True, slots=True)
class TreeEntry:
    """One tree that comes along.

    Attributes
    ----------
    name : str
        What ``new --tree`` calls it by.
    title, genus : str
    species : int
        Tips of the tree.
    unit : str
        Unit of the branch lengths.
    source, doi, licence, changes : str
        Where it is from, on what terms, and what was changed.
    traits : list of KnownTrait
        Columns of its trait table of which anything is known.
    """

    name: str
    title: str
    genus: str
    species: int
    unit: str
    source: str
    doi: str
    licence: str
    changes: str
    traits: list[KnownTrait]


@dataclass(frozen=True, slots=True)
class CarriedTrees:
    """All trees that come along."""

    trees: list[TreeEntry]
    schema: Literal["crosscompat.trees/1"] = "crosscompat.trees/1"


def trees(*, as_json: Json = False) -> None:
    """Print every carried tree with its size, unit, source and licence."""
    listed = CarriedTrees([_entry(tree) for tree in carried_trees()])
    give(listed, _print, as_json=as_json)


def _print(listed: CarriedTrees) -> None:
    for entry in listed.trees:
        line(f"{entry.name}: {entry.title}")
        size = say("trees_listed.size", n=entry.species, unit=unit_in_words(entry.unit))
        counts = ", ".join(f"{trait.name} {trait.known:,}" for trait in entry.traits)
        traits = say("trees_listed.traits", counts=counts)
        source = say("trees_listed.source", source=entry.source, doi=entry.doi)
        for text in (size, traits, source, say("trees_listed.licence", licence=entry.licence, changes=entry.changes)):
            paragraph(text, indent=2, bullet="· ")
        line()
    line(say("trees_listed.next"))


def _entry(tree: CarriedTree) -> TreeEntry:
    from crosscompat.traits import read_traits

    columns = read_traits(tree.traits, tree.trait_kinds).columns
    known = [KnownTrait(column.name, column.known) for column in columns if not column.name.endswith("_source")]
    return TreeEntry(
        tree.name,
        tree.title,
        tree.genus,
        tree.tips,
        tree.unit,
        tree.source,
        tree.doi,
        tree.licence,
        tree.changes,
        [trait for trait in known if trait.known],
    )
