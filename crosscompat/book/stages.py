"""What a cross says about each stage on the way from flower to seedling.

A stage is conditional on the one before, so that separate fits of the stages add up (continuation ratios) [1]_.

References
----------
.. [1] Agresti A (2013). Categorical Data Analysis, 3rd edition, section 8.3.4. Wiley.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["STAGES", "StageOutcomes", "stage_outcomes", "unplaced_failures"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STAGES: Mapping[str, tuple[str, str]] = {
    "set": ("units", "pods_set"),
    "hold": ("pods_set", "pods_held"),
    "fill": ("seeds", "seeds_filled"),
    "germinate": ("seeds_sown", "seedlings"),
}
"""Each stage with what it is tried on and what is left of that, in the order of the year."""

_SHOWN_BY: Mapping[str, tuple[str, ...]] = {
    "set": ("pods_held", "seeds", "seeds_filled", "seeds_sown", "seedlings"),
    "hold": ("seeds", "seeds_filled", "seeds_sown", "seedlings"),
    "fill": ("seedlings",),  # empty seed may be sown too
    "germinate": (),
}


@dataclass(frozen=True, slots=True)
class StageOutcomes:
    """The outcomes of one stage, cross by cross.

    Attributes
    ----------
    tried, took : ndarray of float, shape (n_crosses,)
        How many entered the stage and how many came through; one unit where the units were not counted.
    some : ndarray of bool, shape (n_crosses,)
        True where only "some of these came through" is known.
    known : ndarray of bool, shape (n_crosses,)
        False where the stage says nothing.
    """

    tried: Floats
    took: Floats
    some: Flags
    known: Flags

    def __getitem__(self, at: NDArray[np.int64]) -> StageOutcomes:
        """Return those of some crosses."""
        return StageOutcomes(self.tried[at], self.took[at], self.some[at], self.known[at])


def stage_outcomes(
    counts: Mapping[str, Floats], age: Floats, windows: Mapping[str, float], lost: Flags | None = None
) -> dict[str, StageOutcomes]:
    """Return what each cross says about each stage.

    Parameters
    ----------
    counts : mapping of str to ndarray of float, shape (n_crosses,)
        Any of the counts of a cross; NaN where blank.
    age : ndarray of float, shape (n_crosses,)
        Days since the pollination.
    windows : mapping of str to float
        Days after which each stage is closed. Before that it says nothing, whatever is known of it: failures show
        early and successes late. That something came through because it was seen later on counts only once the last
        stage is closed, for not until then would its absence count.
    lost : ndarray of bool, shape (n_crosses,), optional
        True where an accident ended the cross. It struck at the last stage that was counted, so that what came through
        there still counts, as "some", and what is missing does not.

    Examples
    --------
    Four flowers, three pods of which none held; and five flowers of which only a seedling is on record.

    >>> nan = np.nan
    >>> found = stage_outcomes(
    ...     {"units": np.array([4, 5]), "pods_set": np.array([3, nan]), "pods_held": np.array([0, nan]),
    ...      "seedlings": np.array([nan, 1])},
    ...     age=np.array([400.0, 400.0]), windows={"set": 30, "hold": 150, "fill": 200, "germinate": 365})
    >>> found["set"].tried, found["set"].took, found["set"].some
    (array([4., 5.]), array([3., 0.]), array([False,  True]))
    >>> found["hold"].known, found["germinate"].known
    (array([ True, False]), array([False, False]))
    """
    struck = _struck(counts, np.zeros(len(age), dtype=np.bool_) if lost is None else lost)
    finished = age >= windows[list(STAGES)[-1]]
    found = {}
    for stage in STAGES:
        before, after = _counts(stage, counts, len(age))
        counted = (before > 0) & ~np.isnan(after)
        shown = np.any([counts[column] > 0 for column in _SHOWN_BY[stage] if column in counts], axis=0)
        some = (before > 0) & np.where(counted, struck[stage] & (after > 0), shown & finished)
        exact = counted & ~struck[stage]
        known = (exact | some) & (age >= windows[stage])
        found[stage] = StageOutcomes(
            np.where(known, before, 1.0), np.where(exact & known, after, 0.0), some & known, known
        )
    return found


def _counts(stage: str, counts: Mapping[str, Floats], size: int) -> tuple[Floats, Floats]:
    """Return what entered a stage and what came through, NaN where blank.

    Units that were not counted are one, and a seed that came up was a filled one.
    """
    before, after = (counts.get(column, np.full(size, np.nan)) for column in STAGES[stage])
    if stage == "set":
        before = np.where(np.isnan(before), 1.0, before)
        after = np.minimum(after, before)
    if stage == "fill":
        up = np.minimum(counts.get("seedlings", after), before)
        after = np.where(up > after, up, after)
    return before, after


def _struck(counts: Mapping[str, Floats], lost: Flags) -> dict[str, Flags]:
    """Tell of each stage where it is the last one counted of a cross that an accident ended."""
    struck: dict[str, Flags] = {}
    open_ = lost.copy()
    for stage in reversed(list(STAGES)):
        counted = ~np.isnan(_counts(stage, counts, len(lost))[1])
        struck[stage] = open_ & counted
        open_ &= ~counted
    return struck


def unplaced_failures(counts: Mapping[str, Floats], failed: Flags) -> Flags:
    """Tell which failed crosses do not say at which stage they failed.

    Parameters
    ----------
    counts : mapping of str to ndarray of float, shape (n_crosses,)
        Any of the counts of a cross; NaN where blank.
    failed : ndarray of bool, shape (n_crosses,)
        True where the cross as a whole is known to have failed.

    Notes
    -----
    A failure is placed where a stage has a count to fail of and none came through, or where ripe pods held no seed.

    Examples
    --------
    No pod set; none held, but perhaps none had set; none held of two that had.

    >>> nan = np.nan
    >>> unplaced_failures(
    ...     {"pods_set": np.array([0.0, nan, 2.0]), "pods_held": np.array([nan, 0.0, 0.0])}, np.array([True] * 3))
    array([False,  True, False])
    """
    size = len(failed)
    stages = [_counts(stage, counts, size) for stage in STAGES]
    pods, seeds = (counts.get(column, np.full(size, np.nan)) for column in ("pods_held", "seeds"))
    placed = [(before > 0) & (after == 0) for before, after in [*stages, (pods, seeds)]]
    return np.asarray(failed & ~np.any(placed, axis=0))
