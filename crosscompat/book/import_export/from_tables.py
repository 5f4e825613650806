"""Plants and crosses of a table, a line each, as records of a book."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from crosscompat.book import records
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.record_fields import read_fields
from crosscompat.book.records import Record, new_id
from crosscompat.book.store import Reading
from crosscompat.ground.csv_cells import Cells, Sheet
from crosscompat.ground.csv_convert import as_text
from crosscompat.ground.errors import Fault

EXTRA: Mapping[str, type[Record]] = MappingProxyType(
    {
        "aim": records.Cross,
        "wanted": records.Cross,
        "hour": records.Pollination,
        "marker": records.Pollination,
        "temperature": records.Pollination,
        "humidity": records.Pollination,
        "weight": records.SeedLot,
    }
)
"""Columns, and the kind of record that holds each."""

_EXTRA_KINDS = tuple(dict.fromkeys(EXTRA.values()))


def extra_in(sheet: Sheet, faults: list[Fault]) -> dict[int, dict[str, Any]]:
    """Return what each row says beyond the summary, by its number; what cannot be read adds a fault."""
    found = {}
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        values = [item for kind in _EXTRA_KINDS for item in read_fields(cells, kind, EXTRA.keys()).items()]
        found[row.number] = {name: value for name, value in values if value is not None}
    return found


def extra_noted(page: Reading) -> Mapping[str, Mapping[str, set[Any]]]:
    """Return what the book says of each cross beyond the summary, by its identifier."""
    found: dict[str, dict[str, set[Any]]] = defaultdict(lambda: defaultdict(set))
    for name, kind in EXTRA.items():
        for cross, value in page.columns(kind, _cross_column(kind), name):
            found[cross][name].add(value)
    return found


def with_extra(found: Iterable[Record], extra: Mapping[str, Mapping[str, Any]]) -> Iterator[Record]:
    """Yield records with what their rows said beyond the summary.

    Parameters
    ----------
    found : iterable of Record
        Those of new crosses.
    extra : mapping
        By the identifier of the cross, then by column.
    """
    weighed = set()
    for record in found:
        cross = getattr(record, _cross_column(type(record)), "")
        own = {name: value for name, value in extra.get(cross, {}).items() if EXTRA[name] is type(record)}
        weighed |= {cross} if isinstance(record, records.SeedLot) else set()
        yield replace(record, **own) if own else record
    for cross, values in extra.items():
        if values.get("weight") is not None and cross not in weighed:
            yield records.SeedLot(cross=cross, weight=values["weight"])


def _cross_column(kind: type[Record]) -> str:
    return "id" if kind is records.Cross else "cross"


_OF_CROSS = ("kind", "only_successes", "closed_stage", "source", "recorded_at", "note")
_OF_VISIT = ("date", "unit_kind", "units", "pollen_kind", "technique", "stamens_removed", "isolation")
_COUNTED = ("pods_set", "pods_held", "tried", "took")


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
    garden = _Garden(dict(standing))
    for plant in plants.by_name.values():
        garden.take_in(plant)
    found = [record for cross in crosses for record in _cross_records(cross, garden)]
    return [*garden.records, *found]


@dataclass(slots=True)
class _Garden:
    """The plants taken in so far: identifier and species by name."""

    known: dict[str, tuple[str, str]]
    records: list[Record] = field(default_factory=list)

    def take_in(self, plant: Plant) -> None:
        """Write down a plant and what is known of it."""
        clone = plant.clone if plant.clone != plant.plant else None
        new = records.Plant(name=plant.plant, clone=clone, source=plant.source, note=plant.note)
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


def _cross_records(cross: Cross, garden: _Garden) -> Iterator[Record]:
    seed_plant, seed_parent = garden.find(cross.seed_plant, cross.seed_parent)
    made = records.Cross(
        id=cross.id or new_id(),
        number=cross.cross,
        seed_plant=seed_plant,
        seed_parent=seed_parent,
        **_shared(cross, _OF_CROSS),
    )
    visit = records.Pollination(cross=made.id, who=cross.grower, **_shared(cross, _OF_VISIT))
    yield made
    yield visit
    if cross.pollen_parent is not None or cross.pollen_plant is not None:
        plant, name = garden.find(cross.pollen_plant, cross.pollen_parent)
        yield records.Pollen(pollination=visit.id, plant=plant, name=name)
    for what, count in _shared(cross, _COUNTED).items():
        if count is not None:
            yield records.Observation(cross=made.id, what=what, count=count)
    if cross.seeds is not None or cross.seeds_filled is not None:
        yield records.SeedLot(cross=made.id, seeds=cross.seeds, filled=cross.seeds_filled)
    if cross.seeds_sown is not None or cross.seedlings is not None:
        sowing = records.Sowing(cross=made.id, seeds=cross.seeds_sown)
        yield sowing
        if cross.seedlings is not None:
            yield records.Emergence(sowing=sowing.id, highest=cross.seedlings)
    if cross.lost_to is not None:
        yield records.Loss(cross=made.id, cause=cross.lost_to)
    if cross.proof is not None:
        yield records.Proof(cross=made.id, verdict=cross.proof)


def _shared(cross: Cross, names: Iterable[str]) -> dict[str, Any]:
    return {name: getattr(cross, name) for name in names}
