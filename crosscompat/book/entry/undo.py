"""Taking a change back by a new one where the book stays true without it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import fields

from sqlalchemy.exc import IntegrityError

from crosscompat.book.cross_summary import cross_of
from crosscompat.book.entry.validation import Bounds, faults_by_cross, refuse_new_faults
from crosscompat.book.record_fields import reference
from crosscompat.book.records import KINDS, Record
from crosscompat.book.store import Change, Reading, Writing
from crosscompat.book.store.schema import TABLES
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["chosen_change", "last_change", "resting_on", "standing", "take_back", "touched_by", "undo", "undo_touched"]

_PORTION = 5_000


def last_change(page: Reading) -> Change | None:
    """Return the latest change that stands, wrote anything and took nothing back itself, or None."""
    changes = page.changes()
    undone = _undone(changes)
    standing = (change for change in reversed(changes) if change.undoes is None and change.id not in undone)
    return next((change for change in standing if page.touched(change.id)), None)


def undo(pen: Writing, number: int | None = None) -> Change:
    """Take a change back.

    Parameters
    ----------
    pen : Writing
        Nothing must have been written with it yet.
    number : int, optional
        Of the change; by default the last one that stands. Taking back a taking back puts the change in force again.

    Returns
    -------
    Change
        The one that was taken back.

    Raises
    ------
    WrongUse
        If there is no such change, it wrote nothing or was taken back before, later changes corrected what it wrote or
        rest on it, or what would stand again points to what is gone or bears a name that another has by now.
    """
    change = chosen_change(pen, number)
    undo_touched(pen, change, *touched_by(pen, change.id))
    return change


def undo_touched(pen: Writing, change: Change, written: Mapping[str, Record], before: Mapping[str, Record]) -> None:
    """Take a change back of which it is known what it wrote, and what stood before (`touched_by`).

    Raises
    ------
    WrongUse
        As `undo` says, but for the choice of the change.
    """
    if not written and not before:
        raise WrongUse(say("store.undo.empty", number=change.id))
    pen.undoes = change.id
    now = {record.id: record for record in standing(pen, {*written, *before})}
    if any(now.get(one) != record for one, record in written.items()) or (now.keys() - written.keys()):
        raise WrongUse(say("store.undo.later", number=change.id))
    new = written.keys() - before.keys()
    _refuse_if_rested_on(pen, new)
    pen.withdraw(*written.values())
    try:
        pen.put_back(*before.values())
    except IntegrityError:
        raise WrongUse(say("store.undo.taken", number=change.id)) from None
    _refuse_if_hanging(pen, before.values())


def touched_by(page: Reading, change: int) -> tuple[dict[str, Record], dict[str, Record]]:
    """Return the records that a change wrote, and those that stood before in place of them or were taken back by it."""
    touched = [version for kind in KINDS.values() for version in page.versions(kind, change=change)]
    written = {version.record.id: version.record for version in touched if version.made_in == change}
    before = {version.record.id: version.record for version in touched if version.replaced_in == change}
    return written, before


def standing(page: Reading, ids: Collection[str]) -> list[Record]:
    """Return those of some records that stand, whatever their kind."""
    return [record for kind in KINDS.values() for some in _portions(ids) for record in page.current(kind, id=some)]


def resting_on(page: Reading, ids: Collection[str]) -> list[Record]:
    """Return the standing records that point to some of these and are none of them."""
    found: dict[str, Record] = {}
    for kind in KINDS.values():
        for name in [item.name for item in fields(kind) if reference(item)]:
            for some in _portions(ids):
                pointing = page.current(kind, **{name: some})
                found |= {record.id: record for record in pointing if record.id not in ids}
    return list(found.values())


def _portions(ids: Collection[str]) -> Iterator[tuple[str, ...]]:
    """Yield identifiers in portions that a database takes in one question."""
    every = tuple(ids)
    return (every[start : start + _PORTION] for start in range(0, len(every), _PORTION))


def chosen_change(page: Reading, number: int | None) -> Change:
    """Return the change of a number that stands, the last one by default.

    Raises
    ------
    WrongUse
        If there is none.
    """
    if number is None:
        change = last_change(page)
        if change is None:
            raise WrongUse(say("store.undo.nothing"))
        return change
    changes = page.changes()
    found = next((change for change in changes if change.id == number), None)
    if found is None:
        raise WrongUse(say("store.undo.unknown", number=number))
    if number in _undone(changes):
        raise WrongUse(say("store.undo.undone", number=number))
    return found


def _undone(changes: tuple[Change, ...]) -> set[int]:
    """Return the changes that do not stand; the latest word on each counts."""
    undone: set[int] = set()
    for change in reversed(changes):
        if change.undoes is not None and change.id not in undone:
            undone.add(change.undoes)
    return undone


def _refuse_if_rested_on(page: Reading, ids: Collection[str]) -> None:
    resting = resting_on(page, ids)
    if resting:
        kind = type(resting[0])
        n = sum(type(record) is kind for record in resting)
        raise WrongUse(say("store.undo.rests", n=n, table=say(f"records.many.{TABLES[kind].name}")))


def _refuse_if_hanging(page: Reading, put_back: Iterable[Record]) -> None:
    """Refuse to let a record stand again that points to one which stands no more."""
    pointed = {
        target
        for record in put_back
        for item in fields(record)
        if reference(item) and (target := getattr(record, item.name)) is not None
    }
    if len(standing(page, pointed)) < len(pointed):
        raise WrongUse(say("store.undo.hangs"))


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
