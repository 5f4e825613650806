"""Which crosses speak for the chances, what they say of each step from flower to seedling, and why the others do not.

Every count enters at the finest step that it is known for; both teach the same forecast
(`crosscompat.model.composition`). A stage is conditional on the one before, so that separate fits of the stages add up
(continuation ratios) [1]_.

References
----------
.. [1] Agresti A (2013). Categorical Data Analysis, 3rd edition, section 8.3.4. Wiley.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from crosscompat.book.crosses import (
    COUNT_COLUMNS,
    Cross,
    Outcomes,
    count_arrays,
    find_label,
    outcomes_of,
    placed,
    recorded_by,
)
from crosscompat.book.current_plants import Plants
from crosscompat.book.records import SELFED, UNCHECKED
from crosscompat.ground.names import NameIndex
from crosscompat.model.likelihood import Flags, Floats, Ints
from crosscompat.stages import LAST, STAGE_COLUMNS, STAGES, STEPS, WHOLE
from crosscompat.traits import TraitTable

DOUBTFUL = 0.5
"""Weight of a seedling that may be the mother's own: a judgement."""

FRIENDS = 0.5
"""Weight of a cross made in a friend's collection, by other hands and in another house: a judgement."""

REASONS = (
    "no_pairing", "one_clone", "check", "technique", "selfed", "only_successes", "not_in_tree", "not_recorded",
    "not_finished", "lost", "unknown_outcome",
)  # fmt: skip

CROSS = "cross"
_PLAIN = (None, "plain")
_ONE_KIND_OF_POLLEN = (None, "one", "several")

_OF_PODS, _OF_SEEDS = STEPS["pod"], STEPS["seed"]
_FIRST, _RIPEN, _FILL, _LAST = (STAGES[name] for name in (_OF_PODS[0], _OF_PODS[-1], _OF_SEEDS[0], LAST))

_COUNTED = {name: (stage.tried, stage.took, name) for name, stage in STAGES.items()}
_COUNTED["pod"] = (_FIRST.tried, _RIPEN.took, _OF_PODS[-1])
"""The counts of each step that has two, and the stage it is closed with."""


@dataclass(frozen=True, slots=True)
class StepCounts:
    """What crosses say of one step, arrays of shape (n_crosses,).

    ``tried`` and ``took`` are how many entered and came through, 1 and 0 where the step says nothing; ``some`` is True
    where only "some of these came through" is known, ``known`` False where the step says nothing.
    """

    tried: Floats
    took: Floats
    some: Flags
    known: Flags

    @classmethod
    def of(cls, tried: Floats, took: Floats, known: Flags, some: Flags) -> StepCounts:
        """Blank what is not known; one of one is known exactly where "some of one" is."""
        alone = known & some & (tried == 1)
        return cls(
            np.where(known, tried, 1.0),
            np.where(alone, 1.0, np.where(known & ~some, took, 0.0)),
            known & some & ~alone,
            known,
        )

    def __getitem__(self, at: Ints) -> StepCounts:
        return StepCounts(self.tried[at], self.took[at], self.some[at], self.known[at])


@dataclass(frozen=True, slots=True)
class CrossCounts:
    """All that crosses say about the way from flower to seedling.

    ``steps`` are by the names of ``STEPS``; ``pods`` and ``seeds``, shape (n_crosses,), are ripe pods that were opened
    together and the seeds in all of them, 0 pods where not counted.
    """

    steps: Mapping[str, StepCounts]
    pods: Floats
    seeds: Floats

    @property
    def speaks(self) -> Flags:
        """Tell which crosses say anything, shape (n_crosses,)."""
        return np.asarray(
            np.any([*(step.known for step in self.steps.values()), self.pods > 0], axis=0), dtype=np.bool_
        )

    @property
    def counted(self) -> bool:
        """Whether any cross speaks of a step finer than the whole."""
        return any(step.known.any() for name, step in self.steps.items() if name != WHOLE)

    def __getitem__(self, at: Ints) -> CrossCounts:
        return CrossCounts({name: step[at] for name, step in self.steps.items()}, self.pods[at], self.seeds[at])


def step_counts(
    counts: Mapping[str, Floats], age: Floats, windows: Mapping[str, float], lost: Flags | None = None
) -> CrossCounts:
    """Return what each cross says about each step.

    A failure that may have come at one stage or another counts as "none" of the step that spans them.

    Parameters
    ----------
    counts : mapping of str to ndarray of float, shape (n_crosses,)
        Any of ``units``, ``STAGE_COLUMNS``, and ``tried`` with ``took``, which speak only of crosses without a count
        along the way; NaN where blank.
    age : ndarray of float, shape (n_crosses,)
        Days since the pollination.
    windows : mapping of str to float
        Days after which each stage is closed. Before that it says nothing: failures show early and successes late.
    lost : ndarray of bool, shape (n_crosses,), optional
        True where an accident ended the cross, at the last stage that was counted: what came through there still
        counts, as "some", and what is missing does not.

    Examples
    --------
    Four flowers, three pods of which none held; five flowers of which only a seedling is on record.

    >>> nan, windows = np.nan, {"set": 30, "hold": 150, "fill": 200, "germinate": 365}
    >>> counts = {"units": [4, 5], "pods_set": [3, nan], "pods_held": [0, nan], "seedlings": [nan, 1]}
    >>> arrays = {name: np.array(column, dtype=float) for name, column in counts.items()}
    >>> steps = step_counts(arrays, np.full(2, 400.0), windows).steps
    >>> [[name for name, step in steps.items() if step.known[i]] for i in range(2)]
    [['set', 'hold'], ['whole']]
    """
    blank = np.full(len(age), np.nan)
    struck = np.zeros(len(age), dtype=np.bool_) if lost is None else lost
    column = {name: counts.get(name, blank) for name in COUNT_COLUMNS}
    column[_FIRST.tried] = np.where(np.isnan(column[_FIRST.tried]), 1.0, column[_FIRST.tried])
    took = column["took"] = np.where(np.isnan(column["tried"]), np.nan, column["took"])
    column[_LAST.tried] = np.where((column[_LAST.tried] == 0) & (took == 0), np.nan, column[_LAST.tried])
    column[_LAST.took] = np.where(np.isnan(column[_LAST.took]) & (took == 0), 0.0, column[_LAST.took])
    column["up"] = np.fmax(column[_LAST.took], took)
    closed = {stage: age >= windows[stage] for stage in STAGES}
    steps = {name: _closed_step(column, name, closed, struck) for name in _COUNTED}
    steps["seed"], steps["fruitful"] = _seeds(column, steps, closed[LAST], struck)
    steps[WHOLE] = _whole(column, steps, closed[LAST], struck)
    opened = (column[_RIPEN.took] > 0) & ~np.isnan(column[_FILL.tried]) & ~struck & closed[_OF_SEEDS[0]]
    pods, seeds = (np.where(opened, column[name], 0.0) for name in (_RIPEN.took, _FILL.tried))
    return CrossCounts({name: steps[name] for name in STEPS}, pods, seeds)


def _closed_step(column: Mapping[str, Floats], step: str, closed: Mapping[str, Flags], struck: Flags) -> StepCounts:
    """Return what was counted of a stage, or of flowers to ripe pods where pods set were not."""
    tried, took, stage = _COUNTED[step]
    before, after = column[tried], column[took]
    if tried == _FIRST.tried:  # of flowers that were not counted there was one
        after = np.minimum(after, before)
    if took == _FILL.took:  # a seed that came up was a filled one
        after = np.where(np.isnan(after), np.nan, np.fmax(after, np.minimum(column["up"], before)))
    known = (before > 0) & ~np.isnan(after) & closed[stage]
    if step == "pod":
        known &= np.isnan(column[_FIRST.took])
    later = list(STAGES)[list(STAGES).index(stage) + 1 :]
    last = np.all([struck, *(np.isnan(column[STAGES[name].took]) for name in later)], axis=0)
    return StepCounts.of(before, after, known & (~last | (after > 0)), last)


def _seeds(
    column: Mapping[str, Floats], steps: Mapping[str, StepCounts], finished: Flags, struck: Flags
) -> tuple[StepCounts, StepCounts]:
    """Return what is known of seeds to seedlings, and of ripe pods to one, where their stages were not counted."""
    seeds, filled, pods, up = column[_FILL.tried], column[_FILL.took], column[_RIPEN.took], column["up"]
    unsown = finished & np.isnan(column[_LAST.tried]) & ~steps[LAST].known & ~(struck & ~(up > 0))
    came_up = up > 0
    fill = steps[_OF_SEEDS[0]]
    over = came_up | ((up == 0) & ~(fill.known & (fill.took == 0)))
    of_seeds = unsown & (seeds > 0) & over & np.isnan(filled) & ~(pods > 0)
    no_seed = finished & ~struck & ~came_up & ((seeds == 0) | ((filled == 0) & np.isnan(seeds)))
    of_pods = (pods > 0) & ((unsown & over) | no_seed)
    zero = np.zeros(len(up))
    return StepCounts.of(seeds, zero, of_seeds, came_up), StepCounts.of(pods, zero, of_pods, came_up & ~no_seed)


def _whole(column: Mapping[str, Floats], steps: dict[str, StepCounts], finished: Flags, struck: Flags) -> StepCounts:
    """Return what is known of flowers to a seedling, where nothing finer was counted or an outcome has no place.

    An outcome without a place takes the counts of pods with it: "three set, no seedling" would else look like success,
    and pods would be counted of those alone that gave a seedling.
    """
    tried, took, seeds, filled, sown = (
        column[name] for name in ("tried", "took", _FILL.tried, _FILL.took, _LAST.tried)
    )
    along = np.any([~np.isnan(column[name]) for name in STAGE_COLUMNS if name != _LAST.took], axis=0)
    by_unit = ~np.isnan(tried) & ~np.isnan(took) & ~along
    in_units = by_unit & finished & ~struck
    up = column["up"] > 0
    no_seed = (seeds == 0) | (np.isnan(seeds) & (filled == 0))
    nothing = ((column["up"] == 0) & ((sown != 0) | (took == 0))) | no_seed
    placed = np.any([step.known & (step.took == 0) & ~step.some for step in steps.values()], axis=0)
    of_seeds = np.any([steps[name].known for name in (LAST, "seed", "fruitful")], axis=0)
    pods_unknown = np.isnan(column[_RIPEN.took])
    open_ended = finished & pods_unknown & ~in_units & ~of_seeds
    failed = open_ended & ~struck & nothing & ~up & ~placed
    grew = open_ended & up
    seen = (seeds > 0) | (filled > 0) | (sown > 0)
    _say_that_pods_came(steps, column, finished & pods_unknown & seen & ~grew)
    for name in (*_OF_PODS, "pod"):
        step = steps[name]
        steps[name] = StepCounts.of(step.tried, step.took, step.known & ~(failed | grew), step.some)
    units = np.where(by_unit, tried, column[_FIRST.tried])
    return StepCounts.of(units, np.where(in_units, took, 0.0), (in_units | failed | grew) & (units > 0), grew)


def _say_that_pods_came(steps: dict[str, StepCounts], column: Mapping[str, Floats], shown: Flags) -> None:
    """Let seeds speak for the pods that nobody counted: some were held."""
    for name, spared in ((_OF_PODS[-1], False), ("pod", ~np.isnan(column[_FIRST.took]))):
        before, step = column[_COUNTED[name][0]], steps[name]
        more = shown & ~step.known & (before > 0) & ~np.asarray(spared)
        tried = np.where(more, before, step.tried)
        steps[name] = StepCounts.of(tried, step.took, step.known | more, step.some | more)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A cross that does not enter, and the first reason of ``REASONS`` that holds."""

    cross: Cross
    reason: str


@dataclass(frozen=True, slots=True)
class TrainingSet:
    """The crosses that enter a fit, with their outcomes in the same order.

    ``seed`` and ``pollen`` are their parents, as labels of the tree; ``outcomes`` what came of each as a whole, unknown
    until the window of the last stage has passed; ``counts`` what each says about every step; ``weight``, shape
    (n_crosses,), how much of a full record each is; ``left_out`` all other crosses.
    """

    crosses: tuple[Cross, ...]
    seed: tuple[str, ...]
    pollen: tuple[str, ...]
    outcomes: Outcomes
    counts: CrossCounts
    weight: Floats
    left_out: tuple[LeftOut, ...]

    def __getitem__(self, at: Sequence[int]) -> TrainingSet:
        """Return the evidence of some of the crosses, by their place among those that enter."""
        place = np.array(at, dtype=np.int64)
        seed, pollen = (tuple(side[i] for i in at) for side in (self.seed, self.pollen))
        crosses = tuple(self.crosses[i] for i in at)
        arrays = self.outcomes[place], self.counts[place], self.weight[place]
        return TrainingSet(crosses, seed, pollen, *arrays, self.left_out)


def training_set_from(
    crosses: Sequence[Cross],
    plants: Plants,
    index: NameIndex,
    *,
    as_of: date,
    windows: Mapping[str, float],
    self_fertile: Collection[str] = (),
    doubtful: float = DOUBTFUL,
) -> TrainingSet:
    """Choose the crosses that enter a fit.

    Parameters
    ----------
    plants : Plants
        For clones: crossing within one is selfing and tells nothing of a pairing.
    index : NameIndex
        The species that have a place on the tree.
    as_of : date
        The day on which the season is read. What was recorded later says nothing yet, so that a day can be replayed.
    windows : mapping of str to float
        Days after the pollination on which each stage is closed (`step_counts`); "no seedling" is none before the last.
    self_fertile : collection of str
        Labels of species known to set seed to their own pollen; a finding on the plant itself overrides them.
    doubtful : float
        Weight of a cross whose seedlings were never checked, from a self-fertile mother whose own stamens were left in.
    """
    counts, lost = _counts(crosses), np.array([cross.lost_to is not None for cross in crosses], dtype=np.bool_)
    age = np.array([(as_of - cross.date).days for cross in crosses], dtype=np.float64)
    of_steps = step_counts(counts, age, windows, lost)
    outcomes, finished = outcomes_of(counts, lost), age >= max(windows.values())
    known = outcomes.known & finished
    outcomes = replace(outcomes, known=known, some=outcomes.some & known, uncounted=outcomes.uncounted & known)
    places = placed(index, [(cross.seed_parent, cross.pollen_parent) for cross in crosses])
    reasons = [
        _never(cross, plants, place) or _not_yet(cross, as_of, finished=bool(over), says=bool(says))
        for cross, place, over, says in zip(crosses, places, finished, of_steps.speaks, strict=True)
    ]
    left_out = tuple(LeftOut(cross, reason) for cross, reason in zip(crosses, reasons, strict=True) if reason)
    weight = [
        (doubtful if _in_doubt(cross, plants, place[0], self_fertile) else 1.0) * (FRIENDS if cross.friend else 1.0)
        for cross, place in zip(crosses, places, strict=True)
    ]
    seed, pollen = (tuple(str(place[side]) for place in places) for side in (0, 1))
    every = TrainingSet(tuple(crosses), seed, pollen, outcomes, of_steps, np.array(weight), left_out)
    return every[[i for i, reason in enumerate(reasons) if reason is None]]


def self_fertile_labels(traits: TraitTable | None, index: NameIndex) -> set[str]:
    """Return the labels of the species that a trait table knows to set seed to their own pollen."""
    column = None if traits is None else next((c for c in traits.columns if c.name == "self_fertile"), None)
    if traits is None or column is None:
        return set()
    selfs = (name for name, yes in zip(traits.species, column.values, strict=True) if yes is True)
    return {label for name in selfs if (label := find_label(index, name))}


def no_pairing(cross: Cross, plants: Plants) -> str | None:
    """Return why a record is no cross of two parents: "no_pairing" or "one_clone"; None if it is one."""
    if cross.pollen_parent is None or cross.pollen_kind not in _ONE_KIND_OF_POLLEN:
        return "no_pairing"
    return "one_clone" if plants.one_clone(cross.seed_plant, cross.pollen_plant) else None


def fruitful(cross: Cross) -> bool | None:
    """Tell whether a cross gave a seedling: yes, no, or None while that is open."""
    outcome = outcomes_of(_counts([cross]), np.array([cross.lost_to is not None]))
    if not outcome.known[0]:
        return None
    return bool(outcome.fruitful[0])


def _counts(crosses: Sequence[Cross]) -> dict[str, Floats]:
    return count_arrays([{column: getattr(cross, column) for column in COUNT_COLUMNS} for cross in crosses])


def _never(cross: Cross, plants: Plants, place: tuple[str | None, str | None]) -> str | None:
    """Why a cross can never speak for its pairing, if so."""
    reason = no_pairing(cross, plants)
    if reason is not None:
        return reason
    if cross.kind != CROSS:
        return "check"
    if cross.technique not in _PLAIN:
        return "technique"
    if cross.proof == SELFED:
        return "selfed"
    if cross.only_successes:
        return "only_successes"
    return "not_in_tree" if None in place else None


def _not_yet(cross: Cross, as_of: date, *, finished: bool, says: bool) -> str | None:
    """Why a cross has nothing to say yet, if so."""
    if not recorded_by(cross, as_of):
        return "not_recorded"
    if says:
        return None
    if not finished:
        return "not_finished"
    return "lost" if cross.lost_to is not None else "unknown_outcome"


def _in_doubt(cross: Cross, plants: Plants, label: str | None, self_fertile: Collection[str]) -> bool:
    """Tell whether the seedlings of a cross may well be the mother's own."""
    mother = plants.find(cross.seed_plant)
    own = None if mother is None else mother.self_fertile
    selfs = label in self_fertile if own is None else own
    came_up = bool(cross.seedlings) or bool(cross.took)
    return selfs and came_up and cross.stamens_removed is False and cross.proof in {None, UNCHECKED}
