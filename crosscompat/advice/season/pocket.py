"""What a page carries into the greenhouse: all that is due for weeks, the plants, the crosses and every chance."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import islice
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crosscompat.advice.figures import Past, distance_of, past_crosses, usual_flowers
from crosscompat.advice.parents import Parent, find_parent, handling
from crosscompat.advice.predict import Basis, basis_of, parents_of, predict
from crosscompat.advice.reasoning import reasons_in_words
from crosscompat.advice.season.due import Due, due_list, pairing_of
from crosscompat.advice.season.mating import alive_on, good_lots, open_days
from crosscompat.book import records
from crosscompat.book.cross_summary import CrossRecords, all_cross_records, in_all, totals, units_of_visits
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import Reading, Store
from crosscompat.book.timelines import Life, Tray, lives_of
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.show.chances import one_in, whole_percent

AHEAD = 60
"""Days that the page can look ahead."""

NO_CHANCE = 255
"""Stands for a pairing without a chance: one clone, one species, or a name without a place."""

_WEEK = 7
_SLIGHT = 0.05
_REMEMBERED = 1000
"""Changes of the book that the page knows, so that it can tell which entries of the phone are in."""


@dataclass(frozen=True, slots=True)
class DueRun:
    """One thing to do, and the days, the first and the last, on which `due_list` tells of it."""

    task: str
    cross: str
    id: str
    pairing: str
    where: str
    since: str
    first: str
    last: str
    shown_from: str
    shown_until: str


@dataclass(frozen=True, slots=True)
class PocketPlant:
    """A plant that lives.

    Attributes
    ----------
    species : int
        Its place among the species of the page.
    open : list of list of str
        Stretches of days, first and last, on which it is expected in flower.
    """

    name: str
    species: int
    place: str
    sex: str
    clone: str
    open: list[list[str]]


@dataclass(frozen=True, slots=True)
class PocketCross:
    """A cross under way, with what has been counted of it; trays and lots are identifier and name."""

    id: str
    number: str
    pairing: str
    where: str
    brushed: str
    units: int | None
    pods: int | None
    trays: list[list[str]]
    lots: list[list[str]]


@dataclass(frozen=True, slots=True)
class Pocket:
    """All that the page holds.

    Attributes
    ----------
    book : str
        Identity of the cross book that its entries belong to.
    day, until : str
        From which day it is, and the last one that it looks ahead to.
    lots : list of list of str
        Stored pollen: its name, and the plant that it is of.
    flowers : int
        That the chances are for.
    mean, low, high : str
        Chances of at least one seedling and their 90% interval, shape (n_plants, n_plants), seed plant by pollen plant:
        one byte each, as `whole_percent` or ``NO_CHANCE``, in base64.
    words : list of str
        What chances are called in words.
    called : str
        Which of the words each chance is called by, packed as the chances are.
    whys : list of str
        One line each on why a chance is as it is.
    why : list of list of int
        Which of them is told, shape (n_species, n_species).
    entered : list of str
        Identifiers of the latest changes of the book.
    """

    name: str
    book: str
    day: str
    until: str
    invented: bool
    due: list[DueRun]
    plants: list[PocketPlant]
    species: list[str]
    lots: list[list[str]]
    crosses: list[PocketCross]
    flowers: int
    mean: str
    low: str
    high: str
    words: list[str]
    called: str
    whys: list[str]
    why: list[list[int]]
    handling: str
    entered: list[str]
    schema: Literal["crosscompat.greenhouse/1"] = "crosscompat.greenhouse/1"


def pocket(collection: Collection, store: Store, day: date) -> Pocket:
    """Return what is carried into the greenhouse from a day on."""
    days = [day + timedelta(days=n) for n in range(AHEAD)]
    basis, alive = basis_of(collection), alive_on(collection, day)
    species = list(dict.fromkeys(correct_form(plant.species) for plant in alive))
    parents = [_parent(collection, plant) for plant in alive]
    (mean, low, high, called), words = _chances(collection, basis, parents)
    whys, why = _reasons(collection, basis, alive, parents, species)
    with store.reading() as page:
        lives = lives_of(page, day)
        return Pocket(
            name=collection.settings.name,
            book=store.identity,
            day=day.isoformat(),
            until=days[-1].isoformat(),
            invented=collection.settings.invented,
            due=_due_runs(collection, lives, days),
            plants=list(_plants(collection, page, alive, species, days)),
            species=species,
            lots=[[lot.lot, lot.parent] for lot in good_lots(page, day)],
            crosses=list(_crosses(lives, all_cross_records(page))),
            flowers=usual_flowers(collection),
            mean=_packed(mean),
            low=_packed(low),
            high=_packed(high),
            words=words,
            called=_packed(called),
            whys=whys,
            why=why,
            handling=" ".join(caution.says for caution in handling(collection)),
            entered=[change.uid for change in page.changes()][-_REMEMBERED:],
        )


def _due_runs(collection: Collection, lives: Sequence[Life], days: Sequence[date]) -> list[DueRun]:
    """Return what is due on each of the days, in the order of the first of them that tells of it."""
    runs: dict[tuple[str, str, str], tuple[Due, list[date]]] = {}
    for day in days:
        for entry in due_list(lives, collection.settings, day, ahead=_WEEK).due:
            runs.setdefault((entry.id, entry.first, entry.last), (entry, []))[1].append(day)
    return [
        DueRun(one.task, one.cross, one.id, one.pairing, one.where, one.since, one.first, one.last, *stretch)
        for one, shown in runs.values()
        for stretch in _stretches(shown)
    ]


def _stretches(days: Sequence[date]) -> list[list[str]]:
    """Return the first and the last day of each unbroken stretch of some rising days.

    Examples
    --------
    >>> _stretches([date(2026, 5, 1), date(2026, 5, 2), date(2026, 5, 9)])
    [['2026-05-01', '2026-05-02'], ['2026-05-09', '2026-05-09']]
    """
    found: list[list[date]] = []
    for day in days:
        if found and (day - found[-1][1]).days == 1:
            found[-1][1] = day
        else:
            found.append([day, day])
    return [[first.isoformat(), last.isoformat()] for first, last in found]


def _plants(
    collection: Collection, page: Reading, alive: Sequence[Plant], species: Sequence[str], days: Sequence[date]
) -> Iterator[PocketPlant]:
    places = dict(page.columns(records.Plant, "name", "place"))
    flowering = open_days(collection, page, alive, days)
    for plant in alive:
        is_open = [day for day, held in zip(days, flowering[plant.plant], strict=True) if held]
        kind = species.index(correct_form(plant.species))
        place = places.get(plant.plant) or ""
        yield PocketPlant(plant.plant, kind, place, plant.sex or "", plant.clone, _stretches(is_open))


def _crosses(lives: Sequence[Life], known: Mapping[str, CrossRecords]) -> Iterator[PocketCross]:
    """Yield the crosses under way, the latest first."""
    under_way = (life for life in lives if life.brushed and not life.over)
    for life in sorted(under_way, key=lambda life: life.brushed[-1], reverse=True):
        every = known[life.id]
        yield PocketCross(
            id=life.id,
            number=life.number or life.id[:8],
            pairing=pairing_of(life),
            where=", ".join(filter(None, (life.plant, life.place, life.marker))),
            brushed=life.brushed[-1].isoformat(),
            units=in_all(units_of_visits(every.visits)),
            pods=totals(every)["pods_set"],
            trays=[[tray.id, _called(tray)] for tray in life.trays if not tray.lost],
            lots=[[lot.id, _called(lot)] for lot in life.lots],
        )


def _called(part: Tray | records.SeedLot) -> str:
    """Return the name of a tray or a lot, else its day, else the beginning of its identifier."""
    name, day = (part.place, part.sown) if isinstance(part, Tray) else (part.name, part.date)
    return name or (spoken_date(day) if day else part.id[:8])


def _parent(collection: Collection, plant: Plant) -> Parent | None:
    try:
        return find_parent(collection, plant.plant)
    except UnknownName:
        return None


_Bytes = NDArray[np.uint8]


def _chances(collection: Collection, basis: Basis, parents: Sequence[Parent | None]) -> tuple[_Bytes, list[str]]:
    """Return mean, low, high and words of every pairing of plants, shape (4, n, n), and the words that are meant.

    Plants of one species that nothing tells apart share their chances, which are worked out once.
    """
    kinds = _kinds(collection, parents)
    first = [kinds.index(kind) for kind in range(max(kinds, default=-1) + 1)]
    few, flowers = [parents[i] for i in first], usual_flowers(collection)
    found = np.full((4, len(few), len(few)), NO_CHANCE, dtype=np.uint8)
    words: dict[str, int] = {}
    for i, seed in enumerate(few):
        fit = [(j, pollen) for j, pollen in enumerate(few) if seed and pollen and seed.label != pollen.label]
        if seed is None or not fit:
            continue
        chances = predict(collection, basis.model, parents_of([(seed, pollen) for _, pollen in fit])).chance(flowers)
        called = [words.setdefault(one_in(float(mean)), len(words)) for mean in chances.mean]
        sides = [[whole_percent(float(one)) for one in side] for side in (chances.mean, chances.low, chances.high)]
        for k, side in enumerate((*sides, called)):
            found[k, i, [j for j, _ in fit]] = side
    return found[:, kinds][:, :, kinds], list(words)


def _kinds(collection: Collection, parents: Sequence[Parent | None]) -> list[int]:
    """Return a number for each plant, alike where they are of one species and neither crossed nor counted before."""
    crossed = {name for cross in collection.crosses for name in (cross.seed_plant, cross.pollen_plant) if name}
    known = {collection.plants.clone(name) for name in crossed}
    known |= {plant.clone for plant in collection.plants.by_name.values() if plant.chromosomes is not None}
    numbers: dict[tuple[str, str], int] = {}
    kinds = []
    for parent in parents:
        clone = parent.plant.clone if parent and parent.plant else ""
        key = (parent.label if parent else "", clone if clone in known else "")
        kinds.append(numbers.setdefault(key, len(numbers)))
    return kinds


def _reasons(
    collection: Collection, basis: Basis, alive: Sequence[Plant], parents: Sequence[Parent | None],
    species: Sequence[str],
) -> tuple[list[str], list[list[int]]]:  # fmt: skip
    """Return the lines that say why, and which of them is told of each pairing of species, shape (n, n)."""
    kinds = {
        correct_form(plant.species): Parent(parent.label)
        for plant, parent in zip(alive, parents, strict=True)
        if parent is not None
    }
    sides, past = [kinds.get(name) for name in species], past_crosses(collection)
    whys = {say("pocket.no_why"): 0}
    why = [[whys.setdefault(says, len(whys)) for says in _whys(collection, basis, past, seed, sides)] for seed in sides]
    return list(whys), why


def _whys(
    collection: Collection, basis: Basis, past: Mapping[tuple[str, str], list[Past]], seed: Parent | None,
    sides: Sequence[Parent | None],
) -> Iterator[str]:  # fmt: skip
    """Yield why a species has its chance with each of some others."""
    pairs = [(seed, other) for other in sides if seed and other and other.label != seed.label]
    predicted = predict(collection, basis.model, parents_of(pairs)) if pairs else None
    at = iter(range(len(pairs)))
    for other in sides:
        if seed is None or other is None or other.label == seed.label or predicted is None:
            yield say("pocket.no_why")
            continue
        i, labels = next(at), (seed.label, other.label)
        finished = [one for one in past.get(labels, ()) if one.friend is None and one.outcome in {"took", "failed"}]
        if finished:
            took = sum(one.outcome == "took" for one in finished)
            yield say("pocket.made_before", n=len(finished), took=took)
            continue
        relative = distance_of(collection, basis, *labels).relative
        reasons = islice(reasons_in_words(basis.model, predicted.at(i), relative), 1, None)
        yield next((one.says for one in reasons if abs(one.logit) >= _SLIGHT), say("pocket.no_why"))


def _packed(chances: _Bytes) -> str:
    return base64.b64encode(chances.tobytes()).decode("ascii")
