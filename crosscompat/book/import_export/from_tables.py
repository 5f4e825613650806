"""Plants and crosses of a table, a line each, as records of a book."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from crosscompat.book import records
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.records import Record, new_id

__all__ = ["records_of"]

_FINDINGS = ("sex", "2n", "self_fertile")


def records_of(
    plants: Plants, crosses: Iterable[Cross], standing: Mapping[str, tuple[str, str]] = MappingProxyType({})
) -> list[Record]:
    """Return the records that say what tables of plants and crosses say, no more and no less.

    A plant that only the crosses name becomes one of the book. Counts of a table have no date.

    Parameters
    ----------
    standing : mapping
        Identifier and species of the plants that the book has already, by name.
    """
    garden = _Garden(
        ids={name: one for name, (one, _) in standing.items()},
        species={name: species for name, (_, species) in standing.items()},
    )
    for plant in plants.by_name.values():
        garden.take_in(plant)
    found = [record for cross in crosses for record in _cross_records(cross, garden)]
    return [*garden.records, *found]


@dataclass(slots=True)
class _Garden:
    """The plants taken in so far."""

    records: list[Record] = field(default_factory=list)
    ids: dict[str, str] = field(default_factory=dict)
    species: dict[str, str] = field(default_factory=dict)

    def take_in(self, plant: Plant) -> str:
        """Write down a plant and what is known of it."""
        clone = plant.clone if plant.clone != plant.plant else None
        new = records.Plant(name=plant.plant, clone=clone, source=plant.source, note=plant.note)
        self.ids[plant.plant], self.species[plant.plant] = new.id, plant.species
        selfs = None if plant.self_fertile is None else ("no", "yes")[plant.self_fertile]
        chromosomes = None if plant.chromosomes is None else str(plant.chromosomes)
        self.records += [new, records.Determination(plant=new.id, name=plant.species)]
        for what, value in zip(_FINDINGS, (plant.sex, chromosomes, selfs), strict=True):
            if value is not None:
                self.records.append(records.Finding(plant=new.id, what=what, value=value))
        return new.id

    def find(self, name: str | None, species: str | None) -> tuple[str | None, str | None]:
        """Return the plant of a name, and the species where it is not what the plant itself is known as."""
        if name is None:
            return None, species
        if name not in self.ids:
            self.take_in(Plant(name, species or name, name))
        return self.ids[name], None if species == self.species[name] else species


def _cross_records(cross: Cross, garden: _Garden) -> Iterator[Record]:
    seed_plant, seed_parent = garden.find(cross.seed_plant, cross.seed_parent)
    made = records.Cross(
        id=cross.id or new_id(),
        number=cross.cross,
        kind=cross.kind,
        seed_plant=seed_plant,
        seed_parent=seed_parent,
        only_successes=cross.only_successes,
        closed_stage=cross.closed_stage,
        source=cross.source,
        recorded_at=cross.recorded_at,
        note=cross.note,
    )
    visit = records.Pollination(
        cross=made.id,
        date=cross.date,
        who=cross.grower,
        unit_kind=cross.unit_kind,
        units=cross.units,
        pollen_kind=cross.pollen_kind,
        technique=cross.technique,
        stamens_removed=cross.stamens_removed,
        isolation=cross.isolation,
    )
    yield made
    yield visit
    if cross.pollen_parent is not None or cross.pollen_plant is not None:
        plant, name = garden.find(cross.pollen_plant, cross.pollen_parent)
        yield records.Pollen(pollination=visit.id, plant=plant, name=name)
    yield from _counts(cross, made.id)
    yield from _ending(cross, made.id)


def _counts(cross: Cross, made: str) -> Iterator[Record]:
    for what in ("pods_set", "pods_held", "tried", "took"):
        count = getattr(cross, what)
        if count is not None:
            yield records.Observation(cross=made, what=what, count=count)
    if cross.seeds is not None or cross.seeds_filled is not None:
        yield records.SeedLot(cross=made, seeds=cross.seeds, filled=cross.seeds_filled)
    if cross.seeds_sown is not None or cross.seedlings is not None:
        sowing = records.Sowing(cross=made, seeds=cross.seeds_sown)
        yield sowing
        if cross.seedlings is not None:
            yield records.Emergence(sowing=sowing.id, highest=cross.seedlings)


def _ending(cross: Cross, made: str) -> Iterator[Record]:
    if cross.lost_to is not None:
        yield records.Loss(cross=made, cause=cross.lost_to)
    if cross.proof is not None:
        yield records.Proof(cross=made, verdict=cross.proof)
