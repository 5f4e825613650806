"""Who takes part in a visit with the brush, what cannot be about it, and what may go wrong, by what is known.

Unknown is never a hindrance. What cannot be may be written down all the same; the visit is marked with its ``kind``
then, and the finding that it contradicts is queried.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date

from crosscompat.advice.parents import Caution, Parent, find_parent
from crosscompat.advice.season.mating import (
    DEAD_POLLEN,
    DEAD_SEED,
    FEMALE_POLLEN,
    MALE_SEED,
    ONE_CLONE,
    bars,
    pollen_age,
)
from crosscompat.book import records
from crosscompat.book.cross_summary import CrossRecords
from crosscompat.book.crosses import find_label
from crosscompat.book.current_plants import Plant, Sighting, Window, usual_window
from crosscompat.book.numbers_and_names import nearest_names
from crosscompat.book.records import PollenLot, Pollination
from crosscompat.book.timelines import pollen_keeps
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of, spoken_date
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import NameIndex, correct_form, fold, read_name
from crosscompat.ground.wording import say

LATER_POLLEN = "pollen collected after the visit"
ANOTHER_SEASON, CROSS_OVER, CROSS_LOST = "cross of another season", "cross that is over", "cross that was lost"

ASKED_ONLY = (ANOTHER_SEASON, CROSS_OVER, CROSS_LOST)
"""What can be and is yet asked about; nothing is marked with it."""

QUERIED = {MALE_SEED: "male", FEMALE_POLLEN: "female"}
"""The finding that each of these contradicts."""

_BARRED = {
    MALE_SEED: "rules.male_seed", FEMALE_POLLEN: "rules.female_pollen", ONE_CLONE: "rules.one_clone",
    DEAD_SEED: "rules.dead", DEAD_POLLEN: "rules.dead",
}  # fmt: skip
_SHEDS = ("male", "both", "male that sometimes fruits")
_BROUGHT = ("one", "several", "sib")
_UNNAMED = ("sp.", "aff.", "cf.")
"""What stands in a name of which only the genus is sure."""

_SPARE = 14
"""Days before and after a plant's usual window that are no surprise: a judgement."""


@dataclass(frozen=True, slots=True)
class VisitParent:
    """One parent of a visit: a plant of the book, or a species, or whatever else was written. None is unknown.

    ``name`` is the plant's own, or the species; ``id`` that of its record; ``parent`` its place on the tree;
    ``unknown`` says why nothing here answers to the name, with the nearest.
    """

    name: str
    species: str
    plant: Plant | None = None
    id: str | None = None
    place: str | None = None
    parent: Parent | None = None
    self_fertile: bool | None = None
    window: Window | None = None
    unknown: str = ""

    @property
    def own_name(self) -> str | None:
        """The plant's own name; None where only a species is known."""
        return self.name if self.plant else None

    @property
    def written(self) -> str | None:
        """What is written down as its name; None for a plant of the book."""
        return None if self.id else self.species

    @property
    def sex(self) -> str | None:
        """What was found on the plant."""
        return self.plant.sex if self.plant else None

    def same_clone(self, other: VisitParent) -> bool:
        """Tell whether both are known to be one plant, or offsets of one."""
        return self.plant is not None and other.plant is not None and self.plant.clone == other.plant.clone

    def out_of_bloom(self, day: date) -> bool:
        """Tell whether it was often seen open, and never near a day."""
        return self.window is not None and self.window.trusted and self.window.away(day) > _SPARE


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A visit with all who take part in it.

    ``made`` is what is said of the visit itself, its kind of pollen known; ``pollen`` are those whose pollen was
    brought, the seed parent itself where it was selfed on purpose; ``near`` the other plants of the seed parent's own
    kind, and ``named`` the cross that the grower named for it.
    """

    made: Pollination
    seed: VisitParent
    pollen: tuple[VisitParent, ...] = ()
    lot: PollenLot | None = None
    near: tuple[VisitParent, ...] = ()
    named: CrossRecords | None = None
    season_start: str = "01-01"

    @property
    def parents(self) -> tuple[VisitParent, ...]:
        """The seed parent, then the others."""
        return (self.seed, *self.pollen)


@dataclass(frozen=True, slots=True)
class KnownPlants:
    """The plants of a book: their records by own name, and when each was seen by its identifier."""

    collection: Collection
    plants: Mapping[str, records.Plant]
    sightings: Mapping[str, Sequence[Sighting]]

    def find(self, text: str, genus: str | None = None) -> VisitParent:
        """Return one parent: a plant by its own name, else a species, else what was written.

        A name of which only the genus is sure (sp., cf., aff.), or the formula of a hybrid, needs no place on the tree.
        Any other that nothing here answers to has the reason under ``unknown``.
        """
        name, index = fold(text), self.collection.index
        plant = self.collection.plants.find(name)
        parent = None
        with suppress(UnknownName):
            parent = find_parent(self.collection, name, genus)
        if plant is not None:
            return self._with_plant(plant, parent)
        if parent is not None:
            selfs = self._species_is_self_fertile(parent)
            return VisitParent(parent.name, parent.name, parent=parent, self_fertile=selfs)
        read = read_name(name, genus)
        if read is not None and (read.parents is not None or read.qualifier in _UNNAMED):
            written = correct_form(name, genus)
            return VisitParent(written, written)
        near = [*nearest_names(name, self.collection.plants.by_name), *index.nearest(name, 1)]
        listed = ", ".join(correct_form(one) if one in index.labels else one for one in near)
        return VisitParent(name, name, unknown=say("pollinate.unknown", name=name, nearest=listed))

    def of_one_kind(self, seed: VisitParent) -> Iterator[VisitParent]:
        """Yield the other plants of the seed parent's own kind."""
        own, index = seed.parent.label if seed.parent else seed.species, self.collection.index
        for name, plant in self.collection.plants.by_name.items():
            if name != seed.name and (find_label(index, plant.species) or plant.species) == own:
                yield self._with_plant(plant, None)

    def called(self, plant: str | None, name: str | None) -> str | None:
        """Return the own name of the plant with an identifier, else the name that was written."""
        return next((known for known, one in self.plants.items() if one.id == plant), name)

    def _with_plant(self, plant: Plant, parent: Parent | None) -> VisitParent:
        record, selfs = self.plants[plant.plant], plant.self_fertile
        selfs = self._species_is_self_fertile(parent) if selfs is None and parent else selfs
        window = usual_window(seen.date for seen in self.sightings.get(record.id, ()) if seen.flowers != 0)
        name, species = plant.plant, parent.name if parent else plant.species
        return VisitParent(name, species, plant, record.id, record.place, parent, selfs, window)

    def _species_is_self_fertile(self, parent: Parent) -> bool | None:
        value = self.collection.trait(parent.label, "self_fertile")
        return value if isinstance(value, bool) else None


def misspelt(index: NameIndex, text: str) -> list[str]:
    """Return a sentence for each species in a name that has no place on the tree but is spelt like one that has.

    None for a name of which only the genus is sure.
    """
    read = read_name(text)
    if read is None:
        return []
    if read.parents is not None:
        return [says for parent in read.parents for says in misspelt(index, str(parent))]
    name = correct_form(text)
    if read.qualifier in _UNNAMED or find_label(index, name) is not None:
        return []
    near = nearest_names(name, [correct_form(one) for one in index.nearest(name, 3)])
    return [say("pollinate.unplaced", name=name, nearest=", ".join(near))] if near else []


def obstacles(visit: Visit) -> list[Caution]:
    """Return what cannot be about a visit, the seed parent first, then what is asked about the cross it is to go to."""
    seed, day, lot = visit.seed, visit.made.date, visit.lot
    meant = (ONE_CLONE, DEAD_POLLEN) if visit.made.pollen_kind == "self" else ()
    found = [_barred(kind, seed, seed) for kind in bars(seed.plant, None, day)]
    for giver in visit.pollen:
        kinds = bars(seed.plant, giver.plant, day, day if lot is None else lot.collected)
        found += [_barred(kind, seed, giver) for kind in kinds if kind not in {MALE_SEED, DEAD_SEED, *meant}]
    if lot is not None and lot.collected is not None and lot.collected > day:
        found.append(Caution(LATER_POLLEN, say("rules.later", lot=lot.name, date=spoken_date(lot.collected))))
    if visit.named is not None:
        found += _cross_obstacles(visit, visit.named)
    return list(dict.fromkeys(found))


def _barred(kind: str, seed: VisitParent, parent: VisitParent) -> Caution:
    died = spoken_date(parent.plant.died) if parent.plant and parent.plant.died else ""
    return Caution(kind, say(_BARRED[kind], plant=parent.name, date=died, seed=seed.name, pollen=parent.name))


def _cross_obstacles(visit: Visit, every: CrossRecords) -> Iterator[Caution]:
    number, day = every.cross.number or every.cross.id, visit.made.date
    then, now = (season_of(one, visit.season_start) for one in (every.first_day or day, day))
    lost = [loss.cause for loss in every.losses if loss.sowing is None]
    if then != now:
        yield Caution(ANOTHER_SEASON, say("rules.another_season", cross=number, season=str(then), now=str(now)))
    if every.cross.closed_stage is not None:
        yield Caution(CROSS_OVER, say("rules.cross_over", cross=number, stage=every.cross.closed_stage))
    if lost:
        yield Caution(CROSS_LOST, say("rules.cross_lost", cross=number, cause=lost[-1]))


def risks(visit: Visit) -> list[Caution]:
    """Return what may go wrong with a visit, each once: isolation, stamens and selfing, window, stored pollen."""
    return list(dict.fromkeys([*_flower_risks(visit), *_pollen_risks(visit)]))


def shedding(visit: Visit) -> list[VisitParent]:
    """Return the plants of the seed parent's own kind whose pollen may come to it by itself.

    Those that are known to shed pollen, live, and may be in flower; not where both are known to stand apart, and not
    the parents of the visit or offsets of them.
    """
    day = visit.made.date
    return [
        other
        for other in visit.near
        if other.sex in _SHEDS
        and DEAD_POLLEN not in bars(None, other.plant, day, day)
        and not any(other.same_clone(parent) for parent in visit.parents)
        and not (other.place and visit.seed.place and other.place != visit.seed.place)
        and not other.out_of_bloom(day)
    ]


def _flower_risks(visit: Visit) -> Iterator[Caution]:
    seed, made = visit.seed, visit.made
    beside = [] if made.pollen_kind == "open" or made.isolation not in {None, "none"} else shedding(visit)
    if made.pollen_kind == "none" and made.isolation in {None, "none"}:
        yield Caution("isolation", say("rules.left_alone"))
    elif beside:
        names = ", ".join(other.name for other in beside)
        yield Caution("isolation", say("rules.unbagged", names=names, n=len(beside)))
    if made.pollen_kind == "self" and seed.self_fertile is False:
        yield Caution("selfing", say("rules.self_sterile", plant=seed.name))
    left_in = made.stamens_removed is not True and seed.sex != "female"
    if made.pollen_kind in _BROUGHT and seed.self_fertile is True and left_in:
        noted = "left" if made.stamens_removed is False else "not_noted"
        yield Caution("stamens", say(f"rules.stamens_{noted}", plant=seed.name))


def _pollen_risks(visit: Visit) -> Iterator[Caution]:
    lot, day = visit.lot, visit.made.date
    fresh = visit.pollen if lot is None and visit.made.pollen_kind in _BROUGHT else ()
    for parent in (visit.seed, *fresh):
        if parent.window is not None and parent.out_of_bloom(day):
            yield Caution("window", say("rules.window", plant=parent.name, window=parent.window.words))
    if lot is None:
        return
    if lot.collected is None and lot.tested is None:
        yield Caution("lot", say("rules.lot_undated", lot=lot.name))
    days, trusted = pollen_age(lot, day) or 0, pollen_keeps(lot.kept) or pollen_keeps("room")
    if trusted is not None and days > trusted:
        kept = say("rules.kept", where=lot.kept) if lot.kept else ""
        key = "tested" if lot.tested is not None and (day - lot.tested).days == days else "collected"
        yield Caution("lot", say(f"rules.lot_{key}", lot=lot.name, n=days, kept=kept))


def contradicted(sex: str | None, marks: Sequence[str]) -> str | None:
    """Return the mark of a visit that contradicts what was found of a plant's sex; None if none does.

    Examples
    --------
    >>> contradicted("male", ["male as seed parent"]), contradicted("both", ["male as seed parent"])
    ('male as seed parent', None)
    """
    return next((mark for mark in marks if sex is not None and QUERIED.get(mark) == sex), None)
