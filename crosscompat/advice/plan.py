"""Plan a season: which flowers of which plant get which pollen, in which week.

The worth of n flowers on a pairing is how much it is wanted times the chance of a seedling from them.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np

from crosscompat.advice.allocation import solve
from crosscompat.advice.figures import Interval, interval_at, past_crosses, usual_flowers
from crosscompat.advice.mating import Days, Stored, alive_on, bars, good_lots, open_days, openings_on
from crosscompat.advice.parents import Parent, handling
from crosscompat.advice.predict import basis_of, chances_of, parents_of, predict
from crosscompat.advice.rank import Candidate, wanted_pairs
from crosscompat.advice.tonight import worth
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import Reading
from crosscompat.book.timelines import pollen_keeps
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances, correlations, number_that_take
from crosscompat.model.likelihood import Floats
from crosscompat.show.chances import TELLS_APART

_WEEK = timedelta(days=7)
_KEPT = (pollen_keeps("freezer") or 0) // 7
"""Weeks for which pollen is kept."""

_A_FLOWER = 0.06
"""What a flower must add to be spent: one in fifty on the chance of a pairing wanted 3 of 5, a judgement."""


@dataclass(frozen=True, slots=True)
class PlannedCross:
    """A pairing with its flowers and its week.

    Attributes
    ----------
    week : str
        The first day of it, ISO 8601.
    pollen_plants : list of str
        Those that can give the pollen; empty where it is stored pollen of a species.
    chance : Interval
        Of at least one seedling from them.
    other_way : Interval or None
        The same with the parents exchanged, where that is clearly likelier.
    says : str
        Where the pollen comes from, in plain words.
    explained_by : str
        The command that says why the chance is what it is.
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
    """What would help: one more flower on a planned cross, or pollen that is not at hand.

    Attributes
    ----------
    flowers : int
        With the one more; of pollen from elsewhere those that the plan leaves.
    before, after : float
        The chance of a seedling as planned, and with it.
    """

    seed_plant: str
    pollen_parent: str
    flowers: int
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Plan:
    """A season's plan, by week and seed plant.

    Attributes
    ----------
    begins, ends : str
        ISO 8601.
    expected : float
        Pairings that give a seedling, on average.
    low, high : int
        Between which that number lies in 9 of 10 seasons; pairings that share a parent fail together.
    one_more : More or None
        Where one more flower would add most, of the plants that give all they can spare.
    borrowed : More or None
        The cross left out for want of pollen that would add most, with the flowers and evenings that are left.
    gap : float
        By which share of the best plan's worth this one can fall short, at most.
    caution : str
        Of handling; blank where nothing is planned.
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


@dataclass(frozen=True, slots=True)
class _Option:
    """A cross wanted on one seed plant, what a seedling is worth, and where its pollen comes from.

    ``ready``, shape (n_weeks,), are the weeks in which the seed plant is open and pollen can be had.
    """

    wish: int
    seed: Parent
    pollen: Parent
    want: int | None
    weight: float
    fathers: Sequence[str]
    stored: Sequence[Stored]
    ready: Days


@dataclass(frozen=True, slots=True)
class _Made:
    """An option that is planned; ``added``, shape (n_flowers,), is what each flower adds to the chance."""

    option: _Option
    flowers: int
    week: int
    added: Floats


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
    concerned = list({plant.plant: plant for both in sides for side in both for plant in side}.values())
    day = _first_opening(collection, page, concerned, day)
    days = [day + timedelta(days=n) for n in range(7 * weeks)]
    opened = {name: on.reshape(weeks, 7) for name, on in open_days(collection, page, concerned, days).items()}
    every = _options(collection, wanted, sides, good_lots(page, day), opened)
    options = [option for option in every if option.ready.any()]
    added = _added(collection, options, most + 1)
    weight = np.array([option.weight for option in options]).reshape(-1, 1)
    ready = np.array([option.ready for option in options], dtype=np.bool_).reshape(-1, weeks)
    wishes = np.array([option.wish for option in options], dtype=np.intp)
    mothers = np.unique([option.seed.called for option in options], return_inverse=True)[1]
    flowers, week, gap = solve(weight * added[:, :most] - _A_FLOWER, ready, wishes, mothers, evenings)
    made = [_Made(options[k], int(flowers[k]), int(week[k]), added[k]) for k in np.flatnonzero(flowers)]
    crosses, low, high = _crosses(collection, made, opened, day)
    first = {cross.seed_plant: cross.week for cross in reversed(crosses)}
    return Plan(
        day.isoformat(), (day + weeks * _WEEK).isoformat(), crosses,
        [Control(begun, plant) for plant, begun in first.items()] if controls else [],
        [*(LeftOut(row.seed_parent, row.pollen_parent, row.why) for row in refused),
         *_left_out(wanted, sides, every, made)],
        sum(cross.chance.mean for cross in crosses), low, high, _one_more(made, most),
        _borrowed(collection, every, made, opened, most, evenings), gap,
        " ".join(caution.says for caution in handling(collection)) if crosses else "", collection.settings.invented,
    )  # fmt: skip


def _plants_of(collection: Collection, wanted: Sequence[Candidate], day: date) -> list[tuple[list[Plant], list[Plant]]]:
    """Return for each cross wanted the plants that can bear it, and those that shed its pollen.

    They are the very plant that a side names, else all of its species.
    """
    alive = alive_on(collection, day)
    label = {plant.plant: collection.index.find(plant.species) for plant in alive}

    def plants(side: Parent) -> list[Plant]:
        very = side.own_name
        return [plant for plant in alive if (plant.plant == very if very else label[plant.plant] == side.label)]

    return [
        ([plant for plant in plants(wish.seed) if not any(bars(plant, None, day))],
         [plant for plant in plants(wish.pollen) if not any(bars(None, plant, day))])
        for wish in wanted
    ]  # fmt: skip


def _first_opening(collection: Collection, page: Reading, plants: Sequence[Plant], day: date) -> date:
    """Return the first day on which one of some plants is in flower; the day itself where none is known."""
    opened = openings_on(collection, page, plants, day).values()
    if any(each.state == "open" for each in opened):
        return day
    return min((date.fromisoformat(each.opens) for each in opened if each.opens), default=day)


def _options(
    collection: Collection,
    wanted: Sequence[Candidate],
    sides: Sequence[tuple[Sequence[Plant], Sequence[Plant]]],
    good: Sequence[Stored],
    opened: Mapping[str, Days],
) -> list[_Option]:
    """Return each cross wanted on each of its seed plants; a plant is no mother to itself or to its offsets."""
    past = past_crosses(collection)
    plants, stored_of = collection.plants, defaultdict(list)
    for lot in good:
        stored_of[collection.index.find(plants.species(lot.parent))].append(lot)
    options = []
    for wish, (candidate, (mothers, fathers)) in enumerate(zip(wanted, sides, strict=True)):
        very = candidate.pollen.own_name
        stored = [lot for lot in stored_of[candidate.pollen.label] if not very or plants.one_clone(lot.parent, very)]
        earlier = past.get((candidate.seed.label, candidate.pollen.label), ())
        took = sum(cross.outcome == "took" for cross in earlier)
        weight = worth(1.0, candidate.want, wished=True, took=took)
        for mother in mothers:
            if plants.one_clone(very, mother.plant):
                continue
            others = [plant.plant for plant in fathers if plant.clone != mother.clone]
            lots = [lot for lot in stored if not plants.one_clone(lot.parent, mother.plant)]
            seed, own = Parent(candidate.seed.label, mother), opened[mother.plant]
            shed = sum((opened[name] for name in others), np.zeros_like(own))
            ready = _ready(own, shed, lots)
            options.append(_Option(wish, seed, candidate.pollen, candidate.want, weight, others, lots, ready))
    return options


def _ready(mother: Days, shed: Days, stored: Sequence[Stored]) -> Days:
    """Return the weeks in which a seed plant is open and pollen can be had, shape (n_weeks,); days are (n_weeks, 7)."""
    weeks = np.arange(len(mother))
    last = np.maximum.accumulate(np.where(shed.any(axis=1), weeks, -_KEPT - 1))
    had = np.asarray((shed & mother).any(axis=1))
    had[1:] |= weeks[1:] - last[:-1] <= _KEPT
    for lot in stored:
        had |= True if lot.left is None else weeks * 7 <= lot.left
    return np.asarray(mother.any(axis=1) & had)


def _pollen(option: _Option, week: int, opened: Mapping[str, Days], begins: date) -> tuple[list[str], str]:
    """Return which plants give the pollen in a week, and in words where it comes from."""
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


def _added(collection: Collection, options: Sequence[_Option], most: int) -> Floats:
    """Return what each further flower adds to the chance of a seedling, shape (n_options, most)."""
    if not options:
        return np.zeros((0, most))
    parents = parents_of([(option.seed, option.pollen) for option in options])
    whole = predict(collection, basis_of(collection).model, parents).whole
    return np.diff([chances(whole, n).mean for n in range(most + 1)], axis=0).T


def _crosses(
    collection: Collection, made: Sequence[_Made], opened: Mapping[str, Days], begins: date
) -> tuple[list[PlannedCross], int, int]:
    """Return the crosses of a plan in their order, and between which two numbers those with a seedling lie."""
    if not made:
        return [], 0, 0
    model, flowers = basis_of(collection).model, np.array([each.flowers for each in made])
    pairs = [(each.option.seed, each.option.pollen) for each in made]
    parents = parents_of(pairs)
    asked = predict(collection, model, parents)
    chance = chances(asked.whole, flowers)
    reverse = chances_of(collection, model, parents_of([(pollen, seed) for seed, pollen in pairs]), flowers)
    crosses = []
    for i, each in enumerate(made):
        plants, says = _pollen(each.option, each.week, opened, begins)
        other = interval_at(reverse, i) if reverse.mean[i] > chance.mean[i] + TELLS_APART else None
        crosses.append(PlannedCross(
            (begins + each.week * _WEEK).isoformat(), each.option.seed.name, each.option.seed.called,
            each.option.pollen.name, plants, each.flowers, interval_at(chance, i), other, each.option.want, says,
            say("plan.ask", seed=each.option.seed.called, pollen=each.option.pollen.called, n=each.flowers),
        ))  # fmt: skip
    together = correlations(model, asked.rows, asked.pairings, parents)
    low, high = number_that_take(together, asked.whole, flowers)
    return sorted(crosses, key=lambda cross: (cross.week, cross.seed_plant, cross.pollen_parent)), low, high


def _left_out(
    wanted: Sequence[Candidate],
    sides: Sequence[tuple[Sequence[Plant], Sequence[Plant]]],
    options: Sequence[_Option],
    made: Sequence[_Made],
) -> Iterator[LeftOut]:
    """Say of each cross wanted that is not planned why: its plants, its days, or that there was no room."""
    done, possible = {each.option.wish for each in made}, {option.wish for option in options if option.ready.any()}
    stored = {option.wish for option in options if option.stored}
    for i, (wish, (mothers, fathers)) in enumerate(zip(wanted, sides, strict=True)):
        why = "no_room"
        if i not in possible:
            why = "no_mother" if not mothers else "never_together" if fathers or i in stored else "no_father"
        if i not in done:
            yield LeftOut(wish.seed.name, wish.pollen.name, say(f"plan.{why}"))


def _one_more(made: Sequence[_Made], most: int) -> More | None:
    """Return the cross that one more flower would help most, of the plants that give all they can spare."""
    spent = _spent(made)
    full = [each for each in made if spent[each.option.seed.called] == most]
    best = max(full, key=lambda each: each.option.weight * each.added[each.flowers], default=None)
    return None if best is None else _more(best.option, best.added, best.flowers, best.flowers + 1)


def _borrowed(
    collection: Collection,
    options: Sequence[_Option],
    made: Sequence[_Made],
    opened: Mapping[str, Days],
    most: int,
    evenings: int,
) -> More | None:
    """Return the cross without pollen that some from elsewhere would help most, with the room that the plan leaves."""
    able, spent = {option.wish for option in options if option.ready.any()}, _spent(made)
    full = [week for week, n in Counter(each.week for each in made).items() if n == evenings]
    room = {name: np.delete(days, full, axis=0).any() for name, days in opened.items()}
    lacking = [option for option in options if option.wish not in able and room[option.seed.called]]
    best: tuple[float, More | None] = (0.0, None)
    for option, added in zip(lacking, _added(collection, lacking, most), strict=True):
        gain = option.weight * added[: most - spent[option.seed.called]]
        n = int((gain > _A_FLOWER).sum())
        if gain[:n].sum() > best[0]:
            best = float(gain[:n].sum()), _more(option, added, 0, n)
    return best[1]


def _spent(made: Sequence[_Made]) -> Counter[str]:
    """Count the flowers that each seed plant gives."""
    return sum((Counter({each.option.seed.called: each.flowers}) for each in made), Counter())


def _more(option: _Option, added: Floats, before: int, flowers: int) -> More:
    chance = (float(added[:n].sum()) for n in (before, flowers))
    return More(option.seed.called, option.pollen.name, flowers, *chance)
