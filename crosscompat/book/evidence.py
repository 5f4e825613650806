"""Which crosses speak for the chances, what they say, and why the others do not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from crosscompat.book.crosses import Cross, count_arrays
from crosscompat.book.outcomes import COUNT_COLUMNS, Outcomes, outcomes_of
from crosscompat.book.placing import placed
from crosscompat.book.plants import Plants
from crosscompat.names import NameIndex

__all__ = ["REASONS", "Evidence", "LeftOut", "evidence_from", "fruitful", "no_pairing"]

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

    def __getitem__(self, at: Sequence[int]) -> Evidence:
        """Return the evidence of some of the crosses, by their place among those that enter."""
        return Evidence(
            tuple(self.crosses[i] for i in at),
            tuple(self.seed[i] for i in at),
            tuple(self.pollen[i] for i in at),
            _taken(self.outcomes, np.array(at, dtype=np.int64)),
            self.left_out,
        )


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
    places = placed(index, [(cross.seed_parent, cross.pollen_parent) for cross in crosses])
    entered: list[int] = []
    left_out: list[LeftOut] = []
    for i, cross in enumerate(crosses):
        young = (as_of - cross.date).days < window_days
        reason = _never(cross, plants, places[i]) or _not_yet(cross, young=young, known=bool(outcomes.known[i]))
        if reason is None:
            entered.append(i)
        else:
            left_out.append(LeftOut(cross, reason))
    return Evidence(
        tuple(crosses[i] for i in entered),
        tuple(str(places[i][0]) for i in entered),
        tuple(str(places[i][1]) for i in entered),
        _taken(outcomes, np.array(entered, dtype=np.int64)),
        tuple(left_out),
    )


def no_pairing(cross: Cross, plants: Plants) -> str | None:
    """Return why a record is no cross of two parents: "no_pairing" or "one_clone"; None if it is one.

    Examples
    --------
    >>> from datetime import date
    >>> no_pairing(Cross(date(2024, 5, 1), "A", None, pollen_kind="open"), Plants.of([]))
    'no_pairing'
    """
    if cross.pollen_parent is None or cross.pollen_kind not in _ONE_KIND_OF_POLLEN:
        return "no_pairing"
    return "one_clone" if plants.one_clone(cross.seed_plant, cross.pollen_plant) else None


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
    return count_arrays([{column: getattr(cross, column) for column in COUNT_COLUMNS} for cross in crosses])


def _never(cross: Cross, plants: Plants, place: tuple[str | None, str | None]) -> str | None:
    """Why a cross can never speak for its pairing, if so."""
    reason = no_pairing(cross, plants)
    if reason is not None:
        return reason
    if cross.technique not in _PLAIN:
        return "technique"
    if cross.only_successes:
        return "only_successes"
    return "not_in_tree" if None in place else None


def _not_yet(cross: Cross, *, young: bool, known: bool) -> str | None:
    """Why the outcome of a cross is not to be read yet, if so."""
    if young:
        return "not_finished"
    if known:
        return None
    return "lost" if cross.lost_to is not None else "unknown_outcome"


def _taken(outcomes: Outcomes, at: NDArray[np.int64]) -> Outcomes:
    return Outcomes(
        outcomes.tried[at], outcomes.took[at], outcomes.some[at], outcomes.known[at], outcomes.uncounted[at]
    )
