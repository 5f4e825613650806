"""Which crosses speak for the chances, what they say, and why the others do not."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

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
from crosscompat.model.stages import CrossCounts, step_counts
from crosscompat.traits import TraitTable

Floats = NDArray[np.float64]

DOUBTFUL = 0.5
"""Weight of a seedling that may be the mother's own: a judgement."""

FRIENDS = 0.5
"""Weight of a cross made in a friend's collection, by other hands and in another house: a judgement."""

REASONS = (
    "no_pairing",
    "one_clone",
    "check",
    "technique",
    "selfed",
    "only_successes",
    "not_in_tree",
    "not_recorded",
    "not_finished",
    "lost",
    "unknown_outcome",
)

CROSS = "cross"
_PLAIN = (None, "plain")
_ONE_KIND_OF_POLLEN = (None, "one", "several")


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A cross that does not enter, and the first reason of ``REASONS`` that holds."""

    cross: Cross
    reason: str


@dataclass(frozen=True, slots=True)
class TrainingSet:
    """The crosses that enter a fit, with their outcomes in the same order.

    Attributes
    ----------
    crosses : tuple of Cross
    seed, pollen : tuple of str
        Their parents, as labels of the tree.
    outcomes : Outcomes
        What came of each as a whole; unknown until the window of the last stage has passed.
    counts : CrossCounts
        What each says about every step from flower to seedling.
    weight : ndarray of float, shape (n_crosses,)
        How much of a full record each is.
    left_out : tuple of LeftOut
        All other crosses.
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
        return TrainingSet(
            tuple(self.crosses[i] for i in at),
            tuple(self.seed[i] for i in at),
            tuple(self.pollen[i] for i in at),
            self.outcomes[place],
            self.counts[place],
            self.weight[place],
            self.left_out,
        )


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
    crosses : sequence of Cross
        All records.
    plants : Plants
        For clones: crossing within one is selfing and tells nothing of a pairing.
    index : NameIndex
        The species that have a place on the tree.
    as_of : date
        The day on which the season is read. What was recorded later says nothing yet, so that a day can be replayed.
    windows : mapping of str to float
        Days after the pollination on which each stage is closed. A stage says nothing before, whatever is known of it,
        and "no seedling" is none before the last: failures are known early and successes late, so that counting early
        ones would make every pairing look worse than it is.
    self_fertile : collection of str
        Labels of species known to set seed to their own pollen; a finding on the plant itself overrides them.
    doubtful : float
        Weight of a cross whose seedlings were never checked, from a self-fertile mother whose own stamens were left in.
    """
    counts, lost = _counts(crosses), np.array([cross.lost_to is not None for cross in crosses], dtype=np.bool_)
    age = np.array([(as_of - cross.date).days for cross in crosses], dtype=np.float64)
    of_steps = step_counts(counts, age, windows, lost)
    outcomes = _finished(outcomes_of(counts, lost), age >= max(windows.values()))
    places = placed(index, [(cross.seed_parent, cross.pollen_parent) for cross in crosses])
    says = of_steps.speaks
    entered: list[int] = []
    left_out: list[LeftOut] = []
    for i, cross in enumerate(crosses):
        young = age[i] < max(windows.values())
        not_yet = _not_yet(cross, young=young, says=bool(says[i])) if recorded_by(cross, as_of) else "not_recorded"
        reason = _never(cross, plants, places[i]) or not_yet
        if reason is None:
            entered.append(i)
        else:
            left_out.append(LeftOut(cross, reason))
    weight = [
        (doubtful if _in_doubt(cross, plants, place[0], self_fertile) else 1.0) * (FRIENDS if cross.friend else 1.0)
        for cross, place in zip(crosses, places, strict=True)
    ]
    both = [(str(seed), str(pollen)) for seed, pollen in places]
    every = TrainingSet(
        tuple(crosses), tuple(seed for seed, _ in both), tuple(pollen for _, pollen in both), outcomes, of_steps,
        np.array(weight, dtype=np.float64), tuple(left_out),
    )  # fmt: skip
    return every[entered]


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


def _counts(crosses: Sequence[Cross]) -> dict[str, NDArray[np.float64]]:
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


def _not_yet(cross: Cross, *, young: bool, says: bool) -> str | None:
    """Why a cross has nothing to say yet, if so."""
    if says:
        return None
    if young:
        return "not_finished"
    return "lost" if cross.lost_to is not None else "unknown_outcome"


def _in_doubt(cross: Cross, plants: Plants, label: str | None, self_fertile: Collection[str]) -> bool:
    """Tell whether the seedlings of a cross may well be the mother's own."""
    mother = plants.find(cross.seed_plant)
    own = None if mother is None else mother.self_fertile
    selfs = label in self_fertile if own is None else own
    came_up = bool(cross.seedlings) or bool(cross.took)
    return selfs and came_up and cross.stamens_removed is False and cross.proof in {None, UNCHECKED}


def _finished(outcomes: Outcomes, finished: NDArray[np.bool_]) -> Outcomes:
    known = outcomes.known & finished
    return Outcomes(outcomes.tried, outcomes.took, outcomes.some & known, known, outcomes.uncounted & known)
