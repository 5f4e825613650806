"""What to know of a parent that is a hybrid: its own parents' distance, uneven chromosomes, proved fertility."""

from __future__ import annotations

from crosscompat.advice.parents import Parent
from crosscompat.book.crosses import Cross
from crosscompat.book.evidence import fruitful
from crosscompat.book.placing import find_label
from crosscompat.collection.opening import Collection
from crosscompat.names import genus_of
from crosscompat.phylogeny.hybrids import Pedigree
from crosscompat.wording import say

__all__ = ["expected_chromosomes", "hybrid_notes", "proved_fertile"]


def hybrid_notes(collection: Collection, parent: Parent) -> list[str]:
    """Return what is to be told of a hybrid parent; nothing of a species.

    Parameters
    ----------
    collection : Collection
        For the distance of the hybrid's own parents, their chromosomes, and what came of its crosses.
    parent : Parent
        One side of a pairing.

    Returns
    -------
    list of str
        Where it stands; then that its chromosomes are uneven, or that it has proved fertile, where that is known.
    """
    plant = collection.positions.pedigree(parent.label)
    if plant.parents is None:
        return []
    seed, pollen = plant.parents
    name = parent.plant.plant if parent.plant else parent.name
    far = float(collection.positions.apart([seed], [pollen])[0])
    unit = collection.distances.unit
    told = [say("hybrids.between", name=name, distance=f"{far:.3g}", unit=f" {unit}" if unit else "")]
    told += _chromosome_notes(collection, parent, plant, name)
    if proved_fertile(collection, parent):
        told.append(say("hybrids.proved", name=name))
    return told


def expected_chromosomes(collection: Collection, plant: Pedigree) -> float | None:
    """Return the 2n that a hybrid should have: half of each parent's; None where a parent's is not known.

    The parents' own gametes are taken for reduced ones; where they are not, count the plant.
    """
    counts = _counts(collection, plant)
    return None if counts is None else (counts[0] + counts[1]) / 2


def proved_fertile(collection: Collection, parent: Parent) -> bool:
    """Tell whether the book has a seedling of this very plant or its offsets; of the hybrid, if no plant is named."""
    return any(fruitful(cross) is True and _took_part(collection, cross, parent) for cross in collection.crosses)


def _chromosome_notes(collection: Collection, parent: Parent, plant: Pedigree, name: str) -> list[str]:
    """Tell of uneven chromosomes; a plant's own count goes before what its parents let expect."""
    own = parent.plant.chromosomes if parent.plant else None
    if own is not None:
        return [say("hybrids.odd", name=name, count=own)] if own % 2 else []
    counts = _counts(collection, plant)
    if counts is None or counts[0] == counts[1]:
        return []
    return [say("hybrids.uneven", name=name, seed=f"{counts[0]:g}", pollen=f"{counts[1]:g}")]


def _took_part(collection: Collection, cross: Cross, parent: Parent) -> bool:
    if parent.plant is not None:
        one_clone = collection.plants.one_clone
        return any(one_clone(parent.plant.plant, name) for name in (cross.seed_plant, cross.pollen_plant))
    index = collection.positions.index
    sides = ((cross.seed_parent, None), (cross.pollen_parent, genus_of(cross.seed_parent)))
    return any(name is not None and find_label(index, name, genus) == parent.label for name, genus in sides)


def _counts(collection: Collection, plant: Pedigree) -> tuple[float, float] | None:
    """Return the 2n of both parents; of one that is a hybrid itself, what it should have."""
    if plant.parents is None:
        return None
    found = [_count(collection, label) for label in plant.parents]
    return None if found[0] is None or found[1] is None else (found[0], found[1])


def _count(collection: Collection, label: str) -> float | None:
    own = collection.positions.pedigree(label)
    if own.is_hybrid:
        return expected_chromosomes(collection, own)
    count = collection.trait(label, "2n")
    return float(count) if isinstance(count, int) else None
