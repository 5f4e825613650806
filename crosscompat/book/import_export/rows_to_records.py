"""Plants and crosses of tables as records of a book."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from crosscompat.book import records
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.import_export.column_mapping import EXTRA
from crosscompat.book.records import Record, new_id
from crosscompat.ground.csv_convert import as_text

_OF_CROSS = ("kind", "only_successes", "closed_stage", "source", "recorded_at", "note")
_OF_VISIT = ("date", "unit_kind", "units", "pollen_kind", "technique", "stamens_removed", "isolation")
_COUNTED = ("pods_set", "pods_held", "tried", "took")
More = Mapping[int, Mapping[str, Any]]
"""What rows say beyond the tables of crosses and plants, by their number and the column."""
_NOTHING: Mapping[Any, Any] = MappingProxyType({})


def records_of(
    plants: Plants, crosses: Iterable[Cross], standing: Mapping[str, tuple[str, str]] = _NOTHING, more: More = _NOTHING
) -> list[Record]:
    """Return the records that say what tables of plants and crosses say, no more and no less.

    A plant that only the crosses name becomes one of the book. Counts of a table have no date.

    Parameters
    ----------
    standing : mapping of str to (str, str), optional
        Identifier and species of the plants that the book has, by their names.
    more : mapping of int to mapping, optional
        By ``row`` of a plant or a cross: fields of a plant, or columns of `column_mapping.EXTRA`.
    """
    garden = _Garden(dict(standing))
    for plant in plants.by_name.values():
        garden.take_in(plant, more.get(plant.row, _NOTHING))
    found = [record for cross in crosses for record in _cross_records(cross, more.get(cross.row, _NOTHING), garden)]
    return [*garden.records, *found]


@dataclass(slots=True)
class _Garden:
    """The plants taken in so far: identifier and species by name."""

    known: dict[str, tuple[str, str]]
    records: list[Record] = field(default_factory=list)

    def take_in(self, plant: Plant, more: Mapping[str, Any] = _NOTHING) -> None:
        """Write down a plant and what is known of it."""
        clone = plant.clone if plant.clone != plant.plant else None
        new = records.Plant(name=plant.plant, clone=clone, source=plant.source, note=plant.note, **more)
        self.known[plant.plant] = (new.id, plant.species)
        self.records += [new, records.Determination(plant=new.id, name=plant.species)]
        findings = {"sex": plant.sex, "2n": plant.chromosomes, "self_fertile": plant.self_fertile}
        for what, value in findings.items():
            if value is not None:
                self.records.append(records.Finding(plant=new.id, what=what, value=as_text(value)))

    def find(self, name: str | None, species: str | None) -> tuple[str | None, str | None]:
        """Return the plant of a name, and the species where it is not what the plant itself is known as."""
        if name is None:
            return None, species
        if name not in self.known:
            self.take_in(Plant(name, species or name, name))
        plant, own = self.known[name]
        return plant, None if species == own else species


def _cross_records(cross: Cross, more: Mapping[str, Any], garden: _Garden) -> Iterator[Record]:
    extra: dict[type[Record], dict[str, Any]] = {kind: {} for kind, _ in EXTRA.values()}
    for column, value in more.items():
        kind, field_name = EXTRA[column]
        extra[kind][field_name] = value
    seed_plant, seed_parent = garden.find(cross.seed_plant, cross.seed_parent)
    made = records.Cross(
        id=cross.id or new_id(),
        number=cross.cross,
        seed_plant=seed_plant,
        seed_parent=seed_parent,
        **_shared(cross, _OF_CROSS),
        **extra[records.Cross],
    )
    shared = _shared(cross, _OF_VISIT)
    visit = records.Pollination(cross=made.id, who=cross.grower, **shared, **extra[records.Pollination])
    yield made
    yield visit
    if cross.pollen_parent is not None or cross.pollen_plant is not None:
        pollen_plant, pollen_parent = garden.find(cross.pollen_plant, cross.pollen_parent)
        yield records.Pollen(pollination=visit.id, plant=pollen_plant, name=pollen_parent)
    yield from _outcome_records(made.id, cross, extra)


def _outcome_records(made: str, cross: Cross, extra: Mapping[type[Record], Mapping[str, Any]]) -> Iterator[Record]:
    for what, count in _shared(cross, _COUNTED).items():
        if count is not None:
            yield records.Observation(cross=made, what=what, count=count)
    if cross.seeds is not None or cross.seeds_filled is not None or extra[records.SeedLot]:
        yield records.SeedLot(cross=made, seeds=cross.seeds, filled=cross.seeds_filled, **extra[records.SeedLot])
    first = extra[records.Emergence]
    if cross.seeds_sown is not None or cross.seedlings is not None or extra[records.Sowing] or first:
        sowing = records.Sowing(cross=made, seeds=cross.seeds_sown, **extra[records.Sowing])
        yield sowing
        if cross.seedlings is not None:
            yield records.Emergence(sowing=sowing.id, highest=cross.seedlings)
        if first:  # a look of its own, at which one was up
            yield records.Emergence(sowing=sowing.id, up=1, **first)
    if cross.lost_to is not None:
        yield records.Loss(cross=made, cause=cross.lost_to, **extra[records.Loss])
    if cross.proof is not None:
        yield records.Proof(cross=made, verdict=cross.proof)


def _shared(cross: Cross, names: Iterable[str]) -> dict[str, Any]:
    return {name: getattr(cross, name) for name in names}
