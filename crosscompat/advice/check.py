"""A check of the whole collection: what it holds, what stands out in tree and names, and which names have no place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from crosscompat.book.crosses import Cross
from crosscompat.book.placing import find_label
from crosscompat.collection.opening import Collection, ranks_by_species
from crosscompat.ground.errors import Place, UnknownName
from crosscompat.ground.names import correct_form, genus_of, parse
from crosscompat.ground.wording import say
from crosscompat.pairing import scale_of
from crosscompat.phylogeny.report import Scattered, group_census, tree_report
from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["Checkup", "TraitNote", "Unmatched", "botany_notes", "check"]

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


def botany_notes(collection: Collection) -> list[str]:
    """Return what stands out where tree, traits and names are set beside each other.

    Parameters
    ----------
    collection : Collection
        Its groups are those that columns of its traits name by rank, and the genera.
    """
    return [
        *_groups(collection),
        *_undetermined(collection),
        *_missing(collection),
        *_synonyms(collection),
        _usual_distance(collection),
    ]


def _usual_distance(collection: Collection) -> str:
    """Tell what distances are measured against."""
    unit = collection.distances.unit
    value = scale_of(collection.distances).width
    return say("botany.usual_distance", value=f"{value:.4g}", unit=f" {unit}" if unit else "")


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
        yield _scattered(group)


def _scattered(group: Scattered) -> str:
    """Name the fewer: those that stray, or those that stand between."""
    if len(group.strays) <= len(group.strangers):
        return say("botany.strays", group=group.group, names=_named(group.strays), n=group.together)
    return say("botany.strangers", group=group.group, names=_named(group.strangers))


def _undetermined(collection: Collection) -> Iterator[str]:
    doubtful = [tip for tip in collection.distances.tips if _is_undetermined(tip)]
    if doubtful:
        yield say("botany.undetermined", n=len(doubtful), names=_named(doubtful))


def _is_undetermined(label: str) -> bool:
    try:
        return parse(label).qualifier is not None
    except UnknownName:
        return False


def _missing(collection: Collection) -> Iterator[str]:
    if collection.placed:
        listed = [say("botany.in_group", name=correct_form(one.species), group=one.group) for one in collection.placed]
        yield say("botany.placed", n=len(listed), names=_some(listed))
    if collection.traits is not None:
        absent = [name for name in collection.traits.species if find_label(collection.index, name) is None]
        if absent:
            yield say("botany.absent", n=len(absent), names=_named(absent))
    if collection.sample is not None:
        yield say("botany.sample", n=len(collection.sample.trees))
        beyond = [tip for tip in collection.distances.tips if find_label(collection.sample.index, tip) is None]
        if beyond:
            yield say("botany.not_sampled", n=len(beyond), names=_named(beyond))


def _synonyms(collection: Collection) -> Iterator[str]:
    index = collection.taxa.index
    lost = [name for name in collection.synonyms if find_label(index, name) is None]
    if lost:
        yield say("botany.lost_synonyms", n=len(lost), names=_named(lost))


def _named(labels: Sequence[str]) -> str:
    return _some([correct_form(label) for label in labels])


def _some(texts: Sequence[str]) -> str:
    shown, more = ", ".join(texts[:_SHOWN]), len(texts) - _SHOWN
    return say("botany.more", names=shown, n=more) if more > 0 else shown
