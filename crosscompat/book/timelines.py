"""The life of each cross in days, and how many days each step takes: usually, as set, or as the book has seen."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crosscompat.book.cross_summary import CrossRecords, all_cross_records, pollen_parent
from crosscompat.book.current_plants import species_of
from crosscompat.book.records import COUNTED, FLOWERS, Plant, SeedLot, Sowing
from crosscompat.book.store import Reading
from crosscompat.stages import LAST

Look = tuple[date | None, int]


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

    The parents are species, the pollen parent blank where there is none or none that is known. The ``pollen_kind`` is
    ``several`` too where pollen of several was brought. ``brushed`` are the visits with new flowers, from the earliest
    to the latest; ``swelling`` and ``ripe`` the looks at pods, with how many had set by then, and were counted ripe or
    harvested. A cross is ``over`` if it was lost as a whole, counted unit by unit, or called over to the end.
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
    lots: Sequence[SeedLot] = ()
    trays: Sequence[Tray] = ()
    closed: str | None = None
    over: bool = False

    @property
    def pods(self) -> int | None:
        """Pods that had set, None before anybody looked."""
        return max([n for _, n in self.swelling], default=None)


def lives_of(page: Reading, as_of: date) -> tuple[Life, ...]:
    """Return the life of every own cross of a book up to some day, in the order in which they were first written.

    What has a later date has not happened yet; what has no date has. Nobody writes down when a stage was called over:
    where something was seen later, it was not yet.
    """
    species = species_of(page)
    plants = {plant.id: plant for plant in page.current(Plant)}
    return tuple(
        _life(every, plants, species, as_of) for every in all_cross_records(page).values() if every.cross.friend is None
    )


def _life(every: CrossRecords, plants: Mapping[str, Plant], species: Mapping[str, str], as_of: date) -> Life:
    then = every.until(as_of)
    cross, plant = every.cross, plants.get(every.cross.seed_plant or "")
    closed = cross.closed_stage if then == every else None
    lost = {loss.sowing for loss in then.losses}
    certain = {one.name or species.get(one.plant or "") for one in every.pollen if one.certainty != "unknown"} - {None}
    kinds = [visit.pollen_kind for visit in every.visits if visit.pollen_kind]
    seen = {what: [(one.date, one.count) for one in then.counts if one.what == what] for what in COUNTED}
    return Life(
        cross.id,
        cross.number or "",
        cross.kind,
        cross.seed_parent or species.get(cross.seed_plant or "", ""),
        pollen_parent(every.pollen, {}, species)[0] or "",
        plant=plant.name if plant else None,
        place=plant.place if plant else None,
        marker=next((visit.marker for visit in every.visits if visit.marker), None),
        died=plant.died if plant and plant.died and plant.died <= as_of else None,
        pollen_kind="several" if len(certain) > 1 else next(iter(kinds), None),
        brushed=sorted(one.date for one in every.visits if one.flowers == FLOWERS[0] and one.date <= as_of),
        swelling=seen["pods_set"],
        dropped=sum(n for _, n in seen["pods_dropped"]),
        ripe=[*seen["pods_held"], *((lot.date, 1 if lot.pods is None else lot.pods) for lot in then.lots)],
        lots=then.lots,
        trays=[
            Tray(tray.id, tray.date, tray.seeds, tray.place, _looks(then, tray), tray.id in lost, tray.lot)
            for tray in then.trays
        ],
        closed=closed,
        over=None in lost or closed == LAST or bool(seen["tried"] or seen["took"]),
    )


def _looks(every: CrossRecords, tray: Sowing) -> list[Look]:
    counted = [look for look in every.looks_at(tray) if (look.up, look.highest) != (None, None)]
    return [(look.date, max(look.up or 0, look.highest or 0)) for look in counted]


STEPS = ("swelling", "ripe", "sow", "up", "last_up")
NO_SOURCE, SET, OWN = "none", "set", "own"
FEWEST = 5
"""Fewest intervals of a book's own that are believed: a judgement."""

_FEWEST_SEEDLINGS = 20
_EARLY, _LATE = 0.05, 0.95
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Span:
    """The days within which something is expected, counted from the step before.

    The ``source`` is ``none``, a published one, ``set`` by the grower, or ``own`` with so many intervals behind it
    (``events``); it is blank where the days are none that anything takes.
    """

    first: int
    last: int
    source: str = ""
    events: int = 0


@cache
def usual_days(group: str) -> Mapping[str, Span]:
    """Return what is usual in a group of plants, step by step; what is known of no group is that of all plants."""
    table = _table()
    return {
        step: Span(int(entry["days"][0]), int(entry["days"][1]), str(entry["source"]))
        for step, entry in ((step, (table[""] | table[group])[step]) for step in STEPS)
    }


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files(__package__).joinpath("usual_days.toml").read_text(encoding="utf-8"))


def pollen_keeps(kept: str | None) -> int | None:
    """Return how many days dried pollen keeps where it is ``kept``, in the grower's words; None for any other place.

    Examples
    --------
    >>> [pollen_keeps(kept) for kept in ("Freezer, bag 3", "refrigerator", "room", "a drawer", None)]
    [270, 30, 3, None, None]
    """
    places: Mapping[str, Mapping[str, Any]] = _table()["pollen"]
    words = (kept or "").casefold()
    return next((int(place["days"]) for place in places.values() if any(w in words for w in place["words"])), None)


def days_of_book(lives: Iterable[Life], usual: Mapping[str, Span], as_of: date, window: int = 365) -> dict[str, Span]:
    """Return the days that a book's own crosses took, where it has enough of them, else what is ``usual``, by step.

    Crosses under way have waited until ``as_of``; after ``window`` days a cross or a tray is no longer under way.

    Notes
    -----
    A wait ends on the day on which the thing was first seen, since nobody knows on which day before it came. Crosses in
    which it never came, or nothing was seen while they were under way, are left out: the question is when to look, not
    whether. The span is from the day by which one in twenty had come to that by which nineteen had.
    """
    trays: list[Tray] = []
    waits: dict[str, list[tuple[int, bool]]] = {step: [] for step in ("swelling", "ripe", "up")}
    for life in lives:
        trays += life.trays
        start, open_ = next(iter(life.brushed), None), not (life.over or life.ripe)
        ripening = (life.pods or 0) > life.dropped
        waits["swelling"] += _wait(start, life.swelling, as_of, waiting=open_ and not life.swelling)
        waits["ripe"] += _wait(start, life.ripe, as_of, waiting=open_ and ripening)
    for tray in trays:
        waits["up"] += _wait(tray.sown, tray.looks, as_of, waiting=not (tray.looks or tray.lost))
    spans = {step: _learned(usual[step], waits[step], window) if step in waits else usual[step] for step in STEPS}
    return spans | {"last_up": _last_up(trays, usual["last_up"], as_of)}


def _learned(usual: Span, waits: list[tuple[int, bool]], window: int) -> Span:
    ends = [days for days, over in waits if over]
    if len(ends) < FEWEST:
        return usual
    early, late = days_by([(days, over) for days, over in waits if over or days <= window], _EARLY, _LATE)
    if early is None:
        return usual
    return Span(int(early), int(np.ceil(max(ends) if late is None else late)), OWN, len(ends))


def _wait(start: date | None, looks: Iterable[Look], as_of: date, *, waiting: bool) -> list[tuple[int, bool]]:
    """Return how long it took until anything was first seen, or it has waited if that may still come."""
    seen = [day for day, n in looks if n > 0 and day is not None]
    if start is None or not (seen or waiting):
        return []
    return [(_days(start, min(seen, default=as_of)), bool(seen))]


def _last_up(sown: Iterable[Tray], usual: Span, as_of: date) -> Span:
    """Return when nineteen of twenty seedlings of the finished trays were up, each counted when it was first seen."""
    finished = [tray for tray in sown if tray.sown and not tray.lost and (as_of - tray.sown).days > usual.last]
    rises = list(filter(None, map(_rises, finished)))
    days = [day for tray in rises for day in tray]
    if len(rises) < FEWEST or len(days) < _FEWEST_SEEDLINGS:
        return usual
    early, late = days_by([(day, True) for day in days], 0.5, _LATE)
    return Span(int(early or 0), int(np.ceil(late or max(days))), OWN, len(rises))


def _rises(tray: Tray) -> list[int]:
    """Return, for each seedling of a tray, the day on which it was first counted."""
    up, found = 0, []
    for day, n in sorted((day, n) for day, n in tray.looks if day is not None):
        found += [_days(tray.sown or day, day)] * (n - up)
        up = max(up, n)
    return found


def _days(start: date, end: date) -> int:
    return max((end - start).days, 0)


def days_by(waits: Sequence[tuple[int, bool]], *shares: float) -> list[float | None]:
    """Return the first day by which each share of some waits was over; None if it never came to that.

    The share is the Kaplan-Meier estimate: on each day that which waits is multiplied by one less the share of those
    still at risk whose wait ends. One that is not over is at risk up to its last day, and on it.

    References
    ----------
    Kaplan and Meier 1958, J Am Stat Assoc 53:457-481.

    Examples
    --------
    >>> days_by([(5, True), (6, False), (8, True)], 0.3, 0.5)
    [5.0, 8.0]
    """
    days, over = np.array([day for day, _ in waits]), np.array([ended for _, ended in waits])
    event_days, events = np.unique(days[over], return_counts=True)
    at_risk = days.size - np.searchsorted(np.sort(days), event_days)
    came = 1.0 - np.cumprod(1.0 - events / at_risk)
    reached = [np.flatnonzero(came >= share - 1e-12) for share in shares]
    return [float(event_days[at[0]]) if at.size else None for at in reached]
