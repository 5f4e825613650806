"""Which crosses speak for the chances, what they say, and why the others do not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from crosscompat.book.crosses import Cross
from crosscompat.book.outcomes import COUNT_COLUMNS, Outcomes, outcomes_of
from crosscompat.book.plants import Plants
from crosscompat.names import NameIndex

__all__ = ["REASONS", "Evidence", "LeftOut", "evidence_from", "fruitful"]

REASONS = (
    "no_pairing",
    "one_clone",
    "technique",
    "only_successes",
    "not_in_tree",
    "not_finished",
    "lost",
    "unknown_outcome",
)

_PLAIN = (None, "plain")
_ONE_KIND_OF_POLLEN = (None, "one", "several")


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A cross that does not enter, and the first reason of ``REASONS`` that holds."""

    cross: Cross
    reason: str


@dataclass(frozen=True, slots=True)
class Evidence:
    """The crosses that enter a fit, with their outcomes in the same order.

    Attributes
    ----------
    crosses : tuple of Cross
    seed, pollen : tuple of str
        Their parents, as labels of the tree.
    outcomes : Outcomes
        What came of each.
    left_out : tuple of LeftOut
        All other crosses.
    """

    crosses: tuple[Cross, ...]
    seed: tuple[str, ...]
    pollen: tuple[str, ...]
    outcomes: Outcomes
    left_out: tuple[LeftOut, ...]


def evidence_from(
    crosses: Sequence[Cross], plants: Plants, index: NameIndex, *, as_of: date, window_days: int
) -> Evidence:
    """Choose the crosses that enter a fit.

    Parameters
    ----------
    crosses : sequence of Cross
        All records.
    plants : Plants
        For clones: crossing within one is selfing and tells nothing of a pairing.
    index : NameIndex
        The species that have a place on the tree.
    as_of : date
        The day on which the season is read.
    window_days : int
        A cross younger than this does not enter, whatever is known of it: failures are known early and successes
        late, so that counting early ones would make every pairing look worse than it is.
    """
    outcomes = outcomes_of(_counts(crosses), np.array([cross.lost_to is not None for cross in crosses], dtype=np.bool_))
    oldest_open = as_of - timedelta(days=window_days)
    entered: list[int] = []
    left_out: list[LeftOut] = []
    for i, cross in enumerate(crosses):
        reason = _reason(cross, plants, index) or _unfinished(cross, oldest_open, known=bool(outcomes.known[i]))
        if reason is None:
            entered.append(i)
        else:
            left_out.append(LeftOut(cross, reason))
    chosen = tuple(crosses[i] for i in entered)
    return Evidence(
        chosen,
        tuple(index.resolve(cross.seed_parent) for cross in chosen),
        tuple(index.resolve(cross.pollen_parent or "") for cross in chosen),
        _taken(outcomes, np.array(entered, dtype=np.int64)),
        tuple(left_out),
    )


def fruitful(cross: Cross) -> bool | None:
    """Tell whether a cross gave a seedling: yes, no, or None while that is open.

    Examples
    --------
    >>> from datetime import date
    >>> fruitful(Cross(date(2024, 5, 1), "A", "B", pods_held=0)), fruitful(Cross(date(2024, 5, 1), "A", "B", units=3))
    (False, None)
    """
    outcome = outcomes_of(_counts([cross]), np.array([cross.lost_to is not None]))
    if not outcome.known[0]:
        return None
    return bool(outcome.some[0] or outcome.took[0] > 0)


def _counts(crosses: Sequence[Cross]) -> dict[str, NDArray[np.float64]]:
    return {
        column: np.array(
            [np.nan if (n := getattr(cross, column)) is None else n for cross in crosses], dtype=np.float64
        )
        for column in COUNT_COLUMNS
    }


def _reason(cross: Cross, plants: Plants, index: NameIndex) -> str | None:
    """Why a cross can never speak for its pairing, if so."""
    if cross.pollen_parent is None or cross.pollen_kind not in _ONE_KIND_OF_POLLEN:
        return "no_pairing"
    if plants.one_clone(cross.seed_plant, cross.pollen_plant):
        return "one_clone"
    if cross.technique not in _PLAIN:
        return "technique"
    if cross.only_successes:
        return "only_successes"
    if cross.seed_parent not in index or cross.pollen_parent not in index:
        return "not_in_tree"
    return None


def _unfinished(cross: Cross, oldest_open: date, *, known: bool) -> str | None:
    """Why the outcome of a cross is not to be read yet, if so."""
    if cross.date > oldest_open:
        return "not_finished"
    if known:
        return None
    return "lost" if cross.lost_to is not None else "unknown_outcome"


def _taken(outcomes: Outcomes, at: NDArray[np.int64]) -> Outcomes:
    return Outcomes(
        outcomes.tried[at], outcomes.took[at], outcomes.some[at], outcomes.known[at], outcomes.uncounted[at]
    )
