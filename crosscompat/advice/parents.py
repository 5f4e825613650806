"""The two sides of a pairing, and what to know of a parent that is a hybrid."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant
from crosscompat.book.placing import find_label
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import NoPairing, UnknownName
from crosscompat.ground.names import correct_form, fold, genus_of, one_of
from crosscompat.ground.wording import say
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Parents, Seen
from crosscompat.model.training_set import fruitful
from crosscompat.phylogeny.taxa import Pedigree


@dataclass(frozen=True, slots=True)
class Parent:
    """One side of a pairing.

    Attributes
    ----------
    label : str
        The species, as the tree writes it; of a hybrid the formula.
    plant : Plant or None
        The very plant, where one was named.
    read_as : str
        How the name was read, where that is not plain; else empty.
    """

    label: str
    plant: Plant | None = None
    read_as: str = ""

    @property
    def name(self) -> str:
        """The species in correct form, genus in full."""
        return correct_form(self.label)


def find_parents(collection: Collection, seed: str, pollen: str) -> tuple[Parent, Parent]:
    """Return both sides of a pairing; an abbreviated genus of the second is that of the first.

    Raises
    ------
    UnknownName
        If either stands nowhere; it names the nearest.
    NoPairing
        If both are one plant, or offsets of one.
    """
    seed_parent = find_parent(collection, seed)
    pollen_parent = find_parent(collection, pollen, genus_of(seed_parent.label))
    if collection.plants.one_clone(_plant_name(seed_parent), _plant_name(pollen_parent)):
        raise NoPairing(say("parents.one_clone", seed=seed, pollen=pollen))
    return seed_parent, pollen_parent


def find_parent(collection: Collection, text: str, genus: str | None = None) -> Parent:
    """Return one side of a pairing: a plant by its own name, else a species or a hybrid.

    Raises
    ------
    UnknownName
        If it stands nowhere.
    """
    plant = collection.plants.find(text.strip())
    try:
        match = collection.index.match(plant.species if plant else text, genus)
    except UnknownName as fault:
        raise _with_plants(collection, text, fault) from None
    plain = match.how in {"exact", "parsed"} or fold(match.received) == match.label
    return Parent(match.label, plant, "" if plain else match.sentence)


def _with_plants(collection: Collection, text: str, fault: UnknownName) -> UnknownName:
    """Return the fault with the plants of like names before the species, where what was typed could be a plant's."""
    codes = {name.casefold(): name for name in collection.plants.by_name}
    typed = text.strip().casefold()
    like = sorted(codes[code] for code in get_close_matches(typed, codes)) if any(map(str.isdigit, typed)) else []
    if not like:
        return fault
    nearest = [*like, *fault.nearest][:3]
    return UnknownName(say("names.unknown", name=text, nearest=one_of(nearest)), text, nearest)


def _plant_name(parent: Parent) -> str | None:
    return None if parent.plant is None else parent.plant.plant


def uneven_parents(collection: Collection, seen: Seen, parents: Parents) -> Floats:
    """Count the parents that are hybrids with uneven chromosomes and have no cross seen yet, shape (n_pairs,)."""
    found = np.zeros(len(parents.seed))
    for labels, plants in ((parents.seed, parents.seed_plants), (parents.pollen, parents.pollen_plants)):
        clones = list(plants) or [None] * len(labels)
        sides = list(zip(labels, clones, strict=True))
        known = {side: side[0] not in seen.species and _uneven_note(collection, *side) for side in dict.fromkeys(sides)}
        found += [bool(known[side]) for side in sides]
    return found


def hybrid_notes(collection: Collection, parent: Parent) -> list[str]:
    """Return where a hybrid parent stands, and whether its chromosomes are uneven or it has proved fertile."""
    plant = collection.taxa.pedigree(parent.label)
    if plant.parents is None:
        return []
    seed, pollen = plant.parents
    far = float(collection.taxa.apart([seed], [pollen])[0])
    unit = collection.distances.unit
    shares = (
        say("hybrids.share", name=correct_form(one), share=f"{100 * share:.3g}") for one, share in plant.shares.items()
    )
    place = {"distance": f"{far:.3g}", "unit": f" {unit}" if unit else "", "shares": ", ".join(shares)}
    clone = parent.plant.clone if parent.plant else None
    name = parent.plant.plant if parent.plant else parent.name
    notes = [say("hybrids.between", name=name, **place)]
    notes += filter(None, [_uneven_note(collection, parent.label, clone, name)])
    if proved_fertile(collection, parent.label, clone):
        notes.append(say("hybrids.proved", name=name))
    return notes


def expected_chromosomes(collection: Collection, plant: Pedigree) -> float | None:
    """Return the 2n that a hybrid should have: half of each parent's; None where a parent's is not known.

    The parents' own gametes are taken for reduced ones; where they are not, count the plant.
    """
    counts = _counts(collection, plant)
    return None if counts is None else (counts[0] + counts[1]) / 2


def proved_fertile(collection: Collection, label: str, clone: str | None = None) -> bool:
    """Tell whether the book has a seedling of this clone; of the hybrid, if none is named."""
    return any(fruitful(cross) is True and _took_part(collection, cross, label, clone) for cross in collection.crosses)


def _uneven_note(collection: Collection, label: str, clone: str | None, name: str = "") -> str | None:
    """Tell of uneven chromosomes; a count, best of the clone, goes before what its parents let expect."""
    plant = collection.taxa.pedigree(label)
    if not plant.is_hybrid:
        return None
    [counted] = collection.plants.chromosomes([clone])
    own = collection.trait(label, "2n") if counted is None else counted
    if isinstance(own, int):
        return say("hybrids.odd", name=name, count=own) if own % 2 else None
    counts = _counts(collection, plant)
    if counts is None or counts[0] == counts[1]:
        return None
    return say("hybrids.uneven", name=name, seed=f"{counts[0]:g}", pollen=f"{counts[1]:g}")


def _took_part(collection: Collection, cross: Cross, label: str, clone: str | None) -> bool:
    if clone is not None:
        named = (name for name in (cross.seed_plant, cross.pollen_plant) if name is not None)
        return clone in map(collection.plants.clone, named)
    sides = ((cross.seed_parent, None), (cross.pollen_parent, genus_of(cross.seed_parent)))
    return any(name is not None and find_label(collection.index, name, genus) == label for name, genus in sides)


def _counts(collection: Collection, plant: Pedigree) -> tuple[float, float] | None:
    """Return the 2n of both parents; of one that is a hybrid itself, what it should have."""
    if plant.parents is None:
        return None
    found = [_count(collection, label) for label in plant.parents]
    return None if found[0] is None or found[1] is None else (found[0], found[1])


def _count(collection: Collection, label: str) -> float | None:
    count = collection.trait(label, "2n")
    if isinstance(count, int):
        return float(count)
    own = collection.taxa.pedigree(label)
    return expected_chromosomes(collection, own) if own.is_hybrid else None
