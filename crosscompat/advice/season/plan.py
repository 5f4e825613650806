"""Plan a season: which flowers of which plant get which pollen, in which week.

The worth of n flowers on a pairing is how much it is wanted times the chance of a seedling from them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np

from crosscompat.advice.figures import Interval, interval_at, past_crosses, usual_flowers
from crosscompat.advice.parents import Parent, handling
from crosscompat.advice.predict import basis_of, chances_of, parents_of, predict
from crosscompat.advice.rank import Candidate, wanted_pairs
from crosscompat.advice.season.allocation import solve
from crosscompat.advice.season.mating import Days, Stored, alive_on, bars, good_lots, open_days, openings_on
from crosscompat.advice.season.tonight import worth
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import Reading
from crosscompat.book.timelines import pollen_keeps
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.wording import say
from crosscompat.model.forecast import correlations, number_that_take
from crosscompat.model.likelihood import Floats
from crosscompat.show.chances import TELLS_APART

_WEEK = timedelta(days=7)
_KEPT = (pollen_keeps("freezer") or 0) // 7
"""Weeks for which pollen is kept."""

_A_FLOWER = 0.06
"""What a flower must add to be spent: one in fifty on the chance of a pairing wanted 3 of 5, a judgement."""


@dataclass(frozen=True, slots=True)
class PlannedCross:
    """A pairing with its flowers and its ``week``, by the first day of that, ISO 8601.

    ``pollen_plants`` can give the pollen, none where it is stored pollen of a species. ``other_way`` is the chance with
    the parents exchanged, where that is clearly likelier; the command that it is ``explained_by`` says why a chance is
    so.
    """

    week: str
    seed_parent: str
    seed_plant: str
    pollen_parent: str
    pollen_plants: list[str]
    flowers: int
    chance: Interval
    other_way: Interval | None
    want: int | None
    says: str
    explained_by: str


@dataclass(frozen=True, slots=True)
class Control:
    """A flower to bag and leave alone in some week, which shows whether a seed plant sets seed without pollen."""

    week: str
    seed_plant: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A cross wanted that is not in the plan, and why."""

    seed_parent: str
    pollen_parent: str
    why: str


@dataclass(frozen=True, slots=True)
class More:
    """What would help: one more flower on a planned cross, or so many with pollen that is not at hand.

    The chance of a seedling is as planned ``before``, and with it ``after``.
    """

    seed_plant: str
    pollen_parent: str
    flowers: int
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Plan:
    """A season's plan, by week and seed plant.

    ``expected`` pairings give a seedling on average, in 9 seasons of 10 from ``low`` to ``high``: those that share a
    parent fail together. ``one_more`` flower would add most there, of the plants that give all they can spare; pollen
    ``borrowed`` would, with the flowers and evenings that are left. The ``gap`` is the share of the best plan's worth
    it can fall short.
    """

    begins: str
    ends: str
    crosses: list[PlannedCross]
    controls: list[Control]
    left_out: list[LeftOut]
    expected: float
    low: int
    high: int
    one_more: More | None
    borrowed: More | None
    gap: float
    caution: str
    invented: bool
    schema: Literal["crosscompat.plan/1"] = "crosscompat.plan/1"


_Sides = Sequence[tuple[Candidate, Sequence[Plant], Sequence[Plant]]]
"""Each cross wanted with the plants that can bear it, and those that shed its pollen."""


@dataclass(frozen=True, slots=True)
class _Option:
    """A cross wanted on one seed plant, with its pollen, and the ``flowers`` and ``week`` that are planned for it.

    ``ready``, shape (n_weeks,), are the weeks in which the seed plant is open and pollen can be had; ``added``, shape
    (most + 1,), is what each flower adds to the chance of a seedling, which is worth ``weight``.
    """

    number: int
    wish: Candidate
    seed: Parent
    weight: float
    fathers: Sequence[str]
    stored: Sequence[Stored]
    ready: Days
    added: Floats
    flowers: int = 0
    week: int = -1


def plan_season(
    collection: Collection,
    page: Reading,
    day: date,
    *,
    weeks: int = 26,
    evenings: int = 5,
    spare: int | None = None,
    controls: bool = False,
) -> Plan:
    """Plan the crosses wanted over some weeks; ``page`` is of the collection's cross book.

    The first week begins when, from ``day`` on, the first parent of a cross wanted opens. In a week there are at most
    so many ``evenings``, one for each pairing. Each plant can ``spare`` so many flowers, by default twice as many as
    the grower usually takes for a cross; with ``controls`` each seed plant keeps one of them to be left alone.

    Notes
    -----
    A pairing is made on one seed plant, in one week. Pollen is fresh from a plant in flower that week, stored now, or
    kept from an earlier week of the plan; without any of these the pairing is left out.
    """
    most = (2 * usual_flowers(collection) if spare is None else spare) - controls
    wanted, refused = wanted_pairs(collection, collection.wanted)
    sides = _plants_of(collection, wanted, day)
    concerned = list({plant.plant: plant for _, *both in sides for side in both for plant in side}.values())
    day = _first_opening(collection, page, concerned, day)
    days = [day + timedelta(days=n) for n in range(7 * weeks)]
    opened = {name: on.reshape(weeks, 7) for name, on in open_days(collection, page, concerned, days).items()}
    options = _options(collection, sides, good_lots(page, day), opened, most)
    made, gap = _chosen([option for option in options if option.ready.any()], most, evenings)
    crosses, low, high = _crosses(collection, made, opened, day)
    first = {cross.seed_plant: cross.week for cross in reversed(crosses)}
    return Plan(
        day.isoformat(), (day + weeks * _WEEK).isoformat(), crosses,
        [Control(begun, plant) for plant, begun in first.items()] if controls else [],
        [*(LeftOut(row.seed_parent, row.pollen_parent, row.why) for row in refused), *_left_out(sides, options, made)],
        sum(cross.chance.mean for cross in crosses), low, high, _one_more(made, most),
        _borrowed(options, made, opened, most, evenings), gap,
        " ".join(caution.says for caution in handling(collection)) if crosses else "", collection.settings.invented,
    )  # fmt: skip


def _plants_of(collection: Collection, wanted: Sequence[Candidate], day: date) -> _Sides:
    """Return the plants of each cross wanted: the very plant that a side names, else all of its species."""
    alive = alive_on(collection, day)
    label = {plant.plant: collection.index.find(plant.species) for plant in alive}

    def plants(side: Parent) -> list[Plant]:
        very = side.own_name
        return [plant for plant in alive if (plant.plant == very if very else label[plant.plant] == side.label)]

    return [
        (
            wish,
            [plant for plant in plants(wish.seed) if not any(bars(plant, None, day))],
            [plant for plant in plants(wish.pollen) if not any(bars(None, plant, day))],
        )
        for wish in wanted
    ]


def _first_opening(collection: Collection, page: Reading, plants: Sequence[Plant], day: date) -> date:
    """Return the first day on which one of some plants is in flower; the day itself where none is known."""
    opened = openings_on(collection, page, plants, day).values()
    if any(each.state == "open" for each in opened):
        return day
    return min((date.fromisoformat(each.opens) for each in opened if each.opens), default=day)


def _options(
    collection: Collection, sides: _Sides, good: Sequence[Stored], opened: Mapping[str, Days], most: int
) -> list[_Option]:
    """Return each cross wanted on each of its seed plants; a plant is no mother to itself or to its offsets."""
    past, plants = past_crosses(collection), collection.plants
    label = [collection.index.find(plants.species(lot.parent)) for lot in good]
    options = []
    for number, (wish, mothers, fathers) in enumerate(sides):
        very, pair = wish.pollen.own_name, (wish.seed.label, wish.pollen.label)
        stored = [lot for lot, of in zip(good, label, strict=True) if of == wish.pollen.label]
        stored = [lot for lot in stored if not very or plants.one_clone(lot.parent, very)]
        took = sum(cross.outcome == "took" for cross in past.get(pair, ()))
        weight = worth(1.0, wish.want, wished=True, took=took)
        for mother in mothers:
            if plants.one_clone(very, mother.plant):
                continue
            others = [plant.plant for plant in fathers if plant.clone != mother.clone]
            lots = [lot for lot in stored if not plants.one_clone(lot.parent, mother.plant)]
            ready = _ready(opened[mother.plant], [opened[name] for name in others], lots)
            seed = Parent(wish.seed.label, mother)
            options.append(_Option(number, wish, seed, weight, others, lots, ready, np.empty(0)))
    if not options:
        return []
    parents = parents_of([(option.seed, option.wish.pollen) for option in options])
    predicted = predict(collection, basis_of(collection).model, parents)
    added = np.diff([predicted.chance(n).mean for n in range(most + 2)], axis=0).T
    return [replace(option, added=more) for option, more in zip(options, added, strict=True)]


def _ready(mother: Days, fathers: Sequence[Days], stored: Sequence[Stored]) -> Days:
    """Return the weeks in which a seed plant is open and pollen can be had, shape (n_weeks,); days are (n_weeks, 7)."""
    weeks, shed = np.arange(len(mother)), sum(fathers, np.zeros_like(mother))
    last = np.maximum.accumulate(np.where(shed.any(axis=1), weeks, -_KEPT - 1))
    had = np.asarray((shed & mother).any(axis=1))
    had[1:] |= weeks[1:] - last[:-1] <= _KEPT
    for lot in stored:
        had |= True if lot.left is None else weeks * 7 <= lot.left
    return np.asarray(mother.any(axis=1) & had)


def _chosen(options: Sequence[_Option], most: int, evenings: int) -> tuple[list[_Option], float]:
    """Return the options that are planned, and by which share of the best plan's worth they can fall short."""
    if not options:
        return [], 0.0
    flowers, week, gap = solve(
        np.array([option.weight * option.added[:most] for option in options]) - _A_FLOWER,
        np.array([option.ready for option in options]),
        np.array([option.number for option in options]),
        np.unique([option.seed.called for option in options], return_inverse=True)[1],
        evenings,
    )
    chosen = np.flatnonzero(flowers)
    return [replace(options[k], flowers=int(flowers[k]), week=int(week[k])) for k in chosen.tolist()], gap


def _pollen(option: _Option, opened: Mapping[str, Days], begins: date) -> tuple[list[str], str]:
    """Return which plants give the pollen of what is planned, and in words where it comes from."""
    week = option.week
    ready = opened[option.seed.called][week]
    fresh = [name for name in option.fathers if (opened[name][week] & ready).any()]
    if fresh:
        return fresh, say("plan.fresh")
    lot = next((lot for lot in option.stored if lot.left is None or lot.left >= 7 * week), None)
    if lot is not None:
        return [], say("plan.stored", lot=lot.lot)
    earlier = next(w for w in range(week - 1, -1, -1) if any(opened[name][w].any() for name in option.fathers))
    shed = [name for name in option.fathers if opened[name][earlier].any()]
    return shed, say("plan.collect", date=spoken_date(begins + earlier * _WEEK, begins))


def _crosses(
    collection: Collection, made: Sequence[_Option], opened: Mapping[str, Days], begins: date
) -> tuple[list[PlannedCross], int, int]:
    """Return the crosses of a plan in their order, and between which two numbers those with a seedling lie."""
    if not made:
        return [], 0, 0
    model, flowers = basis_of(collection).model, np.array([option.flowers for option in made])
    parents = parents_of([(option.seed, option.wish.pollen) for option in made])
    predicted = predict(collection, model, parents)
    chance = predicted.chance(flowers)
    other_ways = parents_of([(option.wish.pollen, option.seed) for option in made])
    reverse = chances_of(collection, model, other_ways, flowers)
    crosses = []
    for i, option in enumerate(made):
        seed, pollen, (plants, says) = option.seed, option.wish.pollen, _pollen(option, opened, begins)
        other = interval_at(reverse, i) if reverse.mean[i] > chance.mean[i] + TELLS_APART else None
        crosses.append(PlannedCross(
            (begins + option.week * _WEEK).isoformat(), seed.name, seed.called, pollen.name, plants, option.flowers,
            interval_at(chance, i), other, option.wish.want, says,
            say("plan.ask", seed=seed.called, pollen=pollen.called, n=option.flowers),
        ))  # fmt: skip
    together = correlations(model, predicted.rows, predicted.pairings, parents)
    low, high = number_that_take(together, predicted.whole, flowers)
    return sorted(crosses, key=lambda cross: (cross.week, cross.seed_plant, cross.pollen_parent)), low, high


def _left_out(sides: _Sides, options: Sequence[_Option], made: Sequence[_Option]) -> Iterator[LeftOut]:
    """Say of each cross wanted that is not planned why: its plants, its days, or that there was no room."""
    done, possible = {option.number for option in made}, {option.number for option in options if option.ready.any()}
    stored = {option.number for option in options if option.stored}
    for i, (wish, mothers, fathers) in enumerate(sides):
        why = "no_room"
        if i not in possible:
            why = "no_mother" if not mothers else "never_together" if fathers or i in stored else "no_father"
        if i not in done:
            yield LeftOut(wish.seed.name, wish.pollen.name, say(f"plan.{why}"))


def _one_more(made: Sequence[_Option], most: int) -> More | None:
    """Return the cross that one more flower would help most, of the plants that give all they can spare."""
    spent = _spent(made)
    full = [option for option in made if spent[option.seed.called] == most]
    best = max(full, key=lambda option: option.weight * option.added[option.flowers], default=None)
    return None if best is None else _more(best, best.flowers + 1)


def _borrowed(
    options: Sequence[_Option], made: Sequence[_Option], opened: Mapping[str, Days], most: int, evenings: int
) -> More | None:
    """Return the cross without pollen that some from elsewhere would help most, with the room that the plan leaves."""
    able, spent = {option.number for option in options if option.ready.any()}, _spent(made)
    full = [week for week, n in Counter(option.week for option in made).items() if n == evenings]
    room = {name: np.delete(days, full, axis=0).any() for name, days in opened.items()}
    best: tuple[float, More | None] = (0.0, None)
    for option in options:
        gain = option.weight * option.added[: most - spent[option.seed.called]]
        n = int((gain > _A_FLOWER).sum())
        if option.number not in able and room[option.seed.called] and gain[:n].sum() > best[0]:
            best = float(gain[:n].sum()), _more(option, n)
    return best[1]


def _spent(made: Sequence[_Option]) -> Counter[str]:
    """Count the flowers that each seed plant gives."""
    return sum((Counter({option.seed.called: option.flowers}) for option in made), Counter())


def _more(option: _Option, flowers: int) -> More:
    before, after = (float(option.added[:n].sum()) for n in (option.flowers, flowers))
    return More(option.seed.called, option.wish.pollen.name, flowers, before, after)
