"""Whether what a transaction has written can be true, judged before it holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from crosscompat.book.counts import impossibilities
from crosscompat.book.records import Cross
from crosscompat.book.store import Reading
from crosscompat.book.whole import whole_of
from crosscompat.errors import WrongUse
from crosscompat.wording import say

__all__ = ["Bounds", "faults_by_cross", "refuse_new_faults"]


@dataclass(frozen=True, slots=True)
class Bounds:
    """What is possible here: nothing after today, no more seeds in a pod than it can hold."""

    today: date
    most_seeds: int | None = None


def faults_by_cross(page: Reading, crosses: Iterable[str], bounds: Bounds) -> dict[str, list[str]]:
    """Return what cannot be true of each of some crosses, as they stand."""
    found = {}
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
