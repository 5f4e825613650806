"""A check of the whole collection: what it holds, what stands out, and which names have no place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from crosscompat.advice.tree_checks import botany_notes
from crosscompat.book.crosses import Cross
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import Place, UnknownName
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say
from crosscompat.phylogeny.report import tree_report
from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["Checkup", "TraitNote", "Unmatched", "check"]


@dataclass(frozen=True, slots=True)
class Unmatched:
    """A name that stands nowhere on the tree: where it is written, and why it was not found."""

    where: str
    column: str
    name: str
    why: str


@dataclass(frozen=True, slots=True)
class TraitNote:
    """A column of traits: its kind, whether that was declared, and for how many species it is known."""

    name: str
    kind: str
    declared: bool
    known: int
    why: str


@dataclass(frozen=True, slots=True)
class Checkup:
    """What a collection holds.

    Attributes
    ----------
    species, plants, crosses, wanted : int
        How many there are.
    tree_notes : list of str
        What stands out in the tree, and where tree, traits and names do not agree.
    traits : list of TraitNote
    unmatched : list of Unmatched
        Names without a place on the tree, or species of the traits that it lacks.
    notices : list of str
    """

    name: str
    tree: str
    species: int
    plants: int
    crosses: int
    wanted: int
    tree_notes: list[str]
    traits: list[TraitNote]
    unmatched: list[Unmatched]
    notices: list[str]
    invented: bool
    schema: Literal["crosscompat.check/2"] = "crosscompat.check/2"


def check(collection: Collection) -> Checkup:
    """Check a collection that could be read."""
    distances, traits = collection.distances, collection.traits
    report = tree_report(distances) if isinstance(distances, Phylogeny) else ()
    described = traits.describe() if traits is not None else ()
    return Checkup(
        name=collection.settings.name,
        tree=collection.tree_name,
        species=len(distances.tips),
        plants=len(collection.plants.by_name),
        crosses=len(collection.crosses),
        wanted=len(collection.wanted),
        tree_notes=[*map(str, report), *botany_notes(collection)],
        traits=[TraitNote(item.name, item.kind, item.declared, item.known, item.sentence) for item in described],
        unmatched=list(_unmatched(collection)),
        notices=list(collection.notices),
        invented=collection.settings.invented,
    )


def _unmatched(collection: Collection) -> Iterator[Unmatched]:
    plants, match = collection.plants, collection.index.match
    for where, column, name, genus in _names(collection):
        try:
            if name is not None:
                match(name, genus)
        except UnknownName as unknown:
            yield Unmatched(where, column, name or "", str(unknown))
    for cross in collection.crosses:
        for column in ("seed_plant", "pollen_plant"):
            named = getattr(cross, column)
            if named is not None and plants.by_name and plants.find(named) is None:
                yield Unmatched(_place(cross), column, named, say("checkup.no_plant", plant=named))


def _names(collection: Collection) -> Iterator[tuple[str, str, str | None, str | None]]:
    """Yield where each name of a species is written, in which column, the name, and what its genus may be short for."""
    plants = collection.plants
    for plant in plants.by_name.values():
        yield say("checkup.plant", plant=plant.plant), "species", plant.species, None
    for cross in collection.crosses:
        yield _place(cross), "seed_parent", cross.seed_parent, None
        yield _place(cross), "pollen_parent", cross.pollen_parent, genus_of(cross.seed_parent)
    for wanted in collection.wanted:
        genus = genus_of(plants.species(wanted.seed_parent))
        for column, default in (("seed_parent", None), ("pollen_parent", genus)):
            name = getattr(wanted, column)
            if plants.find(name) is None:
                yield str(Place("wanted.csv", row=wanted.row)), column, name, default


def _place(cross: Cross) -> str:
    return say("checkup.cross", cross=cross.number, date=cross.date.isoformat())
