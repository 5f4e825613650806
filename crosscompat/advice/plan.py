"""Plan a season: which flowers of which plant get which pollen, in which week.

An integer programme, solved by HiGHS (Huangfu & Hall 2018, Parallelizing the dual revised simplex method, Mathematical
Programming Computation 10:119-142). The worth of n flowers on a pairing is how much it is wanted times the chance of a
seedling from them, which is concave in n, so that the flowers of a pairing fill up in order by themselves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from crosscompat.advice.candidates import Candidate, wanted_pairs
from crosscompat.advice.figures import Interval, interval_at, past_crosses, usual_flowers
from crosscompat.advice.parents import Parent, handling
from crosscompat.advice.predict import asked_of, basis_of, parents_of
from crosscompat.advice.tonight import KEEPS, Stored, alive_on, good_lots, openings_on, worth
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances, correlations
from crosscompat.model.likelihood import Floats, Ints

_WEEK = timedelta(days=7)
_LATER = 0.002
"""What a week's delay costs, a judgement: of weeks that are equal the first is taken."""

_GAP, _PATIENCE = 1e-3, 60.0
"""How near the best a plan must be proved to be, as a share of its worth, and for how many seconds that is tried."""

_DAY_BITS = 2 ** np.arange(7)

_DRAWS, _SEED = 4_000, 18
_A_FLOWER = 0.06
"""What a flower must add to be spent: one in fifty on the chance of a pairing wanted 3 of 5, a judgement."""


@dataclass(frozen=True, slots=True)
class PlannedCross:
    """A pairing with its flowers and its week.

    Attributes
    ----------
    week : str
        The first day of it, ISO 8601.
    seed_parent, pollen_parent : str
        Species in correct form.
    pollen_plants : list of str
        Those that can give the pollen; empty where it is stored pollen of a species.
    chance : Interval
        Of at least one seedling from them.
    says : str
        Where the pollen comes from, in plain words.
    """

    week: str
    seed_parent: str
    seed_plant: str
    pollen_parent: str
    pollen_plants: list[str]
    flowers: int
    chance: Interval
    want: int | None
    says: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A cross wanted that is not in the plan, and why."""

    seed_parent: str
    pollen_parent: str
    why: str


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
    one_more : str or None
        The seed plant on which one more flower would add most.
    caution : str
        Of handling; blank where nothing is planned.
    """

    begins: str
    ends: str
    crosses: list[PlannedCross]
    left_out: list[LeftOut]
    expected: float
    low: int
    high: int
    one_more: str | None
    caution: str
    invented: bool
    schema: Literal["crosscompat.plan/1"] = "crosscompat.plan/1"


@dataclass(frozen=True, slots=True)
class _Option:
    """A cross wanted on one seed plant, with the weeks in which its pollen can be had."""

    wish: int
    seed: Parent
    pollen: Parent
    mother: Plant
    want: int | None
    weeks: Mapping[int, tuple[str, ...]]
    says: Mapping[int, str]


def plan_season(
    collection: Collection, page: Reading, day: date, *, weeks: int = 26, evenings: int = 5, spare: int | None = None
) -> Plan:
    """Plan the crosses wanted over some weeks; ``page`` is of the collection's cross book.

    The first week begins when, from ``day`` on, the first parent of a cross wanted opens. In a week there are at most
    so many ``evenings``, one for each pairing. Each plant can ``spare`` so many flowers, by default twice as many as
    the grower usually takes for a cross.

    Notes
    -----
    A pairing is made on one seed plant, in one week. Pollen is fresh from a plant in flower that week, stored now, or
    kept from an earlier week of the plan; without any of these the pairing is left out.
    """
    most = 2 * usual_flowers(collection) if spare is None else spare
    alive = alive_on(collection, day)
    species = {plant.plant: collection.index.find(plant.species) for plant in alive}
    candidates, refused = wanted_pairs(collection, collection.wanted)
    sides = [
        (_plants_of(candidate.seed, alive, species), _plants_of(candidate.pollen, alive, species))
        for candidate in candidates
    ]
    day = _first_opening(collection, page, [plant for both in sides for side in both for plant in side], day)
    options, left_out = _options(collection, page, list(zip(candidates, sides, strict=True)), day, weeks)
    left_out = [*(LeftOut(row.seed_parent, row.pollen_parent, row.why) for row in refused), *left_out]
    crosses: list[PlannedCross] = []
    expected, low, high, one_more = 0.0, 0, 0, None
    if options:
        model = basis_of(collection).model
        parents = parents_of([(option.seed, option.pollen) for option in options])
        asked = asked_of(collection, model, parents)
        by_flowers = [chances(asked.whole, n) for n in range(1, most + 1)]
        gain = (
            _weights(collection, options)[:, None] * np.diff([each.mean for each in by_flowers], axis=0, prepend=0.0).T
        )
        mothers = [option.mother.plant for option in options]
        flowers, week = _solved(gain - _A_FLOWER, options, mothers, weeks, evenings)
        made = np.flatnonzero(flowers)
        for k in made:
            chance = interval_at(by_flowers[flowers[k] - 1], int(k))
            crosses.append(_planned(options[k], day, int(week[k]), int(flowers[k]), chance))
        expected = sum(cross.chance.mean for cross in crosses)
        chosen = parents_of([(options[k].seed, options[k].pollen) for k in made])
        together = correlations(model, asked.rows[made], asked.pairings[made], chosen)
        low, high = _interval(together, asked.whole.mean[made], asked.whole.sd[made], flowers[made])
        one_more = _one_more(gain, flowers, np.array(mothers), most)
        done = {options[k].wish for k in made}
        undone = {option.wish: option for option in reversed(options) if option.wish not in done}
        left_out += [_left(option, "no_room") for _, option in sorted(undone.items(), key=lambda item: item[0])]
    return Plan(
        day.isoformat(), (day + weeks * _WEEK).isoformat(),
        sorted(crosses, key=lambda cross: (cross.week, cross.seed_plant, cross.pollen_parent)), left_out,
        expected, low, high, one_more,
        " ".join(caution.says for caution in handling(collection)) if crosses else "", collection.settings.invented,
    )  # fmt: skip


def _weights(collection: Collection, options: Sequence[_Option]) -> Floats:
    """Return what a certain seedling of each option would be worth, shape (n_options,)."""
    past = past_crosses(collection)
    found = []
    for option in options:
        outcomes = [cross.outcome for cross in past.get((option.seed.label, option.pollen.label), ())]
        found.append(worth(1.0, option.want, wished=True, took=outcomes.count("took")))
    return np.array(found)


def _solved(
    gain: Floats, options: Sequence[_Option], mothers: Sequence[str], weeks: int, evenings: int
) -> tuple[np.ndarray, np.ndarray]:
    open_in = np.zeros((len(options), weeks), dtype=np.bool_)
    for k, option in enumerate(options):
        open_in[k, list(option.weeks)] = True
    wishes = np.array([option.wish for option in options])
    return solve(gain, open_in, wishes, np.unique(mothers, return_inverse=True)[1], evenings)


def _planned(option: _Option, begins: date, week: int, flowers: int, chance: Interval) -> PlannedCross:
    return PlannedCross(
        (begins + week * _WEEK).isoformat(), option.seed.name, option.mother.plant, option.pollen.name,
        list(option.weeks[week]), flowers, chance, option.want, option.says[week],
    )  # fmt: skip


def _left(pairing: _Option | Candidate, why: str) -> LeftOut:
    return LeftOut(pairing.seed.name, pairing.pollen.name, say(f"plan.{why}"))


def solve(
    gain: Floats, open_in: np.ndarray, wishes: np.ndarray, mothers: np.ndarray, evenings: int
) -> tuple[np.ndarray, np.ndarray]:
    """Choose flowers and a week for each option, so that their worth is greatest.

    Parameters
    ----------
    gain : ndarray of float, shape (n_options, most)
        What each further flower adds, never more than the one before; below 0 it is not spent.
    open_in : ndarray of bool, shape (n_options, n_weeks)
    wishes, mothers : ndarray of int, shape (n_options,)
        Of one wish at most one option is chosen; the options of one mother share her ``most`` flowers.
    evenings : int
        Most options in a week.

    Returns
    -------
    flowers, week : ndarray of int, shape (n_options,)
        0 flowers and week -1 where it is not chosen.

    Examples
    --------
    Two pairings on one mother with two flowers: one each is worth more than both on one.

    >>> gain = np.array([[0.5, 0.1], [0.4, 0.1]])
    >>> solve(gain, np.ones((2, 1), dtype=bool), np.array([0, 1]), np.array([0, 0]), 5)
    (array([1, 1]), array([0, 0]))
    """
    options, most = gain.shape
    at, weeks_at = np.nonzero(open_in)
    flower_of, nth = np.nonzero(gain > 0)
    in_week, made, spent = np.split(np.arange(at.size + options + nth.size), [at.size, at.size + options])
    size = at.size + options + nth.size

    def rows(groups: np.ndarray, columns: np.ndarray, values: Floats, upper: Floats) -> LinearConstraint:
        matrix = coo_array((values, (groups, columns)), shape=(upper.size, size))
        return LinearConstraint(matrix.tocsr(), -np.inf, upper)

    once, all_options = np.ones(at.size), np.arange(options)
    constraints = [
        rows(np.concatenate([all_options, at]), np.concatenate([made, in_week]),
             np.concatenate([np.ones(options), -once]), np.zeros(options)),
        rows(wishes[at], in_week, once, np.ones(wishes.max(initial=0) + 1)),
        rows(weeks_at, in_week, once, np.full(open_in.shape[1], float(evenings))),
        rows(mothers[flower_of], spent, np.ones(nth.size), np.full(mothers.max(initial=0) + 1, float(most))),
        rows(np.tile(np.arange(nth.size), 2), np.concatenate([spent, made[flower_of]]),
             np.repeat([1.0, -1.0], nth.size), np.zeros(nth.size)),
    ]  # fmt: skip
    cost = np.concatenate([weeks_at * _LATER, np.zeros(options), -gain[flower_of, nth]])
    found = milp(
        cost, integrality=np.repeat([1, 0], [at.size, options + nth.size]), bounds=Bounds(0.0, 1.0),
        constraints=constraints, options={"mip_rel_gap": _GAP, "time_limit": _PATIENCE},
    )  # fmt: skip
    flowers, week = np.zeros(options, dtype=np.intp), np.full(options, -1)
    if found.x is not None:
        given = np.bincount(flower_of, weights=found.x[at.size + options :], minlength=options)
        flowers = np.rint(given).astype(np.intp)
        picked = found.x[: at.size] > 0.5  # noqa: PLR2004 - a whole number, but for rounding
        week[at[picked]] = weeks_at[picked]
        week[flowers == 0] = -1
    return flowers, week


def _options(
    collection: Collection,
    page: Reading,
    wanted: Sequence[tuple[Candidate, tuple[Sequence[Plant], Sequence[Plant]]]],
    day: date,
    weeks: int,
) -> tuple[list[_Option], list[LeftOut]]:
    """Return each cross wanted on each of its seed plants, and the crosses wanted that cannot be made at all.

    ``wanted`` has each with the living plants of its two sides.
    """
    kept_of = [(lot, collection.index.find(collection.plants.species(lot.parent))) for lot in good_lots(page, day)]
    alive = {plant.plant: plant for _, both in wanted for side in both for plant in side}
    days = [day + timedelta(days=n) for n in range(7 * weeks)]
    every_day = openings_on(collection, page, list(alive.values()), days)
    opened = {
        name: np.array([on[name].state == "open" for on in every_day]).reshape(weeks, 7) @ _DAY_BITS for name in alive
    }
    options: list[_Option] = []
    left_out: list[LeftOut] = []
    for wish, (candidate, (seeds, pollens)) in enumerate(wanted):
        mothers = [plant for plant in seeds if plant.sex != "male"]
        fathers = [plant for plant in pollens if plant.sex != "female"]
        stored = [lot for lot, label in kept_of if label == candidate.pollen.label]
        found = []
        for mother in mothers:
            if candidate.pollen.plant and collection.plants.one_clone(candidate.pollen.plant.plant, mother.plant):
                continue
            others = [plant for plant in fathers if not collection.plants.one_clone(plant.plant, mother.plant)]
            weeks_of, says = _pollen_by_week(mother, others, stored, opened, day)
            if weeks_of:
                seed = Parent(candidate.seed.label, mother)
                found.append(_Option(wish, seed, candidate.pollen, mother, candidate.want, weeks_of, says))
        options += found
        if not found:
            why = "no_mother" if not mothers else "no_father" if not fathers and not stored else "never_together"
            left_out.append(_left(candidate, why))
    return options, left_out


def _first_opening(collection: Collection, page: Reading, plants: Sequence[Plant], day: date) -> date:
    """Return the first day on which one of some plants is in flower; the day itself where none is known."""
    [now] = openings_on(collection, page, plants, [day])
    opened = list(now.values())
    if any(each.state == "open" for each in opened):
        return day
    return min((date.fromisoformat(each.opens) for each in opened if each.opens), default=day)


def _plants_of(side: Parent, alive: Sequence[Plant], species: Mapping[str, str | None]) -> list[Plant]:
    """Return the very plant that a side names, else all of its species."""
    if side.plant is not None:
        return [plant for plant in alive if plant.plant == side.plant.plant]
    return [plant for plant in alive if species[plant.plant] == side.label]


def _pollen_by_week(
    mother: Plant, fathers: Sequence[Plant], stored: Sequence[Stored], opened: Mapping[str, Ints], begins: date
) -> tuple[dict[int, tuple[str, ...]], dict[int, str]]:
    """Return the weeks in which a seed plant is open and pollen can be had: of which plants, and in words.

    ``opened`` has for each plant the days of each week on which it is in flower, as the bits of a number.
    """
    weeks: dict[int, tuple[str, ...]] = {}
    says: dict[int, str] = {}
    shed: dict[int, tuple[str, ...]] = {}
    of_fathers = {father.plant: opened[father.plant].tolist() for father in fathers}
    for week, ready in enumerate(opened[mother.plant].tolist()):
        kept = next((w for w in range(week - 1, week - 1 - KEEPS["freezer"] // 7, -1) if shed.get(w)), None)
        shed[week] = tuple(father for father, days in of_fathers.items() if days[week])
        fresh = tuple(father for father, days in of_fathers.items() if days[week] & ready)
        lot = next((lot for lot in stored if lot.left is None or lot.left >= 7 * week), None)
        if not ready:
            continue
        if fresh:
            weeks[week], says[week] = fresh, say("plan.fresh")
        elif lot is not None:
            weeks[week], says[week] = (), say("plan.stored", lot=lot.lot)
        elif kept is not None:
            date_ = spoken_date(begins + kept * _WEEK, begins)
            weeks[week], says[week] = shed[kept], say("plan.collect", date=date_)
    return weeks, says


def _interval(correlation: Floats, mean: Floats, sd: Floats, flowers: np.ndarray) -> tuple[int, int]:
    """Draw how many pairings give a seedling; between the two that number lies in nine of ten draws."""
    if not mean.size:
        return 0, 0
    random = np.random.default_rng(_SEED)
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    logits = mean + sd * (random.standard_normal((_DRAWS, mean.size)) @ root.T)
    chance = -np.expm1(-flowers * np.logaddexp(0.0, logits))
    low, high = np.quantile((random.random(chance.shape) < chance).sum(axis=1), (0.05, 0.95))
    return int(low), int(high)


def _one_more(gain: Floats, flowers: np.ndarray, mothers: np.ndarray, most: int) -> str | None:
    """Return the mother all of whose flowers are given away and on whom one more would add most."""
    used_up = [
        k for k in np.flatnonzero((flowers > 0) & (flowers < most)) if flowers[mothers == mothers[k]].sum() == most
    ]
    best = max(used_up, key=lambda k: gain[k, flowers[k]], default=None)
    return None if best is None else str(mothers[best])
