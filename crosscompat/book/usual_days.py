"""How many days each step of a cross takes: what is usual in its group, what the grower set, what the book has seen."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.book.timelines import Life, Look, Tray

__all__ = [
    "FEWEST",
    "NO_SOURCE",
    "OWN",
    "SET",
    "STEPS",
    "Span",
    "Waiting",
    "days_of_book",
    "kaplan_meier",
    "usual_days",
]

STEPS = ("swelling", "ripe", "sow", "up", "last_up")
NO_SOURCE, SET, OWN = "none", "set", "own"
FEWEST = 5
"""Fewest intervals of a book's own that are believed: a judgement."""

_FEWEST_SEEDLINGS = 20
_EARLY, _LATE = 0.05, 0.95
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Span:
    """The days within which something is expected.

    Attributes
    ----------
    first, last : int
        Days since the step before.
    source : str
        Where that is known from: ``none``, a published source, ``set`` by the grower, or ``own``; blank where the days
        are none that anything takes.
    events : int
        Intervals of the book's own behind it.
    """

    first: int
    last: int
    source: str = ""
    events: int = 0


@cache
def usual_days(group: str) -> Mapping[str, Span]:
    """Return what is usual in a group of plants, step by step; what is known of no group is that of all plants.

    Examples
    --------
    >>> span = usual_days("cactus")["ripe"]
    >>> span.first, span.last, span.source
    (60, 90, 'Echinocereus coccineus: fruit 2 to 3 months (Flora of North America)')
    >>> usual_days("spurge")["swelling"] == usual_days("")["swelling"]
    True
    """
    table: dict[str, Any] = tomllib.loads(files(__package__).joinpath("usual_days.toml").read_text(encoding="utf-8"))
    return {
        step: Span(int(entry["days"][0]), int(entry["days"][1]), str(entry["source"]))
        for step, entry in ((step, (table[""] | table[group])[step]) for step in STEPS)
    }


def days_of_book(lives: Iterable[Life], usual: Mapping[str, Span], as_of: date, window: int = 365) -> dict[str, Span]:
    """Return the days that a book's own crosses took, where it has enough of them, else what is usual.

    Parameters
    ----------
    usual : mapping of str to Span
        By the steps of ``STEPS``.
    as_of : date
        Crosses under way have waited until then.
    window : int
        Days after which a cross or a tray is no longer under way.

    Notes
    -----
    The wait is counted to the day on which the thing was first seen, since nobody knows on which day before it came.
    Crosses in which it is known never to have come are left out, and so are those in which nothing was seen while they
    were under way: the question is when to look, not whether. The span is from the day by which one in twenty had come
    to that by which nineteen had.
    """
    every = list(lives)
    trays = [tray for life in every for tray in life.trays]
    waits: dict[str, list[tuple[int, bool]]] = {step: [] for step in ("swelling", "ripe", "up")}
    for life in every:
        start, open_ = next(iter(life.brushed), None), not (life.over or life.ripe)
        ripening = (life.pods or 0) > life.dropped
        waits["swelling"] += _wait(start, life.swelling, as_of, waiting=open_ and not life.swelling)
        waits["ripe"] += _wait(start, life.ripe, as_of, waiting=open_ and ripening)
    for tray in trays:
        waits["up"] += _wait(tray.sown, tray.looks, as_of, waiting=not (tray.looks or tray.lost))
    under_way = {step: [wait for wait in waits[step] if wait[1] or wait[0] <= window] for step in waits}
    spans = {step: _learned(usual[step], under_way[step]) if step in waits else usual[step] for step in STEPS}
    return spans | {"last_up": _last_up(trays, usual["last_up"], as_of)}


def _learned(usual: Span, waits: list[tuple[int, bool]]) -> Span:
    curve = kaplan_meier([days for days, _ in waits], [over for _, over in waits])
    early, late = curve.day_of(_EARLY), curve.day_of(_LATE)
    if curve.events < FEWEST or early is None:
        return usual
    last = late if late is not None else float(curve.days[-1])
    return Span(int(early), int(np.ceil(last)), OWN, curve.events)


def _wait(start: date | None, looks: Iterable[Look], as_of: date, *, waiting: bool) -> list[tuple[int, bool]]:
    """Return how long it took until anything was first seen, or it has waited if that may still come."""
    seen = [day for day, n in looks if n > 0 and day is not None]
    if start is None or not (seen or waiting):
        return []
    return [(_days(start, min(seen, default=as_of)), bool(seen))]


def _last_up(sown: Iterable[Tray], usual: Span, as_of: date) -> Span:
    """Return when nineteen of twenty seedlings of the finished trays were up, each counted when it was first seen."""
    days: list[int] = []
    trays = 0
    for tray in sown:
        if tray.sown is None or tray.lost or (as_of - tray.sown).days <= usual.last:
            continue
        rises = list(_rises(tray))
        trays += bool(rises)
        days += rises
    if trays < FEWEST or len(days) < _FEWEST_SEEDLINGS:
        return usual
    curve = kaplan_meier(days, [True] * len(days))
    early, late = curve.day_of(0.5), curve.day_of(_LATE)
    return Span(int(early or 0), int(np.ceil(late or curve.days[-1])), OWN, trays)


def _rises(tray: Tray) -> Iterator[int]:
    """Yield, for each seedling of a tray, the day on which it was first counted."""
    up = 0
    for day, n in sorted((day, n) for day, n in tray.looks if day is not None):
        for _ in range(n - up):
            yield _days(tray.sown or day, day)
        up = max(up, n)


def _days(start: date, end: date) -> int:
    return max((end - start).days, 0)


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
