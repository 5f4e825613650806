"""How long things take: the Kaplan-Meier estimate, for waits of which some are not over yet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Waiting", "kaplan_meier"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Waiting:
    """How many still wait after so many days.

    Attributes
    ----------
    days : ndarray of float, shape (k,)
        The days on which something came, ascending.
    waiting : ndarray of float, shape (k,)
        The share that still waits after each of them.
    events : int
        How many waits were over.
    """

    days: Floats
    waiting: Floats
    events: int

    def day_of(self, share: float) -> float | None:
        """Return the first day by which a share was over; None if it never came to that.

        Examples
        --------
        >>> kaplan_meier([5, 8, 9], [True, True, True]).day_of(0.5)
        8.0
        """
        reached = np.flatnonzero(1.0 - self.waiting >= share - 1e-12)
        return float(self.days[reached[0]]) if reached.size else None


def kaplan_meier(days: ArrayLike, over: ArrayLike) -> Waiting:
    """Return the Kaplan-Meier estimate of how many still wait.

    Parameters
    ----------
    days : array_like of float, shape (n,)
        How long each has waited, until it was over or was last looked at.
    over : array_like of bool, shape (n,)
        Whether it was over then. One that was not is at risk up to that day, and on it.

    Returns
    -------
    Waiting

    Notes
    -----
    Kaplan and Meier 1958, J Am Stat Assoc 53:457-481. On each day the share that waits is multiplied by one less the
    share of those still at risk whose wait ends.

    Examples
    --------
    Three waits, one of them given up after six days: a third ends on day 5, then the one that is left on day 8.

    >>> found = kaplan_meier([5, 6, 8], [True, False, True])
    >>> found.days.tolist(), found.waiting.round(3).tolist()
    ([5.0, 8.0], [0.667, 0.0])
    """
    waited = np.asarray(days, dtype=np.float64)
    ended = np.asarray(over, dtype=bool)
    event_days, events = np.unique(waited[ended], return_counts=True)
    at_risk = waited.size - np.searchsorted(np.sort(waited), event_days, side="left")
    waiting = np.cumprod(1.0 - events / np.maximum(at_risk, 1))
    return Waiting(event_days, np.asarray(waiting, dtype=np.float64), int(ended.sum()))
