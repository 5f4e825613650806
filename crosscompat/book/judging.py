"""Whether what a transaction has written can be true, judged before it holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from crosscompat.book.counts import impossibilities
from crosscompat.book.records import Cross, Plant, Pollen, Pollination
from crosscompat.book.store import Reading
from crosscompat.book.whole import whole_of
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["Bounds", "faults_by_cross", "own_ancestors", "refuse_new_faults"]


_OF_PLANTS = ""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What is possible here: nothing after today, no more seeds in a pod than it can hold."""

    today: date
    most_seeds: int | None = None


def faults_by_cross(page: Reading, crosses: Iterable[str], bounds: Bounds) -> dict[str, list[str]]:
    """Return what cannot be true of each of some crosses, as they stand, and under no cross what cannot of plants."""
    found = {_OF_PLANTS: [say("counts.own_ancestor", plant=name) for name in own_ancestors(page)]}
    for one in dict.fromkeys(crosses):
        cross = page.find(Cross, id=one)
        found[one] = impossibilities(whole_of(page, cross), bounds.today, bounds.most_seeds) if cross else []
    return found


def refuse_new_faults(
    page: Reading, crosses: Iterable[str], before: dict[str, list[str]], bounds: Bounds, *, advice: str = ""
) -> None:
    """Refuse what contradicts itself now and did not before, so that an old contradiction stops nobody.

    Raises
    ------
    WrongUse
        With every reason.
    """
    reasons = [
        fault
        for one, faults in faults_by_cross(page, crosses, bounds).items()
        for fault in faults
        if fault not in before.get(one, [])
    ]
    if reasons:
        told = " ".join([say("counts.refused"), *dict.fromkeys(reasons), advice])
        raise WrongUse(told.strip())


def own_ancestors(page: Reading) -> list[str]:
    """Return the names of plants that would be raised from a cross of their own or of their offspring."""
    raised = {plant.id: plant for plant in page.current(Plant) if plant.cross is not None}
    if not raised:
        return []
    parents = _parents(page, raised)
    return [plant.name for one, plant in raised.items() if one in _ancestors(one, parents)]


def _parents(page: Reading, raised: Mapping[str, Plant]) -> Mapping[str, set[str]]:
    crosses = tuple({plant.cross for plant in raised.values()})
    found: dict[str | None, set[str]] = {cross: set() for cross in crosses}
    for cross, seed in page.columns(Cross, "id", "seed_plant", id=crosses):
        found[cross].add(seed)
    cross_of = dict(page.columns(Pollination, "id", "cross", cross=crosses))
    for visit, plant in page.columns(Pollen, "pollination", "plant", pollination=tuple(cross_of)):
        found[cross_of[visit]].add(plant)
    return {one: found[plant.cross] - {None} for one, plant in raised.items()}


def _ancestors(one: str, parents: Mapping[str, set[str]]) -> set[str]:
    found: set[str] = set()
    waiting = list(parents.get(one, ()))
    while waiting:
        parent = waiting.pop()
        if parent not in found:
            found.add(parent)
            waiting += parents.get(parent, ())
    return found
