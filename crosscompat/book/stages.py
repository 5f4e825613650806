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

_LATER = ("pods_set", "pods_held", "seeds", "seeds_filled", "seedlings")


@dataclass(frozen=True, slots=True)
class StageOutcomes:
    """The outcomes of one stage, cross by cross.

    Attributes
    ----------
    tried, took : ndarray of float, shape (n_crosses,)
        How many entered the stage and how many came through.
    some : ndarray of bool, shape (n_crosses,)
        True where only "some of these came through" is known.
    known : ndarray of bool, shape (n_crosses,)
        False where the stage says nothing.
    """

    tried: Floats
    took: Floats
    some: Flags
    known: Flags


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
        early and successes late.
    lost : ndarray of bool, shape (n_crosses,), optional
        True where an accident ended the cross: a stage of which nothing is left is then no failure.

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
    size = len(age)
    blank = np.full(size, np.nan)
    spared = np.ones(size, dtype=np.bool_) if lost is None else ~lost
    found = {}
    for stage, (tried, took) in STAGES.items():
        before, after = counts.get(tried, blank), counts.get(took, blank)
        counted = ~np.isnan(before) & ~np.isnan(after) & (before > 0) & (spared | (after > 0))
        some = ~counted & (before > 0) & _came_through(took, counts, blank)
        closed = age >= windows[stage]
        known = (counted | some) & closed
        found[stage] = StageOutcomes(
            np.where(known, before, 1.0), np.where(counted & known, after, 0.0), some & known, known
        )
    return found


def _came_through(took: str, counts: Mapping[str, Floats], blank: Floats) -> Flags:
    """Tell where something later than a blank count shows that the stage was passed."""
    later = _LATER[_LATER.index(took) + 1 :]
    seen = [counts.get(column, blank) > 0 for column in later]
    return np.any(seen, axis=0) if seen else np.zeros(blank.shape, dtype=np.bool_)


def unplaced_failures(counts: Mapping[str, Floats], failed: Flags) -> Flags:
    """Tell which failed crosses do not say at which stage they failed.

    Parameters
    ----------
    counts : mapping of str to ndarray of float, shape (n_crosses,)
        Any of the counts of a cross; NaN where blank.
    failed : ndarray of bool, shape (n_crosses,)
        True where the cross as a whole is known to have failed.

    Examples
    --------
    >>> unplaced_failures({"pods_set": np.array([0.0, np.nan])}, np.array([True, True]))
    array([False,  True])
    """
    blank = np.full(len(failed), np.nan)
    placed = np.zeros(len(failed), dtype=np.bool_)
    for tried, took in STAGES.values():
        before, after = counts.get(tried, blank), counts.get(took, blank)
        placed |= (after == 0) & ~(before == 0)
    return failed & ~placed
