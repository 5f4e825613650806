"""What cannot be, and what may go wrong, when pollen is brought to a flower: judged from what is known, and no more.

Unknown is never a hindrance. What cannot be may be written down all the same; the visit is marked with its ``kind``
then, and the finding that it contradicts is queried.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from crosscompat.advice.parents import Caution, Parent
from crosscompat.book.cross_summary import CrossRecords
from crosscompat.book.current_plants import Plant, Window
from crosscompat.book.records import PollenLot, Pollination
from crosscompat.ground.dates import season_of, spoken_date
from crosscompat.ground.wording import say

MALE_SEED, FEMALE_POLLEN = "male as seed parent", "female as pollen parent"
ONE_CLONE = "selfing within a clone"
DEAD_SEED, DEAD_POLLEN = "dead seed parent", "dead pollen parent"
LATER_POLLEN = "pollen collected after the visit"
ANOTHER_SEASON, CROSS_OVER, CROSS_LOST = "cross of another season", "cross that is over", "cross that was lost"

ASKED_ONLY = (ANOTHER_SEASON, CROSS_OVER, CROSS_LOST)
"""What can be and is yet asked about; nothing is marked with it."""

QUERIED = {MALE_SEED: "male", FEMALE_POLLEN: "female"}
"""The finding that each of these contradicts."""

_SHEDS = ("male", "both", "male that sometimes fruits")
_BROUGHT = ("one", "several", "sib")
_SPARE = 14
"""Days before and after a plant's usual window that are no surprise: a judgement."""

_KEEPS = (("freez", 365), ("fridge", 60), ("refrig", 60), ("", 7))
"""Days that pollen is commonly trusted, by where it is kept: common practice, no source."""


@dataclass(frozen=True, slots=True)
class VisitParent:
    """One parent of a visit: a plant of the book, or a species, or whatever else was written. None is unknown.

    Attributes
    ----------
    name, species : str
        The plant's own name, or the species; the species in correct form where it has a place on the tree.
    id : str or None
        Of the plant's record.
    parent : Parent or None
        Its place on the tree.
    unknown : str
        Why nothing here answers to the name, with the nearest; else empty.
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

    @property
    def died(self) -> date | None:
        """The day on which the plant was lost."""
        return self.plant.died if self.plant else None

    def dead_on(self, day: date | None) -> bool:
        """Tell whether it is known to have died before a day."""
        return self.died is not None and day is not None and self.died < day

    def same_clone(self, other: VisitParent) -> bool:
        """Tell whether both are known to be one plant, or offsets of one."""
        return self.plant is not None and other.plant is not None and self.plant.clone == other.plant.clone

    def out_of_bloom(self, day: date) -> bool:
        """Tell whether it was often seen open, and never near a day."""
        return self.window is not None and self.window.trusted and self.window.away(day) > _SPARE


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A visit with all who take part in it.

    Attributes
    ----------
    made : Pollination
        What is said of the visit itself; its kind of pollen is known.
    pollen, near : tuple of VisitParent
        Those whose pollen was brought, the seed parent itself where it was selfed on purpose; and the other plants of
        the seed parent's own kind.
    named : CrossRecords or None
        The cross that the grower named for it.
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


def obstacles(visit: Visit) -> list[Caution]:
    """Return what cannot be about a visit, the seed parent first, then what is asked about the cross it is to go to."""
    seed, day, lot = visit.seed, visit.made.date, visit.lot
    found: list[Caution] = []
    if seed.sex == "male":
        found.append(Caution(MALE_SEED, say("rules.male_seed", plant=seed.name)))
    if seed.dead_on(day):
        found.append(_dead(DEAD_SEED, seed))
    for giver in visit.pollen:
        found += _giver_obstacles(visit, giver)
    if lot is not None and lot.collected is not None and lot.collected > day:
        found.append(Caution(LATER_POLLEN, say("rules.later", lot=lot.name, date=spoken_date(lot.collected))))
    if visit.named is not None:
        found += _cross_obstacles(visit, visit.named)
    return list(dict.fromkeys(found))


def _dead(kind: str, parent: VisitParent) -> Caution:
    return Caution(kind, say("rules.dead", plant=parent.name, date=spoken_date(parent.died) if parent.died else ""))


def _giver_obstacles(visit: Visit, giver: VisitParent) -> Iterator[Caution]:
    given_on = visit.made.date if visit.lot is None else visit.lot.collected
    if giver.sex == "female":
        yield Caution(FEMALE_POLLEN, say("rules.female_pollen", plant=giver.name))
    if visit.made.pollen_kind in _BROUGHT and visit.seed.same_clone(giver):
        yield Caution(ONE_CLONE, say("rules.one_clone", seed=visit.seed.name, pollen=giver.name))
    if visit.made.pollen_kind != "self" and giver.dead_on(given_on):
        yield _dead(DEAD_POLLEN, giver)


def _cross_obstacles(visit: Visit, every: CrossRecords) -> Iterator[Caution]:
    number = every.cross.number or every.cross.id
    day = visit.made.date
    seasons = [season_of(one, visit.season_start) for one in (every.first_day or day, day)]
    lost = [loss.cause for loss in every.losses if loss.sowing is None]
    if seasons[0] != seasons[1]:
        then, now = map(str, seasons)
        yield Caution(ANOTHER_SEASON, say("rules.another_season", cross=number, season=then, now=now))
    if every.cross.closed_stage is not None:
        yield Caution(CROSS_OVER, say("rules.cross_over", cross=number, stage=every.cross.closed_stage))
    if lost:
        yield Caution(CROSS_LOST, say("rules.cross_lost", cross=number, cause=lost[-1]))


def risks(visit: Visit) -> list[Caution]:
    """Return what may go wrong with a visit, each once: isolation, stamens and selfing, window, stored pollen."""
    found = [*_isolation_risks(visit), *_selfing_risks(visit), *_window_risks(visit), *_lot_risks(visit)]
    return list(dict.fromkeys(found))


def _isolation_risks(visit: Visit) -> Iterator[Caution]:
    if visit.made.isolation not in {None, "none"} or visit.made.pollen_kind == "open":
        return
    beside = shedding(visit)
    if visit.made.pollen_kind == "none":
        yield Caution("isolation", say("rules.left_alone"))
    elif beside:
        names = ", ".join(other.name for other in beside)
        yield Caution("isolation", say("rules.unbagged", names=names, n=len(beside)))


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
        and not other.dead_on(day)
        and not any(other.same_clone(parent) for parent in visit.parents)
        and not (other.place and visit.seed.place and other.place != visit.seed.place)
        and not other.out_of_bloom(day)
    ]


def _selfing_risks(visit: Visit) -> Iterator[Caution]:
    seed, made = visit.seed, visit.made
    if made.pollen_kind == "self" and seed.self_fertile is False:
        yield Caution("selfing", say("rules.self_sterile", plant=seed.name))
    left_in = made.stamens_removed is not True and seed.sex != "female"
    if made.pollen_kind in _BROUGHT and seed.self_fertile is True and left_in:
        noted = "left" if made.stamens_removed is False else "not_noted"
        yield Caution("stamens", say(f"rules.stamens_{noted}", plant=seed.name))


def _window_risks(visit: Visit) -> Iterator[Caution]:
    fresh = visit.pollen if visit.lot is None and visit.made.pollen_kind in _BROUGHT else ()
    for parent in (visit.seed, *fresh):
        if parent.window is not None and parent.out_of_bloom(visit.made.date):
            yield Caution("window", say("rules.window", plant=parent.name, window=parent.window.words))


def _lot_risks(visit: Visit) -> Iterator[Caution]:
    lot, today = visit.lot, visit.made.date
    if lot is None:
        return
    if lot.collected is None and lot.tested is None:
        yield Caution("lot", say("rules.lot_undated", lot=lot.name))
    known = [day for day in (lot.collected, lot.tested) if day is not None and day <= today]
    days = (today - max(known)).days if known else 0
    where = (lot.kept or "").casefold()
    if days > next(trusted for word, trusted in _KEEPS if word in where):
        kept = say("rules.kept", where=lot.kept) if lot.kept else ""
        since = "tested" if max(known) == lot.tested else "collected"
        yield Caution("lot", say(f"rules.lot_{since}", lot=lot.name, n=days, kept=kept))


def contradicted(sex: str | None, marks: Sequence[str]) -> str | None:
    """Return the mark of a visit that contradicts what was found of a plant's sex; None if none does.

    Examples
    --------
    >>> contradicted("male", ["male as seed parent"]), contradicted("both", ["male as seed parent"])
    ('male as seed parent', None)
    """
    return next((mark for mark in marks if sex is not None and QUERIED.get(mark) == sex), None)
