"""Taking a change back where the book stays true without it."""

from __future__ import annotations

from crosscompat.book.judging import Bounds, faults_by_cross, refuse_new_faults
from crosscompat.book.store import Change, Writing
from crosscompat.book.store.undoing import chosen_change, touched_by, undo_touched
from crosscompat.book.whole import cross_of
from crosscompat.ground.wording import say

__all__ = ["take_back"]


def take_back(pen: Writing, number: int | None, bounds: Bounds) -> Change:
    """Take a change back, the last one that stands by default.

    Parameters
    ----------
    pen : Writing
        Nothing must have been written with it yet.
    number : int or None
    bounds : Bounds

    Returns
    -------
    Change
        The one that was taken back.

    Raises
    ------
    WrongUse
        As `undoing.undo` says, or if the book would contradict itself.
    """
    change = chosen_change(pen, number)
    pen.what = say("history.undo", number=change.id, what=change.what)
    written, before = touched_by(pen, change.id)
    crosses = [one for record in (*written.values(), *before.values()) if (one := cross_of(pen, record)) is not None]
    faults = faults_by_cross(pen, crosses, bounds)
    undo_touched(pen, change, written, before)
    refuse_new_faults(pen, crosses, faults, bounds)
    return change
