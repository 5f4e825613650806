"""What was pollinated: flowers and racemes are different things, and are never added up."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from crosscompat.book.records import FLOWERS, Pollination
from crosscompat.ground.wording import catalogue, say

__all__ = ["Units", "in_all", "in_words", "kinds_of", "total", "units_of_visits", "units_told"]

_FLOWER = "flower"
"""What a visit is counted in that does not say."""

_SINGULAR = {"flowers": _FLOWER, "cyathia": "cyathium", "racemes": "raceme"}


@dataclass(frozen=True, slots=True)
class Units:
    """So many units of one kind; None where some of them were not counted."""

    kind: str
    count: int | None

    @property
    def words(self) -> str:
        """The count in words, in the grower's own where they are none of ours; empty where it is not known.

        Examples
        --------
        >>> Units("raceme", 2).words, Units("head", 3).words, Units("flower", None).words
        ('2 racemes', 'head: 3', '')
        """
        if self.count is None:
            return ""
        known = self.kind in catalogue("units")["kinds"]
        return say(f"units.kinds.{self.kind}" if known else "units.other", n=self.count, kind=self.kind)


def total(values: Iterable[int | None]) -> int | None:
    """Return the sum of counts of one kind, None where there is nothing to add or one of them is unknown.

    Examples
    --------
    >>> total([2, 3]), total([2, None]), total([])
    (5, None, None)
    """
    every = list(values)
    known = [value for value in every if value is not None]
    return sum(known) if known and len(known) == len(every) else None


def units_told(kind: str | None, count: int | None) -> Units:
    """Return units by our word for their kind where there is one, else by the grower's.

    Examples
    --------
    >>> units_told("Racemes", 2), units_told(None, 3), units_told("Head", 1)
    (Units(kind='raceme', count=2), Units(kind='flower', count=3), Units(kind='Head', count=1))
    """
    plain = _plain(kind)
    return Units(plain if kind is None or plain in catalogue("units")["kinds"] else kind, count)


def units_of_visits(visits: Iterable[Pollination]) -> tuple[Units, ...]:
    """Return the new units of some visits, each kind by itself, in the order in which they were first brought pollen.

    Examples
    --------
    >>> from datetime import date
    >>> visits = [Pollination(cross="c", date=date(2026, 5, 1), units=n, unit_kind=kind)
    ...           for n, kind in ((3, None), (2, "raceme"), (1, "Flower"))]
    >>> units_of_visits(visits)
    (Units(kind='flower', count=4), Units(kind='raceme', count=2))
    """
    found: dict[str, list[Pollination]] = {}
    for visit in visits:
        if visit.flowers == FLOWERS[0]:
            found.setdefault(_plain(visit.unit_kind), []).append(visit)
    return tuple(units_told(alike[0].unit_kind, total(visit.units for visit in alike)) for alike in found.values())


def in_all(units: Sequence[Units]) -> int | None:
    """Return how many units there are; None where some were not counted, or they are of different kinds.

    Examples
    --------
    >>> in_all([Units("flower", 4)]), in_all([Units("flower", 4), Units("raceme", 2)])
    (4, None)
    """
    return units[0].count if len(units) == 1 else None


def kinds_of(visits: Sequence[Pollination]) -> str | None:
    """Return what was counted; one kind as it was written first, if it was, and several one by one.

    Examples
    --------
    >>> from datetime import date
    >>> visits = [Pollination(cross="c", date=date(2026, 5, 1), unit_kind=kind) for kind in (None, "Raceme")]
    >>> kinds_of(visits[:1]), kinds_of(visits[1:]), kinds_of(visits)
    (None, 'Raceme', 'flower; raceme')
    """
    kinds = [one.kind for one in units_of_visits(visits)]
    if len(kinds) > 1:
        return "; ".join(kinds)
    return next((visit.unit_kind for visit in visits if visit.unit_kind is not None), None)


def in_words(units: Sequence[Units]) -> str:
    """Return the counts of different kinds one beside the other; empty where one of them is not known.

    Examples
    --------
    >>> in_words([Units("flower", 4), Units("raceme", 2), Units("head", 1)])
    '4 flowers, 2 racemes and head: 1'
    >>> in_words([Units("flower", 4), Units("raceme", None)])
    ''
    """
    words = [unit.words for unit in units]
    if not words or not all(words):
        return ""
    return say("units.and").join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]


def _plain(kind: str | None) -> str:
    """Return a kind of unit whatever its case and its number."""
    word = " ".join((kind or "").split()).casefold() or _FLOWER
    return _SINGULAR.get(word, word)
