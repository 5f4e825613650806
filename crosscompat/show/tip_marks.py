"""What a picture says about each tip of a tree, and which tips come first."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from crosscompat.ground.wording import say
from crosscompat.show.chances import one_in, percent, percent_range

__all__ = ["Direction", "TipMark", "likeliest", "mark_in_words", "past_in_words", "worth_drawing"]

Direction = Literal["seed", "pollen"]


@dataclass(frozen=True, slots=True)
class TipMark:
    """One species in a picture.

    Attributes
    ----------
    label : str
        The tip's label as the tree writes it.
    shown_name : str
        The name in correct form, genus in full.
    chance, low, high : float or None
        The chance of a seedling with the species the picture is about and its 90% interval; None where unknown.
    took, failed : int
        Past crosses with and without a seedling.
    note : str
        A few words of the grower's concern, such as a caution.
    """

    label: str
    shown_name: str
    chance: float | None = None
    low: float | None = None
    high: float | None = None
    took: int = 0
    failed: int = 0
    note: str = ""


def likeliest(marks: Iterable[TipMark], focus: str, n: int = 5) -> tuple[TipMark, ...]:
    """Return the partners of ``focus`` with the best chances, best first, equal ones by name.

    Examples
    --------
    >>> marks = [TipMark("a", "A", 0.2), TipMark("b", "B", 0.7), TipMark("c", "C"), TipMark("d", "D", 0.7)]
    >>> [mark.label for mark in likeliest(marks, focus="d", n=2)]
    ['b', 'a']
    """
    known = [(-mark.chance, mark.shown_name, mark) for mark in marks if mark.chance is not None and mark.label != focus]
    return tuple(mark for _, _, mark in sorted(known, key=lambda entry: entry[:2])[:n])


def worth_drawing(tips: Sequence[str], focus: str, marks: Collection[TipMark], most: int = 80) -> frozenset[str] | None:
    """Return the tips to keep in a picture of a tree that is too large to read, or None if all of them fit.

    The focus comes first, then partners with past crosses, then partners by chance.

    Parameters
    ----------
    tips : sequence of str
        Labels of all the tips.
    focus : str
        Label of the species the picture is about.
    marks : collection of TipMark
        What is known about the tips.
    most : int
        Number of tips that a picture may hold, at least 1.

    Examples
    --------
    >>> marks = [TipMark("a", "A", 0.2), TipMark("b", "B", 0.7), TipMark("c", "C", 0.1, failed=1)]
    >>> sorted(worth_drawing(["a", "b", "c", "d"], "d", marks, most=3))
    ['b', 'c', 'd']
    """
    if len(tips) <= most:
        return None
    tried = [mark.label for mark in likeliest(marks, focus, len(tips)) if mark.took or mark.failed]
    tried += [mark.label for mark in marks if mark.chance is None and (mark.took or mark.failed)]
    chosen = dict.fromkeys([focus, *tried, *(mark.label for mark in likeliest(marks, focus, len(tips)))])
    return frozenset(list(chosen)[:most])


def past_in_words(mark: TipMark) -> tuple[str, ...]:
    """Return past takes and failures in words, leaving out what never happened.

    Examples
    --------
    >>> past_in_words(TipMark("a", "A", took=2, failed=3)), past_in_words(TipMark("a", "A"))
    (('2 took', '3 failed'), ())
    """
    took = (say("show.took", n=mark.took),) if mark.took else ()
    return took + ((say("show.failed", n=mark.failed),) if mark.failed else ())


def mark_in_words(mark: TipMark) -> str:
    """Return everything a mark says in one line, for a reader who does not see the picture.

    Examples
    --------
    >>> mark_in_words(TipMark("a", "Aus bus", 0.34, 0.12, 0.61, took=2, note="flowers late"))
    'Aus bus: about 1 in 3, 34%, between 12% and 61%; 2 took; flowers late'
    """
    head = mark.shown_name
    if mark.chance is not None:
        if mark.low is None or mark.high is None:
            number = percent(mark.chance)
        else:
            number = percent_range(mark.chance, mark.low, mark.high)
        head = say("show.describe.tip_chance", name=head, chance=one_in(mark.chance), percent=number)
    return "; ".join([head, *past_in_words(mark), *([mark.note] if mark.note else [])])
