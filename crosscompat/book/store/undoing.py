"""Taking a change back by a new one: what it wrote goes, what it replaced stands again."""

from __future__ import annotations

from dataclasses import fields

from sqlalchemy import func, select

from crosscompat.book.record_fields import reference
from crosscompat.book.records import KINDS, Record
from crosscompat.book.store.schema import TABLES
from crosscompat.book.store.store import Change, Reading, Writing
from crosscompat.errors import WrongUse
from crosscompat.wording import say

__all__ = ["last_change", "undo"]


def last_change(page: Reading) -> Change | None:
    """Return the latest change that stands and took nothing back itself, or None."""
    changes = page.changes()
    undone = _undone(changes)
    standing = [change for change in changes if change.undoes is None and change.id not in undone]
    return standing[-1] if standing else None


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
        If there is no such change, it was taken back before, or later records rest on what it wrote.
    """
    change = _chosen(pen, number)
    pen.undoes = change.id
    touched = [version for kind in KINDS.values() for version in pen.versions(kind, change=change.id)]
    written = [version for version in touched if version.made_in == change.id]
    if any(version.replaced_in is not None for version in written):
        raise WrongUse(say("store.undo.later", number=change.id))
    before = [version.record for version in touched if version.replaced_in == change.id]
    known = {record.id for record in before}
    _refuse_if_rested_on(pen, [version.record for version in written if version.record.id not in known])
    pen.withdraw(*(version.record for version in written))
    pen.put_back(*before)
    return change


def _chosen(page: Reading, number: int | None) -> Change:
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


def _refuse_if_rested_on(page: Reading, new: list[Record]) -> None:
    ids = {record.id for record in new}
    for kind, table in TABLES.items():
        for column in [table.c[item.name] for item in fields(kind) if reference(item)]:
            query = select(func.count()).where(table.c.replaced_in.is_(None), column.in_(ids), table.c.id.not_in(ids))
            resting = page.connection.execute(query).scalar_one()
            if resting:
                raise WrongUse(say("store.undo.rests", n=int(resting), table=say(f"records.many.{table.name}")))
