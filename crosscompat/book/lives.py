"""The life of each cross of a book, in days: what was done, what was seen and when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from crosscompat.book import records
from crosscompat.book.bench import species_of
from crosscompat.book.store import Reading

__all__ = ["Life", "Tray", "lives_of"]


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
    """

    id: str
    sown: date | None
    seeds: int | None = None
    place: str | None = None
    looks: list[tuple[date | None, int]] = field(default_factory=list)
    lost: bool = False

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
    brushed : list of date
        The visits with new flowers.
    swelling : list of (date or None, int)
        When pods were looked at, and how many had set by then.
    dropped : int
    ripe : list of (date or None, int)
        Ripe pods counted or harvested.
    harvested : list of date or None
    seed : int or None
        Good seed of all harvests; None where one was not counted.
    trays : list of Tray
    over : bool
        Whether it was lost as a whole, counted unit by unit, or called over.
    """

    id: str
    number: str
    kind: str = "cross"
    seed_parent: str = ""
    pollen_parent: str = ""
    plant: str | None = None
    place: str | None = None
    marker: str | None = None
    brushed: list[date] = field(default_factory=list)
    swelling: list[tuple[date | None, int]] = field(default_factory=list)
    dropped: int = 0
    ripe: list[tuple[date | None, int]] = field(default_factory=list)
    harvested: list[date | None] = field(default_factory=list)
    seed: int | None = 0
    trays: list[Tray] = field(default_factory=list)
    over: bool = False

    @property
    def pods(self) -> int | None:
        """Pods that had set, None before anybody looked."""
        return max((n for _, n in self.swelling), default=None)


def lives_of(page: Reading, as_of: date) -> tuple[Life, ...]:
    """Return the life of every cross of a book up to some day, in the order in which they were first written.

    What has a later date has not happened yet; what has no date has.
    """
    lives = _crosses(page)
    _visits(page, lives, as_of)
    _pods(page, lives, as_of)
    _trays(page, lives, as_of)
    return tuple(lives.values())


def _crosses(page: Reading) -> dict[str, Life]:
    species = species_of(page)
    plants = {id_: (name, place) for id_, name, place in page.columns(records.Plant, "id", "name", "place")}
    lives = {}
    columns = ("id", "number", "kind", "seed_plant", "seed_parent", "closed_stage")
    for id_, number, kind, plant, seed, closed in page.columns(records.Cross, *columns, in_order=True):
        name, place = plants.get(plant, (None, None))
        life = Life(id_, number or "", kind, seed or species.get(plant, ""), "", name, place)
        life.over = closed == "germinate"
        lives[id_] = life
    return lives


def _visits(page: Reading, lives: Mapping[str, Life], as_of: date) -> None:
    species = species_of(page)
    of_visit = {}
    columns = ("id", "cross", "date", "flowers", "marker")
    for id_, cross, day, flowers, marker in page.columns(records.Pollination, *columns, in_order=True):
        of_visit[id_] = lives[cross]
        lives[cross].marker = lives[cross].marker or marker
        if flowers == "new" and day <= as_of:
            lives[cross].brushed.append(day)
    fathers: dict[str, set[str]] = defaultdict(set)
    for visit, plant, name in page.columns(records.Pollen, "pollination", "plant", "name"):
        fathers[of_visit[visit].id].add(name or species.get(plant, ""))
    for cross, names in fathers.items():
        lives[cross].pollen_parent = names.pop() if len(names) == 1 else ""


def _pods(page: Reading, lives: Mapping[str, Life], as_of: date) -> None:
    for cross, day, what, count in page.columns(records.Observation, "cross", "date", "what", "count"):
        life = lives[cross]
        if _later(day, as_of):
            continue
        if what == "pods_set":
            life.swelling.append((day, count))
        elif what == "pods_dropped":
            life.dropped += count
        elif what == "pods_held":
            life.ripe.append((day, count))
        else:
            life.over = True
    for cross, day, pods, *seed in page.columns(records.SeedLot, "cross", "date", "pods", "filled", "seeds"):
        if _later(day, as_of):
            continue
        life = lives[cross]
        life.harvested.append(day)
        life.ripe.append((day, pods or 1))
        good = next((n for n in seed if n is not None), None)
        life.seed = None if good is None or life.seed is None else life.seed + good


def _trays(page: Reading, lives: Mapping[str, Life], as_of: date) -> None:
    trays = {}
    for id_, cross, day, seeds, place in page.columns(records.Sowing, "id", "cross", "date", "seeds", "place"):
        trays[id_] = Tray(id_, day, seeds, place)
        if not _later(day, as_of):
            lives[cross].trays.append(trays[id_])
    for sowing, day, *up in page.columns(records.Emergence, "sowing", "date", "up", "highest"):
        seen = [n for n in up if n is not None]
        if seen and not _later(day, as_of):
            trays[sowing].looks.append((day, max(seen)))
    for cross, sowing, day in page.columns(records.Loss, "cross", "sowing", "date"):
        if _later(day, as_of):
            continue
        if sowing is None:
            lives[cross].over = True
        else:
            trays[sowing].lost = True


def _later(day: date | None, as_of: date) -> bool:
    return day is not None and day > as_of
