"""A check of the whole collection: what it holds, what stands out in tree and names, and which names have no place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from crosscompat.book.crosses import Cross, find_label
from crosscompat.book.current_plants import Plant
from crosscompat.collection.opening import Collection, ranks_by_species
from crosscompat.ground.errors import Place, UnknownName
from crosscompat.ground.names import NameIndex, correct_form, genus_of, read_name
from crosscompat.ground.wording import say
from crosscompat.pairing import scale_of
from crosscompat.phylogeny.report import group_census, tree_report
from crosscompat.phylogeny.tree import Phylogeny

_SHOWN = 8


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
    """What a collection holds, what stands out in its tree and names, and which names have no place."""

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
    report = tree_report(distances) if isinstance(distances, Phylogeny) else {}
    columns = traits.columns if traits is not None else ()
    return Checkup(
        name=collection.settings.name,
        tree=collection.tree_name,
        species=len(distances.tips),
        plants=len(collection.plants.by_name),
        crosses=len(collection.crosses),
        wanted=len(collection.wanted),
        tree_notes=[*report.values(), *botany_notes(collection)],
        traits=[TraitNote(c.name, c.kind, c.declared, c.known, c.sentence) for c in columns],
        unmatched=list(_unmatched(collection)),
        notices=list(collection.notices),
        invented=collection.settings.invented,
    )


def _unmatched(collection: Collection) -> Iterator[Unmatched]:
    plants, match = collection.plants, collection.index.match
    for where, column, name, genus in (*names_in(plants.by_name.values(), collection.crosses), *_wanted(collection)):
        try:
            match(name, genus)
        except UnknownName as unknown:
            yield Unmatched(where, column, name, str(unknown))
    for cross in collection.crosses:
        for column, named in (("seed_plant", cross.seed_plant), ("pollen_plant", cross.pollen_plant)):
            if named is not None and plants.by_name and plants.find(named) is None:
                yield Unmatched(_place(cross), column, named, say("checkup.no_plant", plant=named))


def names_in(plants: Iterable[Plant], crosses: Iterable[Cross]) -> Iterator[tuple[str, str, str, str | None]]:
    """Yield where each name of a species is written, in which column, the name, and what its genus may be short for."""
    for plant in plants:
        yield say("checkup.plant", plant=plant.plant), "species", plant.species, None
    for cross in crosses:
        yield _place(cross), "seed_parent", cross.seed_parent, None
        if cross.pollen_parent is not None:
            yield _place(cross), "pollen_parent", cross.pollen_parent, genus_of(cross.seed_parent)


def _wanted(collection: Collection) -> Iterator[tuple[str, str, str, str | None]]:
    for wanted in collection.wanted:
        genus = genus_of(collection.plants.species(wanted.seed_parent))
        sides = (("seed_parent", wanted.seed_parent, None), ("pollen_parent", wanted.pollen_parent, genus))
        where = str(Place("wanted.csv", row=wanted.row))
        yield from ((where, *side) for side in sides if collection.plants.find(side[1]) is None)


def _place(cross: Cross) -> str:
    return say("checkup.cross", cross=cross.number, date=cross.when)


def botany_notes(collection: Collection) -> list[str]:
    """Return what stands out where tree, traits and names are set beside each other.

    Groups are those that columns of the traits name by rank, and the genera.
    """
    unit, width = collection.distances.unit, scale_of(collection.distances).width
    usual = say("botany.usual_distance", value=f"{width:.4g}", unit=f" {unit}" if unit else "")
    return [*_groups(collection), *_lists(collection), usual]


def _groups(collection: Collection) -> Iterator[str]:
    tree = collection.distances
    if not isinstance(tree, Phylogeny) or tree.rooted is False or tree.has_negative:
        return
    ranks = ranks_by_species(collection.traits) if collection.traits is not None else {}
    placed = {one.species for one in collection.placed}
    found = ((find_label(tree.index, species), held) for species, held in ranks.items() if species not in placed)
    census = group_census(tree, {label: held for label, held in found if label is not None})
    if census.groups and not census.scattered:
        yield say("botany.together", n=census.groups)
    for group in census.scattered:
        if len(group.strays) <= len(group.strangers):  # name the fewer
            yield say("botany.strays", group=group.group, names=_named(group.strays), n=group.together)
        else:
            yield say("botany.strangers", group=group.group, names=_named(group.strangers))


def _lists(collection: Collection) -> Iterator[str]:
    """Yield the names of whom the tree is not sure, or that stand in one place and lack in another."""
    tips, sample, traits = collection.distances.tips, collection.sample, collection.traits

    def listed(key: str, names: Iterable[str], index: NameIndex | None = None) -> Iterator[str]:
        lacking = [name for name in names if index is None or find_label(index, name) is None]
        if lacking:
            yield say(f"botany.{key}", n=len(lacking), names=_named(lacking))

    yield from listed("undetermined", [tip for tip in tips if (read := read_name(tip)) and read.qualifier])
    if collection.placed:
        placed = [say("botany.in_group", name=correct_form(one.species), group=one.group) for one in collection.placed]
        yield say("botany.placed", n=len(placed), names=_named(placed, str))
    if traits is not None:
        yield from listed("absent", traits.species, collection.index)
    if sample is not None:
        yield say("botany.sample", n=len(sample.trees))
        yield from listed("not_sampled", tips, sample.index)
    yield from listed("lost_synonyms", collection.synonyms, collection.taxa.index)


def _named(labels: Iterable[str], name: Callable[[str], str] = correct_form) -> str:
    texts = [name(label) for label in labels]
    shown, more = ", ".join(texts[:_SHOWN]), len(texts) - _SHOWN
    return say("botany.more", names=shown, n=more) if more > 0 else shown
