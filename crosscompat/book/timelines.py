"""The life of each cross of a book, in days: what was done, what was seen and when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from crosscompat.book import records
from crosscompat.book.current_plants import species_of
from crosscompat.book.records import FLOWERS, STAGES
from crosscompat.book.store import Reading

__all__ = ["Life", "Lot", "Tray", "lives_of"]

_UNSURE = "unknown"


@dataclass(frozen=True, slots=True)
class Lot:
    """One harvest: how many pods and good seeds, None where not counted, and whether any is left to sow."""

    id: str
    day: date | None
    pods: int | None = None
    good: int | None = None
    left: int | None = None


@dataclass(slots=True)
class Tray:
    """One sowing of a cross.

    Attributes
    ----------
    id : str
    sown : date or None
    seeds : int or None
    place : str or None
    looks : list of (date or None, int)
        When it was looked at, and the highest number that was up by then.
    lost : bool
        Whether an accident took it.
    lot : str or None
        The harvest that its seed is of.
    """

    id: str
    sown: date | None
    seeds: int | None = None
    place: str | None = None
    looks: list[tuple[date | None, int]] = field(default_factory=list)
    lost: bool = False
    lot: str | None = None

    @property
    def up(self) -> int:
        """The highest number that was ever up."""
        return max((n for _, n in self.looks), default=0)


@dataclass(slots=True)
class Life:
    """All that was done with and seen of one cross.

    Attributes
    ----------
    id, number : str
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
    brushed : list of date
        The visits with new flowers, from the earliest to the latest.
    swelling : list of (date or None, int)
        When pods were looked at, and how many had set by then.
    dropped : int
    ripe : list of (date or None, int)
        Ripe pods counted or harvested.
    lots : list of Lot
        The harvests.
    trays : list of Tray
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
    brushed: list[date] = field(default_factory=list)
    swelling: list[tuple[date | None, int]] = field(default_factory=list)
    dropped: int = 0
    ripe: list[tuple[date | None, int]] = field(default_factory=list)
    lots: list[Lot] = field(default_factory=list)
    trays: list[Tray] = field(default_factory=list)
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
    lives = _crosses(page, species, as_of)
    _visits(page, lives, as_of)
    _fathers(page, lives, species)
    _pods(page, lives, as_of)
    _trays(page, lives, as_of)
    for life in lives.values():
        life.over = life.over or life.closed == STAGES[-1]
    return tuple(lives.values())


def _crosses(page: Reading, species: Mapping[str, str], as_of: date) -> dict[str, Life]:
    plants = {id_: told for id_, *told in page.columns(records.Plant, "id", "name", "place", "died")}
    lives = {}
    columns = ("id", "number", "kind", "seed_plant", "seed_parent", "closed_stage")
    for id_, number, kind, plant, seed, closed in page.columns(records.Cross, *columns, in_order=True):
        name, place, died = plants.get(plant, (None, None, None))
        life = Life(id_, number or "", kind, seed or species.get(plant, ""), "", name, place, closed=closed)
        life.died = None if _later(died, as_of) else died
        lives[id_] = life
    return lives


def _visits(page: Reading, lives: Mapping[str, Life], as_of: date) -> None:
    columns = ("cross", "date", "flowers", "marker", "pollen_kind")
    for cross, day, flowers, marker, kind in page.columns(records.Pollination, *columns, in_order=True):
        life = lives[cross]
        life.marker = life.marker or marker
        life.pollen_kind = life.pollen_kind or kind
        if flowers == FLOWERS[0] and day <= as_of:
            life.brushed.append(day)
    for life in lives.values():
        life.brushed.sort()


def _fathers(page: Reading, lives: Mapping[str, Life], species: Mapping[str, str]) -> None:
    """Note the pollen parent of each cross, where it is one and is known."""
    of_visit = dict(page.columns(records.Pollination, "id", "cross"))
    fathers: dict[str, set[str | None]] = defaultdict(set)
    for visit, plant, name, certainty in page.columns(records.Pollen, "pollination", "plant", "name", "certainty"):
        fathers[of_visit[visit]].add(None if certainty == _UNSURE else name or species.get(plant))
    for cross, names in fathers.items():
        known = names - {None}
        if names == known and len(known) == 1:
            lives[cross].pollen_parent = known.pop() or ""
        elif len(known) > 1:
            lives[cross].pollen_kind = "several"


def _pods(page: Reading, lives: Mapping[str, Life], as_of: date) -> None:
    for cross, day, what, count in page.columns(records.Observation, "cross", "date", "what", "count"):
        life = lives[cross]
        if _later(day, as_of):
            life.closed = None
        elif what == "pods_set":
            life.swelling.append((day, count))
        elif what == "pods_dropped":
            life.dropped += count
        elif what == "pods_held":
            life.ripe.append((day, count))
        else:
            life.over = True
    columns = ("id", "cross", "date", "pods", "filled", "seeds", "left")
    for id_, cross, day, pods, filled, seeds, left in page.columns(records.SeedLot, *columns):
        if _later(day, as_of):
            lives[cross].closed = None
        else:
            lives[cross].lots.append(Lot(id_, day, pods, seeds if filled is None else filled, left))
            lives[cross].ripe.append((day, 1 if pods is None else pods))


def _trays(page: Reading, lives: Mapping[str, Life], as_of: date) -> None:
    trays, owner = {}, {}
    columns = ("id", "cross", "date", "seeds", "place", "lot")
    for id_, cross, day, seeds, place, lot in page.columns(records.Sowing, *columns):
        trays[id_], owner[id_] = Tray(id_, day, seeds, place, lot=lot), lives[cross]
        if _later(day, as_of):
            lives[cross].closed = None
        else:
            lives[cross].trays.append(trays[id_])
    for sowing, day, *up in page.columns(records.Emergence, "sowing", "date", "up", "highest"):
        seen = [n for n in up if n is not None]
        if _later(day, as_of):
            owner[sowing].closed = None
        elif seen:
            trays[sowing].looks.append((day, max(seen)))
    for cross, sowing, day in page.columns(records.Loss, "cross", "sowing", "date"):
        if _later(day, as_of):
            lives[cross].closed = None
        elif sowing is None:
            lives[cross].over = True
        else:
            trays[sowing].lost = True


def _later(day: date | None, as_of: date) -> bool:
    return day is not None and day > as_of
