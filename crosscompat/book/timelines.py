"""The life of each cross of a book, in days: what was done, what was seen and when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from crosscompat.book.cross_summary import CrossRecords, all_cross_records, pollen_parent
from crosscompat.book.current_plants import species_of
from crosscompat.book.records import FLOWERS, STAGES, Plant
from crosscompat.book.store import Reading

__all__ = ["Life", "Look", "Lot", "Tray", "lives_of"]

Look = tuple[date | None, int]


@dataclass(frozen=True, slots=True)
class Lot:
    """One harvest: how many pods and good seeds, None where not counted, and whether any is left to sow."""

    id: str
    day: date | None
    pods: int | None = None
    good: int | None = None
    left: int | None = None


@dataclass(frozen=True, slots=True)
class Tray:
    """One sowing of a cross: when it was looked at with the highest number up by then, and whether it was lost."""

    id: str
    sown: date | None
    seeds: int | None = None
    place: str | None = None
    looks: Sequence[Look] = ()
    lost: bool = False
    lot: str | None = None

    @property
    def up(self) -> int:
        """The highest number that was ever up."""
        return max((n for _, n in self.looks), default=0)


@dataclass(frozen=True, slots=True)
class Life:
    """All that was done with and seen of one cross.

    Attributes
    ----------
    kind : str
        One of ``CROSS_KINDS``.
    seed_parent, pollen_parent : str
        Species; the second is blank where there is none, or none that is known.
    plant, place, marker : str or None
        The seed plant, where it stands, and what marks the flowers.
    died : date or None
        When the seed plant died.
    pollen_kind : str or None
        One of ``POLLEN_KINDS``; ``several`` too where pollen of several was brought.
    brushed : sequence of date
        The visits with new flowers, from the earliest to the latest.
    swelling, ripe : sequence of (date or None, int)
        When pods were looked at and how many had set by then; ripe pods counted or harvested.
    closed : str or None
        The last stage that the grower calls over.
    over : bool
        Whether it was lost as a whole, counted unit by unit, or called over to the end.
    """

    id: str
    number: str
    kind: str = "cross"
    seed_parent: str = ""
    pollen_parent: str = ""
    plant: str | None = None
    place: str | None = None
    marker: str | None = None
    died: date | None = None
    pollen_kind: str | None = None
    brushed: Sequence[date] = ()
    swelling: Sequence[Look] = ()
    dropped: int = 0
    ripe: Sequence[Look] = ()
    lots: Sequence[Lot] = ()
    trays: Sequence[Tray] = ()
    closed: str | None = None
    over: bool = False

    @property
    def pods(self) -> int | None:
        """Pods that had set, None before anybody looked."""
        return max([n for _, n in self.swelling], default=None)


def lives_of(page: Reading, as_of: date) -> tuple[Life, ...]:
    """Return the life of every cross of a book up to some day, in the order in which they were first written.

    What has a later date has not happened yet; what has no date has. Nobody writes down when a stage was called over:
    where something was seen later, it was not yet.
    """
    species = species_of(page)
    plants = {plant.id: plant for plant in page.current(Plant)}
    return tuple(_life(every, plants, species, as_of) for every in all_cross_records(page).values())


def _life(every: CrossRecords, plants: Mapping[str, Plant], species: Mapping[str, str], as_of: date) -> Life:
    cross, plant = every.cross, plants.get(every.cross.seed_plant or "")
    seen = (every.counts, every.lots, every.trays, every.looks, every.losses)
    closed = None if any(_later(one.date, as_of) for part in seen for one in part) else cross.closed_stage
    counts = [one for one in every.counts if not _later(one.date, as_of)]
    lots = [lot for lot in every.lots if not _later(lot.date, as_of)]
    lost = {loss.sowing for loss in every.losses if not _later(loss.date, as_of)}
    parent, _ = pollen_parent(every.pollen, {}, species)
    certain = {one.name or species.get(one.plant or "") for one in every.pollen if one.certainty != "unknown"} - {None}
    kinds = [visit.pollen_kind for visit in every.visits if visit.pollen_kind]
    return Life(
        cross.id,
        cross.number or "",
        cross.kind,
        cross.seed_parent or species.get(cross.seed_plant or "", ""),
        parent or "",
        plant=plant.name if plant else None,
        place=plant.place if plant else None,
        marker=next((visit.marker for visit in every.visits if visit.marker), None),
        died=plant.died if plant and not _later(plant.died, as_of) else None,
        pollen_kind="several" if len(certain) > 1 else next(iter(kinds), None),
        brushed=sorted(one.date for one in every.visits if one.flowers == FLOWERS[0] and one.date <= as_of),
        swelling=[(one.date, one.count) for one in counts if one.what == "pods_set"],
        dropped=sum(one.count for one in counts if one.what == "pods_dropped"),
        ripe=[
            *((one.date, one.count) for one in counts if one.what == "pods_held"),
            *((lot.date, 1 if lot.pods is None else lot.pods) for lot in lots),
        ],
        lots=[
            Lot(lot.id, lot.date, lot.pods, lot.seeds if lot.filled is None else lot.filled, lot.left) for lot in lots
        ],
        trays=_trays(every, lost, as_of),
        closed=closed,
        over=None in lost or closed == STAGES[-1] or any(one.what in {"tried", "took"} for one in counts),
    )


def _trays(every: CrossRecords, lost: set[str | None], as_of: date) -> list[Tray]:
    looks: dict[str, list[Look]] = {tray.id: [] for tray in every.trays}
    for look in every.looks:
        up = [n for n in (look.up, look.highest) if n is not None]
        if up and not _later(look.date, as_of):
            looks[look.sowing].append((look.date, max(up)))
    return [
        Tray(tray.id, tray.date, tray.seeds, tray.place, looks[tray.id], tray.id in lost, tray.lot)
        for tray in every.trays
        if not _later(tray.date, as_of)
    ]


def _later(day: date | None, as_of: date) -> bool:
    return day is not None and day > as_of
