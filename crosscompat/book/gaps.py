"""What crosses leave unsaid: failures at one stage or another, seedlings by an uncounted way, empty seeds not counted.

A fit shares these over the stages by expectation; to drop them would make a stage look better, or worse, than it is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.book.stages import STAGES, unplaced_failures

__all__ = ["GATES", "Gaps", "counts_stages", "gaps_of"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

GATES = ("set", "hold", "pods", "seeds", "germinate")
"""Where something may enter whose end is unknown: as units, pods set, ripe pods, their seeds, or filled seeds."""

_FILL = list(STAGES).index("fill")
_ALONG_THE_WAY = ("pods_set", "pods_held", "seeds", "seeds_filled", "seeds_sown")


@dataclass(frozen=True, slots=True)
class Gaps:
    """What is known of each cross beyond the counts of its stages.

    Attributes
    ----------
    gate : ndarray of int, shape (n_crosses,)
        Where among ``GATES`` that entered which failed later; -1 where no failure is unplaced.
    last : ndarray of int, shape (n_crosses,)
        The stage, from 0, at which it had failed at the latest.
    failed : ndarray of float, shape (n_crosses,)
        How many entered there: units, pods or seeds, as the gate counts them.
    fruitful : ndarray of float, shape (n_crosses,)
        Units that gave a seedling each, no more being known of the way there.
    pods, good : ndarray of float, shape (n_crosses,)
        Ripe pods of which only the filled seeds were counted, and those; 0 and NaN for none.
    """

    gate: Ints
    last: Ints
    failed: Floats
    fruitful: Floats
    pods: Floats
    good: Floats

    def __getitem__(self, at: Ints) -> Gaps:
        """Return those of some crosses."""
        return Gaps(self.gate[at], self.last[at], self.failed[at], self.fruitful[at], self.pods[at], self.good[at])

    @property
    def there(self) -> Flags:
        """Tell which crosses have any."""
        return np.asarray((self.gate >= 0) | (self.fruitful > 0) | (self.pods > 0))

    def touches(self, stage: int) -> Flags:
        """Tell which crosses have something to share into one stage, from 0.

        Examples
        --------
        Four flowers and no seedling; a seedling each from two flowers.

        >>> nan = np.nan
        >>> found = gaps_of({"units": np.array([4, nan]), "seedlings": np.array([0, nan]),
        ...                  "tried": np.array([nan, 2]), "took": np.array([nan, 2])},
        ...                 finished=np.array([True, True]))
        >>> found.touches(0), found.failed
        (array([ True,  True]), array([4., 0.]))
        """
        first = np.array([0, 1, 2, 2, 3, len(STAGES)])[self.gate]
        spread = (first <= stage) & (self.last >= stage)
        return np.asarray(spread | (self.fruitful > 0) | ((self.pods > 0) & (stage == _FILL)))


def counts_stages(counts: Mapping[str, Floats]) -> Flags:
    """Tell which crosses have any count between the flower and the seedling, shape (n_crosses,)."""
    found = [~np.isnan(counts[column]) for column in _ALONG_THE_WAY if column in counts]
    return np.asarray(np.any(found, axis=0), dtype=np.bool_)


def gaps_of(counts: Mapping[str, Floats], finished: Flags, lost: Flags | None = None) -> Gaps:
    """Return what is known of crosses beyond the counts of their stages.

    Parameters
    ----------
    counts : mapping of str to ndarray of float, shape (n_crosses,)
        Any of the counts of a cross; NaN where blank.
    finished : ndarray of bool, shape (n_crosses,)
        True where the window of the last stage has passed: only then is the absence of a seedling a failure.
    lost : ndarray of bool, shape (n_crosses,), optional
        True where an accident ended the cross, which then says nothing here.

    Notes
    -----
    ``tried`` and ``took`` speak only of crosses without a count along the way.
    """
    size = len(finished)
    column = {name: counts.get(name, np.full(size, np.nan)) for name in (*_ALONG_THE_WAY, "units", "seedlings")}
    tried, took = (counts.get(name, np.full(size, np.nan)) for name in ("tried", "took"))
    speaks = finished if lost is None else finished & ~lost
    plain = ~np.isnan(tried) & ~counts_stages(column)
    failed_whole = speaks & ~plain & _without_a_seedling(column, took)
    gate, failed = _entered(column)
    at = failed_whole & unplaced_failures(column, failed_whole)
    last = np.where(_zero(column, "pods_held", "seeds"), 1, np.where(_zero(column, "seeds_filled"), 2, len(STAGES) - 1))
    some_failed = speaks & plain & (tried > took)
    gate = np.where(at, gate, np.where(some_failed, 0, -1))
    failed = np.where(at, failed, np.where(some_failed, tried - took, 0.0))
    only_good = speaks & np.isnan(column["seeds"]) & (column["seeds_filled"] > 0) & (column["pods_held"] > 0)
    return Gaps(
        gate.astype(np.int64),
        np.where(at, last, len(STAGES) - 1).astype(np.int64),
        failed.astype(np.float64),
        np.where(speaks & plain, took, 0.0).astype(np.float64),
        np.where(only_good, column["pods_held"], 0.0).astype(np.float64),
        np.where(only_good, column["seeds_filled"], np.nan).astype(np.float64),
    )


def _without_a_seedling(column: Mapping[str, Floats], took: Floats) -> Flags:
    """Tell which crosses ended without a seedling, wherever that was."""
    nothing_up = (column["seedlings"] == 0) & ~(column["seeds_sown"] == 0)
    return np.asarray((_zero(column, *_ALONG_THE_WAY[:4]) | nothing_up | (took == 0)) & ~(column["seedlings"] > 0))


def _zero(column: Mapping[str, Floats], *names: str) -> Flags:
    return np.asarray(np.any([column[name] == 0 for name in names], axis=0), dtype=np.bool_)


def _entered(column: Mapping[str, Floats]) -> tuple[Ints, Floats]:
    """Return the last gate that something is known to have passed, and how many did."""
    units = np.where(np.isnan(column["units"]), 1.0, column["units"])
    counted = (column["pods_set"], column["pods_held"], column["seeds"], column["seeds_filled"])
    gate, entered = np.zeros(len(units), dtype=np.int64), units
    for place, count in enumerate(counted, 1):
        gate, entered = np.where(count > 0, place, gate), np.where(count > 0, count, entered)
    return gate, entered
