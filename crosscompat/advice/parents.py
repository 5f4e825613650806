"""The two sides of a pairing, found among the grower's plants and the species of the tree."""

from __future__ import annotations

from dataclasses import dataclass

from crosscompat.book.current_plants import Plant
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import NoPairing
from crosscompat.ground.names import correct_form, fold, genus_of
from crosscompat.ground.wording import say

__all__ = ["Parent", "find_parent", "find_parents"]


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
    """Return both sides of a pairing.

    Parameters
    ----------
    collection : Collection
        Whose plants and tree are meant.
    seed, pollen : str
        A plant's own name, a species or a hybrid; an abbreviated genus of the second is that of the first.

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
    match = collection.index.match(plant.species if plant else text, genus)
    plain = match.how in {"exact", "parsed"} or fold(match.received) == match.label
    return Parent(match.label, plant, "" if plain else match.sentence)


def _plant_name(parent: Parent) -> str | None:
    return None if parent.plant is None else parent.plant.plant
