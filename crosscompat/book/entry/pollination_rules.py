"""What cannot be, and what may go wrong, when pollen is brought to a flower: judged from what is known, and no more.

Unknown is never a hindrance. What cannot be may be written down all the same; the visit is marked with its ``kind``
then, and the finding that it contradicts is queried.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from crosscompat.book.current_plants import Plant, Window
from crosscompat.book.records import PollenLot
from crosscompat.ground.dates import spoken_date
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
_UNBAGGED = (None, "none")
_SPARE = 14
"""Days before and after a plant's usual window that are no surprise: a judgement."""

_KEEPS = (("freez", 365), ("fridge", 60), ("refrig", 60), ("", 7))
"""Days that pollen is commonly trusted, by where it is kept: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Side:
    """What is known of one parent: the plant, or else a species; where it stands and when it is usually open."""

    name: str
    plant: Plant | None = None
    self_fertile: bool | None = None
    window: Window | None = None
    place: str | None = None


@dataclass(frozen=True, slots=True)
class NamedCross:
    """The cross that a visit is said to belong to.

    Attributes
    ----------
    season, now : int or None
        That of its first visit, if it has one, and that of the visit that is to be added.
    over, lost : str or None
        The last stage that was called over, and what it was lost to as a whole.
    """

    number: str
    season: int | None
    now: int
    over: str | None = None
    lost: str | None = None


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit, as far as the rules ask.

    Attributes
    ----------
    pollen : tuple of Side
        Those whose pollen was brought; the seed parent itself where it was selfed on purpose.
    lot : PollenLot or None
        Where the pollen was stored.
    near : tuple of Side
        Other plants of the seed parent's own kind.
    cross : NamedCross or None
        None where the grower named none.
    """

    day: date
    seed: Side
    pollen_kind: str
    pollen: tuple[Side, ...] = ()
    lot: PollenLot | None = None
    isolation: str | None = None
    stamens_removed: bool | None = None
    near: tuple[Side, ...] = ()
    cross: NamedCross | None = None


@dataclass(frozen=True, slots=True)
class Remark:
    """What cannot be, must be asked about first, or may go wrong.

    Attributes
    ----------
    kind : str
        Of an obstacle, what a visit is marked with that was written down all the same (unless it is one of
        `ASKED_ONLY`); of a risk, ``isolation``, ``stamens``, ``selfing``, ``window`` or ``lot``.
    says : str
        In plain words.
    """

    kind: str
    says: str


def obstacles(visit: Visit) -> tuple[Remark, ...]:
    """Return what cannot be about a visit, the seed parent first, then what is asked about the cross it is to go to."""
    seed, day = visit.seed, visit.day
    found: list[Remark] = []
    if _sex(seed) == "male":
        found.append(Remark(MALE_SEED, say("rules.male_seed", plant=seed.name)))
    if _dead(seed, day):
        found.append(Remark(DEAD_SEED, say("rules.dead", plant=seed.name, date=_died(seed))))
    for giver in visit.pollen:
        found += _giver_obstacles(visit, giver)
    if visit.lot is not None and visit.lot.collected is not None and visit.lot.collected > day:
        collected = spoken_date(visit.lot.collected)
        found.append(Remark(LATER_POLLEN, say("rules.later", lot=visit.lot.name, date=collected)))
    if visit.cross is not None:
        found += _cross_obstacles(visit.cross)
    return tuple(dict.fromkeys(found))


def _giver_obstacles(visit: Visit, giver: Side) -> Iterator[Remark]:
    if _sex(giver) == "female":
        yield Remark(FEMALE_POLLEN, say("rules.female_pollen", plant=giver.name))
    if visit.pollen_kind in _BROUGHT and _one_clone(visit.seed, giver):
        yield Remark(ONE_CLONE, say("rules.one_clone", seed=visit.seed.name, pollen=giver.name))
    if visit.pollen_kind != "self" and _dead(giver, _given_on(visit)):
        yield Remark(DEAD_POLLEN, say("rules.dead", plant=giver.name, date=_died(giver)))


def _cross_obstacles(cross: NamedCross) -> Iterator[Remark]:
    if cross.season not in {None, cross.now}:
        seasons = {"season": str(cross.season), "now": str(cross.now)}
        yield Remark(ANOTHER_SEASON, say("rules.another_season", cross=cross.number, **seasons))
    if cross.over is not None:
        yield Remark(CROSS_OVER, say("rules.cross_over", cross=cross.number, stage=cross.over))
    if cross.lost is not None:
        yield Remark(CROSS_LOST, say("rules.cross_lost", cross=cross.number, cause=cross.lost))


def risks(visit: Visit) -> tuple[Remark, ...]:
    """Return what may go wrong with a visit, each once."""
    found = [*_isolation_risks(visit), *_stamen_risks(visit), *_window_risks(visit), *_lot_risks(visit)]
    return tuple(dict.fromkeys(found))


def _isolation_risks(visit: Visit) -> Iterator[Remark]:
    if visit.isolation not in _UNBAGGED or visit.pollen_kind == "open":
        return
    if visit.pollen_kind == "none":
        yield Remark("isolation", say("rules.left_alone"))
        return
    beside = shedding(visit)
    if beside:
        yield Remark("isolation", say("rules.unbagged", names=", ".join(side.name for side in beside), n=len(beside)))


def shedding(visit: Visit) -> tuple[Side, ...]:
    """Return the plants of the seed parent's own kind whose pollen may come to it by itself.

    Those that are known to shed pollen, live, and may be in flower; not where both are known to stand apart, and not
    the parents of the visit or offsets of them.
    """
    parents = (visit.seed, *visit.pollen)
    return tuple(
        side
        for side in visit.near
        if _sex(side) in _SHEDS
        and not _dead(side, visit.day)
        and not any(_one_clone(side, parent) for parent in parents)
        and not (side.place and visit.seed.place and side.place != visit.seed.place)
        and not _out_of_season(side, visit.day)
    )


def _stamen_risks(visit: Visit) -> Iterator[Remark]:
    seed = visit.seed
    if visit.pollen_kind == "self" and seed.self_fertile is False:
        yield Remark("selfing", say("rules.self_sterile", plant=seed.name))
    left_in = visit.stamens_removed is not True and _sex(seed) != "female"
    if visit.pollen_kind in _BROUGHT and seed.self_fertile is True and left_in:
        noted = "left" if visit.stamens_removed is False else "not_noted"
        yield Remark("stamens", say(f"rules.stamens_{noted}", plant=seed.name))


def _window_risks(visit: Visit) -> Iterator[Remark]:
    fresh = visit.pollen if visit.lot is None and visit.pollen_kind in _BROUGHT else ()
    for side in (visit.seed, *fresh):
        if side.window is not None and _out_of_season(side, visit.day):
            yield Remark("window", say("rules.window", plant=side.name, window=side.window.words))


def _lot_risks(visit: Visit) -> Iterator[Remark]:
    lot = visit.lot
    if lot is None:
        return
    known = [day for day in (lot.collected, lot.tested) if day is not None and day <= visit.day]
    if lot.collected is None and lot.tested is None:
        yield Remark("lot", say("rules.lot_undated", lot=lot.name))
    elif known and (visit.day - max(known)).days > _keeps(lot.kept):
        days, kept = (visit.day - max(known)).days, say("rules.kept", where=lot.kept) if lot.kept else ""
        since = "tested" if max(known) == lot.tested else "collected"
        yield Remark("lot", say(f"rules.lot_{since}", lot=lot.name, n=days, kept=kept))


def contradicted(sex: str | None, marks: Sequence[str]) -> str | None:
    """Return the mark of a visit that contradicts what was found of a plant's sex; None if none does.

    Examples
    --------
    >>> contradicted("male", ["male as seed parent"]), contradicted("both", ["male as seed parent"])
    ('male as seed parent', None)
    """
    return next((mark for mark in marks if sex is not None and QUERIED.get(mark) == sex), None)


def _keeps(kept: str | None) -> int:
    where = (kept or "").casefold()
    return next(days for word, days in _KEEPS if word in where)


def _given_on(visit: Visit) -> date | None:
    """Return the day on which the pollen was taken; None where it was stored nobody knows when."""
    return visit.day if visit.lot is None else visit.lot.collected


def _out_of_season(side: Side, day: date) -> bool:
    return side.window is not None and side.window.trusted and side.window.away(day) > _SPARE


def _one_clone(a: Side, b: Side) -> bool:
    return a.plant is not None and b.plant is not None and a.plant.clone == b.plant.clone


def _sex(side: Side) -> str | None:
    return None if side.plant is None else side.plant.sex


def _dead(side: Side, day: date | None) -> bool:
    died = None if side.plant is None else side.plant.died
    return died is not None and day is not None and died < day


def _died(side: Side) -> str:
    return spoken_date(side.plant.died) if side.plant is not None and side.plant.died is not None else ""
