"""The way from flower to seedling: its stages, the steps they join into, and what a cross says about each.

A step is as fine as it was counted. Who counts pods, seeds and seedlings speaks of the four stages; who writes down
only what came up speaks of the whole way; both teach the same forecast (`crosscompat.model.composition`). A stage is
conditional on the one before, so that separate fits of the stages add up (continuation ratios) [1]_.

References
----------
.. [1] Agresti A (2013). Categorical Data Analysis, 3rd edition, section 8.3.4. Wiley.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.book.crosses import STAGE_COLUMNS
from crosscompat.book.records import STAGES

__all__ = ["ALONG_THE_WAY", "STAGES", "STEPS", "WHOLE", "CrossCounts", "StepCounts", "step_counts"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

WHOLE = "whole"

STEPS: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(STAGES, ()),
    "pod": ("set", "hold"),
    "seed": ("fill", "germinate"),
    "fruitful": ("seed",),
    WHOLE: ("pod", "fruitful"),
}
"""Each step with the finer steps it joins: a flower to a ripe pod, a seed to a seedling, a ripe pod to at least one
seedling, a flower to at least one seedling."""

ALONG_THE_WAY = STAGE_COLUMNS[:-1]

_CLOSED_WITH = {**{stage: stage for stage in STAGES}, "pod": "hold"}


@dataclass(frozen=True, slots=True)
class StepCounts:
    """What crosses say of one step, arrays of shape (n_crosses,).

    Attributes
    ----------
    tried, took : ndarray of float
        How many entered and how many came through; 1 and 0 where the step says nothing.
    some, known : ndarray of bool
        True where only "some of these came through" is known; False where the step says nothing.
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

    Attributes
    ----------
    steps : mapping of str to StepCounts
        By the names of ``STEPS``.
    pods, seeds : ndarray of float, shape (n_crosses,)
        Ripe pods that were opened together, and the seeds in all of them; 0 pods where not counted.
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

    Parameters
    ----------
    counts : mapping of str to ndarray of float, shape (n_crosses,)
        Any of ``units``, ``pods_set``, ``pods_held``, ``seeds``, ``seeds_filled``, ``seeds_sown``, ``seedlings``, and
        ``tried`` with ``took``, which speak only of crosses without a count along the way; NaN where blank.
    age : ndarray of float, shape (n_crosses,)
        Days since the pollination.
    windows : mapping of str to float
        Days after which each stage is closed. Before that it says nothing, whatever is known of it: failures show early
        and successes late.
    lost : ndarray of bool, shape (n_crosses,), optional
        True where an accident ended the cross. It struck at the last stage that was counted: what came through there
        still counts, as "some", and what is missing does not.

    Notes
    -----
    Every count enters at the finest step that it is known for. A failure that may have come at one stage or another
    counts as "none" of the step that spans them.

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
    size = len(age)
    struck = np.zeros(size, dtype=np.bool_) if lost is None else lost
    column = {name: counts.get(name, np.full(size, np.nan)) for name in ("units", *ALONG_THE_WAY, "seedlings")}
    column["units"] = np.where(np.isnan(column["units"]), 1.0, column["units"])
    tried, took = (counts.get(name, np.full(size, np.nan)) for name in ("tried", "took"))
    took = np.where(np.isnan(tried), np.nan, took)
    column["seeds_sown"] = np.where((column["seeds_sown"] == 0) & (took == 0), np.nan, column["seeds_sown"])
    column["seedlings"] = np.where(np.isnan(column["seedlings"]) & (took == 0), 0.0, column["seedlings"])
    column["up"] = np.fmax(column["seedlings"], took)
    closed = {stage: age >= windows[stage] for stage in STAGES}
    steps = {name: _closed_step(column, name, closed, struck) for name in (*STAGES, "pod")}
    finished = closed["germinate"]
    steps["seed"], steps["fruitful"] = _seeds(column, steps, finished, struck)
    steps[WHOLE] = _whole(column, tried, took, steps, finished, struck)
    opened = (column["pods_held"] > 0) & ~np.isnan(column["seeds"]) & ~struck & closed["fill"]
    return CrossCounts(
        {name: steps[name] for name in STEPS},
        np.where(opened, column["pods_held"], 0.0),
        np.where(opened, column["seeds"], 0.0),
    )


def _closed_step(column: Mapping[str, Floats], step: str, closed: Mapping[str, Flags], struck: Flags) -> StepCounts:
    """Return what was counted of a stage, or of flowers to ripe pods where pods set were not."""
    before, after = column["units" if step == "pod" else STAGES[step][0]], column[STAGES[_CLOSED_WITH[step]][1]]
    if step in {"set", "pod"}:  # of flowers that were not counted there was one
        after = np.minimum(after, before)
    if step == "fill":  # a seed that came up was a filled one
        came_up = np.minimum(column["up"], before)
        after = np.where(np.isnan(after), np.nan, np.fmax(after, came_up))
    known = (before > 0) & ~np.isnan(after) & closed[_CLOSED_WITH[step]]
    if step == "pod":
        known &= np.isnan(column["pods_set"])
    last = struck & _nothing_counted_after(column, _CLOSED_WITH[step])
    return StepCounts.of(before, after, known & (~last | (after > 0)), last)


def _nothing_counted_after(column: Mapping[str, Floats], stage: str) -> Flags:
    """Tell where no later stage was counted."""
    later = list(STAGES)[list(STAGES).index(stage) + 1 :]
    blank = [np.isnan(column[STAGES[name][1]]) for name in later]
    return np.asarray(np.all(blank, axis=0) if blank else np.ones(len(column["units"]), dtype=np.bool_), dtype=np.bool_)


def _seeds(
    column: Mapping[str, Floats], steps: Mapping[str, StepCounts], finished: Flags, struck: Flags
) -> tuple[StepCounts, StepCounts]:
    """Return what is known of seeds to seedlings, and of ripe pods to one, where their stages were not counted."""
    seeds, pods, up = column["seeds"], column["pods_held"], column["up"]
    unsown = finished & np.isnan(column["seeds_sown"]) & ~steps["germinate"].known & ~(struck & ~(up > 0))
    came_up, nothing = up > 0, (up == 0) & ~(steps["fill"].known & (steps["fill"].took == 0))
    of_seeds = unsown & (seeds > 0) & (came_up | nothing) & np.isnan(column["seeds_filled"]) & ~(pods > 0)
    no_seed = finished & ~struck & ~came_up & ((seeds == 0) | ((column["seeds_filled"] == 0) & np.isnan(seeds)))
    of_pods = (pods > 0) & ((unsown & (came_up | nothing)) | no_seed)
    zero = np.zeros(len(up))
    return StepCounts.of(seeds, zero, of_seeds, came_up), StepCounts.of(pods, zero, of_pods, came_up & ~no_seed)


def _whole(
    column: Mapping[str, Floats],
    tried: Floats,
    took: Floats,
    steps: dict[str, StepCounts],
    finished: Flags,
    struck: Flags,
) -> StepCounts:
    """Return what is known of flowers to a seedling, where nothing finer was counted or an outcome has no place.

    An outcome without a place takes the counts of pods with it: "three set, no seedling" would else look like success,
    and pods would be counted of those alone that gave a seedling.
    """
    by_unit = ~np.isnan(tried) & ~np.isnan(took) & ~np.any([~np.isnan(column[name]) for name in ALONG_THE_WAY], axis=0)
    in_units = by_unit & finished & ~struck
    up = column["up"] > 0
    no_seed = (column["seeds"] == 0) | (np.isnan(column["seeds"]) & (column["seeds_filled"] == 0))
    nothing = ((column["up"] == 0) & ((column["seeds_sown"] != 0) | (took == 0))) | no_seed
    placed = np.any([step.known & (step.took == 0) & ~step.some for step in steps.values()], axis=0)
    of_seeds = np.any([steps[name].known for name in ("germinate", "seed", "fruitful")], axis=0)
    pods_unknown = np.isnan(column["pods_held"])
    open_ended = finished & pods_unknown & ~in_units & ~of_seeds
    failed = open_ended & ~struck & nothing & ~up & ~placed
    grew = open_ended & up
    seen = (column["seeds"] > 0) | (column["seeds_filled"] > 0) | (column["seeds_sown"] > 0)
    _say_that_pods_came(steps, column, finished & pods_unknown & seen & ~grew)
    for name in ("set", "hold", "pod"):
        steps[name] = _without(steps[name], failed | grew)
    units = np.where(by_unit, tried, column["units"])
    return StepCounts.of(units, np.where(in_units, took, 0.0), (in_units | failed | grew) & (units > 0), grew)


def _say_that_pods_came(steps: dict[str, StepCounts], column: Mapping[str, Floats], shown: Flags) -> None:
    """Let seeds speak for the pods that nobody counted: some were held."""
    for name, before in (("hold", column["pods_set"]), ("pod", column["units"])):
        more = shown & ~steps[name].known & (before > 0) & ~((name == "pod") & ~np.isnan(column["pods_set"]))
        step, added = steps[name], StepCounts.of(before, np.zeros(len(before)), more, more)
        steps[name] = StepCounts(
            np.where(more, added.tried, step.tried), np.where(more, added.took, step.took), step.some | added.some,
            step.known | more,
        )  # fmt: skip


def _without(step: StepCounts, dropped: Flags) -> StepCounts:
    """Blank some crosses."""
    return StepCounts.of(step.tried, step.took, step.known & ~dropped, step.some)
