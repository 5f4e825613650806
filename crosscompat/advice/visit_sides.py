"""The parents of a visit: plants of the book, species, or whatever else was written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from crosscompat.advice.parents import Parent, find_parent
from crosscompat.book import records
from crosscompat.book.current_plants import Plant
from crosscompat.book.entry.pollination_rules import Side
from crosscompat.book.flowers import Sighting, usual_window
from crosscompat.book.placing import find_label
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import correct_form, fold, genus_of, parse
from crosscompat.ground.wording import say

__all__ = ["Bench", "Found", "find_side", "genus_for", "misspelt", "nearest_names"]

_NEAREST, _LIKE = 3, 0.6
_UNNAMED = ("sp.", "aff.", "cf.")


@dataclass(frozen=True, slots=True)
class Found:
    """One parent as it was found.

    Attributes
    ----------
    text : str
        As it was typed.
    plant : Plant or None
    id : str or None
        The plant's record.
    species : str
        In correct form where it has a place on the tree, else as written.
    parent : Parent or None
        None where it has no place on the tree.
    unknown : str
        Why it is not known here at all, with the nearest names; else empty.
    """

    text: str
    plant: Plant | None
    id: str | None
    species: str
    parent: Parent | None
    unknown: str = ""

    @property
    def name(self) -> str:
        """The plant's own name, or the species."""
        return self.plant.plant if self.plant else self.species

    @property
    def written(self) -> str | None:
        """What is written down as its name; None for a plant of the book."""
        return None if self.id else self.species


@dataclass(frozen=True, slots=True)
class Bench:
    """What the book knows of plants, by the identifiers of their records.

    Attributes
    ----------
    plants : mapping of str to records.Plant
        By own name.
    seen : mapping of str to sequence of Sighting
    """

    plants: Mapping[str, records.Plant]
    seen: Mapping[str, Sequence[Sighting]]

    def side(self, collection: Collection, found: Found) -> Side:
        """Return what the rules ask of a parent."""
        if found.plant is None:
            return Side(found.species, self_fertile=_self_fertile(collection, found.parent, None))
        return self.of_plant(collection, found.plant, found.parent)

    def of_plant(self, collection: Collection, plant: Plant, parent: Parent | None) -> Side:
        """Return what the rules ask of a plant of the book."""
        record = self.plants[plant.plant]
        open_on = [one.date for one in self.seen.get(record.id, ()) if one.flowers != 0]
        selfs = _self_fertile(collection, parent, plant)
        return Side(plant.plant, plant, selfs, usual_window(open_on), record.place)


def find_side(collection: Collection, bench: Bench, text: str, genus: str | None = None) -> Found:
    """Return one parent: a plant by its own name, else a species, else what was written.

    A name of which only the genus is sure (sp., cf., aff.), or the formula of a hybrid, needs no place on the tree.
    Any other that nothing here answers to is told as ``unknown``.
    """
    name = fold(text)
    plant = collection.plants.find(name)
    parent = _placed(collection, name, genus)
    if plant is not None:
        species = parent.name if parent else plant.species
        return Found(name, plant, bench.plants[plant.plant].id, species, parent)
    if parent is not None:
        return Found(name, None, None, parent.name, parent)
    unknown = "" if _leans(name, genus) else _unknown(collection, name)
    return Found(name, None, None, name if unknown else correct_form(name, genus), None, unknown)


def nearest_names(name: str, known: Sequence[str]) -> list[str]:
    """Return the plants' names most like a name, whatever the case of their letters.

    Examples
    --------
    >>> nearest_names("coc-f9", ["COC-F1", "COC-F2", "TRI-1"])
    ['COC-F2', 'COC-F1']
    """
    by_folded = {one.casefold(): one for one in known}
    near = get_close_matches(name.casefold(), by_folded, n=_NEAREST, cutoff=_LIKE)
    return [by_folded[one] for one in near]


def misspelt(collection: Collection, text: str) -> list[str]:
    """Return a sentence for each species in a name that has no place on the tree but is spelt like one that has.

    None for a name of which only the genus is sure.
    """
    try:
        read = parse(text)
    except UnknownName:
        return []
    if read.parents is not None:
        return [told for parent in read.parents for told in misspelt(collection, str(parent))]
    name = correct_form(text)
    if read.qualifier in _UNNAMED or find_label(collection.index, name) is not None:
        return []
    near = nearest_names(name, [correct_form(one) for one in collection.index.nearest(name, _NEAREST)])
    return [say("pollinate.unplaced", name=name, nearest=", ".join(near))] if near else []


def _placed(collection: Collection, name: str, genus: str | None) -> Parent | None:
    try:
        return find_parent(collection, name, genus)
    except UnknownName:
        return None


def _leans(name: str, genus: str | None) -> bool:
    try:
        read = parse(name, genus)
    except UnknownName:
        return False
    return read.parents is not None or read.qualifier in _UNNAMED


def _unknown(collection: Collection, name: str) -> str:
    near = [*nearest_names(name, list(collection.plants.by_name)), *collection.index.nearest(name, 1)]
    listed = ", ".join(correct_form(one) if one in collection.index.labels else one for one in near)
    return say("pollinate.unknown", name=name, nearest=listed)


def _self_fertile(collection: Collection, parent: Parent | None, plant: Plant | None) -> bool | None:
    if plant is not None and plant.self_fertile is not None:
        return plant.self_fertile
    value = collection.trait(parent.label, "self_fertile") if parent else None
    return value if isinstance(value, bool) else None


def genus_for(found: Found) -> str | None:
    """Return the genus that an abbreviation in the name of the other parent stands for."""
    return genus_of(found.species)
