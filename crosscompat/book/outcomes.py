"""What a cross says about the chance per unit, from the counts that were written down.

A count that was not written down is unknown and never a failure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.ground.wording import say

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STAGE_COLUMNS = ("pods_set", "pods_held", "seeds", "seeds_filled", "seeds_sown", "seedlings")
COUNT_COLUMNS = ("units", *STAGE_COLUMNS, "tried", "took")

_PODS = ("pods_set", "pods_held")
_CONTRADICTIONS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "more_than": (
        ("pods_set", "units"),
        ("pods_held", "pods_set"),
        ("pods_held", "units"),
        ("seeds_filled", "seeds"),
        ("seedlings", "seeds_sown"),
        ("took", "tried"),
    ),
    "from_none": (
        *((later, pod) for pod in _PODS for later in ("seeds", "seeds_filled", "seeds_sown", "seedlings")),
        *((later, "seeds") for later in ("seeds_sown", "seedlings")),
    ),
}
_ENDS_AT_ZERO = ("pods_set", "pods_held", "seeds", "seeds_filled")


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Plain outcomes, cross by cross.

    Attributes
    ----------
    tried : ndarray of float, shape (n_crosses,)
        Units; 1 where they were not counted.
    took : ndarray of float, shape (n_crosses,)
        Units with a seedling.
    some : ndarray of bool, shape (n_crosses,)
        True where only "some of these units took" is known.
    known : ndarray of bool, shape (n_crosses,)
        False where the counts leave the outcome open.
    uncounted : ndarray of bool, shape (n_crosses,)
        True where the outcome is known but not from how many units.
    """

    tried: Floats
    took: Floats
    some: Flags
    known: Flags
    uncounted: Flags

    def __getitem__(self, at: NDArray[np.int64]) -> Outcomes:
        """Return those of some crosses."""
        return Outcomes(self.tried[at], self.took[at], self.some[at], self.known[at], self.uncounted[at])

    @property
    def fruitful(self) -> Flags:
        """Tell which crosses are known to have given a seedling, shape (n_crosses,)."""
        return np.asarray(self.known & (self.some | (self.took > 0)))


def outcomes_of(counts: Mapping[str, Floats], lost: Flags | None = None) -> Outcomes:
    """Return the plain outcomes that the counts of each cross amount to.

    Parameters
    ----------
    counts : mapping of str to ndarray of float, shape (n_crosses,)
        Any of ``units``, ``pods_set``, ``pods_held``, ``seeds``, ``seeds_filled``, ``seeds_sown``, ``seedlings``, and
        ``tried`` with ``took``; NaN where blank. Where ``tried`` and ``took`` are given they speak alone. No unit at
        all is no cross, and says nothing.
    lost : ndarray of bool, shape (n_crosses,), optional
        True where an accident ended the cross. A seedling seen before still counts, as "some"; the absence of one does
        not.

    Examples
    --------
    Three flowers with a seedling, four whose pods all dropped, two not yet sown, and two counted one by one.

    >>> nan = np.nan
    >>> found = outcomes_of({
    ...     "units": np.array([3, 4, 2, nan]), "pods_held": np.array([1, 0, 1, nan]),
    ...     "seedlings": np.array([2, nan, nan, nan]),
    ...     "tried": np.array([nan, nan, nan, 2]), "took": np.array([nan, nan, nan, 1])})
    >>> found.known
    array([ True,  True, False,  True])
    >>> found.tried, found.took, found.some
    (array([3., 4., 2., 2.]), array([0., 0., 0., 1.]), array([ True, False, False, False]))
    """
    size = len(next(iter(counts.values()))) if counts else 0
    blank = np.full(size, np.nan)
    column = {name: counts.get(name, blank) for name in COUNT_COLUMNS}
    spared = np.ones(size, dtype=bool) if lost is None else ~lost
    counted = ~np.isnan(column["tried"]) & ~np.isnan(column["took"])
    unit_by_unit = counted & spared
    up = np.where(counted, column["took"], column["seedlings"]) > 0
    ended = _ended(column) & ~counted & ~up & spared
    units = np.where(counted, column["tried"], column["units"])
    known = (unit_by_unit | up | ended) & ~(units == 0)
    tried = np.where(np.isnan(units), 1.0, units)
    alone = up & (tried == 1)
    took = np.where(unit_by_unit, column["took"], alone)
    return Outcomes(tried, took, up & ~unit_by_unit & ~alone & known, known, known & np.isnan(units))


def impossible(counts: Mapping[str, Floats]) -> list[tuple[int, str, str]]:
    """Find counts that cannot be, or cannot stand together.

    Parameters
    ----------
    counts : mapping of str to ndarray of float, shape (n_crosses,)
        As for `outcomes_of`; NaN where blank, which contradicts nothing.

    Returns
    -------
    list of (int, str, str)
        Cross, the count in question and what is wrong with it, cross by cross.

    Examples
    --------
    >>> impossible({"pods_held": np.array([0.0, 2.0]), "pods_set": np.array([np.nan, 1.0])})
    [(1, 'pods_held', 'There are more pods held to ripeness than pods set (2 > 1).')]
    """
    found = [
        (int(i), column, say("crosses.no_units"))
        for column in ("units", "tried")
        if column in counts
        for i in np.flatnonzero(counts[column] == 0)
    ]
    for key, pairs in _CONTRADICTIONS.items():
        for less, more in pairs:
            if less in counts and more in counts:
                few, many = counts[less], counts[more]
                wrong = few > many if key == "more_than" else (few > 0) & (many == 0)
                found += [
                    (int(i), less, _contradiction(key, less, more, few[i], many[i])) for i in np.flatnonzero(wrong)
                ]
    return sorted(found, key=lambda entry: entry[0])


def _contradiction(key: str, less: str, more: str, few: float, many: float) -> str:
    words = {"less": say(f"crosses.counts.{less}"), "more": say(f"crosses.counts.{more}")}
    return say(f"crosses.{key}", **words, few=f"{few:g}", many=f"{many:g}")


def _ended(column: Mapping[str, Floats]) -> Flags:
    """Tell where a count of zero has ended the cross: no pod, no seed, or seed sown and nothing up."""
    ended = np.any([column[name] == 0 for name in _ENDS_AT_ZERO], axis=0)
    nothing_up = (column["seedlings"] == 0) & ~(column["seeds_sown"] == 0)
    return np.asarray(ended | nothing_up)
