"""The plants of a book as they are known today."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from crosscompat.book import records
from crosscompat.book.dates import by_date
from crosscompat.book.plants import Plant, Plants
from crosscompat.book.store import Reading
from crosscompat.ground.names import bracketed

__all__ = ["plants_of", "species_of"]

_UNKNOWN = "?"


def plants_of(page: Reading, species: Mapping[str, str] | None = None) -> Plants:
    """Return the plants with what was last found on each.

    The latest dated finding holds; one without a date is older than any other.

    Parameters
    ----------
    page : Reading
    species : mapping of str to str, optional
        Where `species_of` was asked already.
    """
    species = species_of(page) if species is None else species
    found: dict[str, dict[str, str]] = defaultdict(dict)
    for finding in by_date(page.current(records.Finding)):
        found[finding.plant][finding.what] = finding.value
    return Plants.of(_bench(plant, species[plant.id], found[plant.id]) for plant in page.current(records.Plant))


def species_of(page: Reading) -> Mapping[str, str]:
    """Return what each plant is, by its identifier.

    The latest determination, else the formula that was told, else that of the cross it was raised from, else the name
    it came with, else its own name.
    """
    named = {one.plant: one.name for one in by_date(page.current(records.Determination))}
    plants = {plant.id: plant for plant in page.current(records.Plant)}
    raised = any(plant.cross for plant in plants.values())
    parents = _parents(page) if raised else {}
    return {plant: _species(plant, plants, named, parents) for plant in plants}


def _bench(plant: records.Plant, species: str, found: Mapping[str, str]) -> Plant:
    counted, selfs = found.get("2n"), found.get("self_fertile")
    return Plant(
        plant=plant.name,
        species=species,
        clone=plant.clone or plant.name,
        sex=found.get("sex"),
        chromosomes=int(counted) if counted and counted.isdecimal() else None,
        self_fertile=None if selfs is None else selfs == "yes",
        source=plant.source,
        note=plant.note,
        died=plant.died,
    )


@dataclass(frozen=True, slots=True)
class _Parents:
    """The two sides of a cross: each a plant of the book, or a name."""

    seed: tuple[str | None, str | None]
    pollen: tuple[str | None, str | None]


def _parents(page: Reading) -> Mapping[str, _Parents]:
    """Return the sides of each cross; of several pollen parents the first."""
    cross_of_visit = dict(page.columns(records.Pollination, "id", "cross"))
    pollen: dict[str, tuple[str | None, str | None]] = {}
    for one in page.current(records.Pollen):
        pollen.setdefault(cross_of_visit[one.pollination], (one.plant, one.name))
    sides = page.columns(records.Cross, "id", "seed_plant", "seed_parent")
    return {cross: _Parents((plant, name), pollen.get(cross, (None, None))) for cross, plant, name in sides}


def _species(
    plant: str,
    plants: Mapping[str, records.Plant],
    named: Mapping[str, str],
    parents: Mapping[str, _Parents],
    offspring: frozenset[str] = frozenset(),
) -> str:
    """Return what a plant is; one that is told to descend from itself is known by its name alone."""
    known = plants[plant]
    told = named.get(plant) or known.parents
    both = None if plant in offspring else parents.get(known.cross or "")
    younger = offspring | {plant}
    if told or both is None:
        return told or known.received_as or known.name
    seed, pollen = (
        name or (_species(one, plants, named, parents, younger) if one else _UNKNOWN)
        for one, name in (both.seed, both.pollen)
    )
    if seed == pollen:
        return seed
    return " × ".join(bracketed(side) for side in (seed, pollen))
