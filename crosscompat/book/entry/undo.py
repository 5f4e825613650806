"""Taking a change back by a new one: what it wrote goes, what it replaced stands, if the book stays true."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import fields

from crosscompat.book.cross_summary import cross_of
from crosscompat.book.entry.validation import Bounds, validated
from crosscompat.book.records import KINDS, Record, reference
from crosscompat.book.store import Change, Reading, Writing
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["last_change", "resting_on", "take_back"]

_PORTION = 5_000


def take_back(pen: Writing, number: int | None, bounds: Bounds) -> Change:
    """Take a change back, the last one that stands by default, and return it.

    Taking back a taking back puts the change in force again. Nothing must have been written with the pen yet.

    Raises
    ------
    WrongUse
        If there is no such change, it wrote nothing or was taken back before, later changes corrected what it wrote or
        rest on it, what would stand again points to what is gone or bears a name that another has by now, or the book
        would contradict itself.
    """
    change = _chosen(pen, number)
    pen.what, pen.undoes = say("history.undo", number=change.id, what=change.what), change.id
    written, before = _touched_by(pen, change.id)
    touched = (*written.values(), *before.values())
    crosses = [one for record in touched if (one := cross_of(pen, record)) is not None]
    with validated(pen, crosses, bounds):
        _refuse_later(pen, change, written, before)
        pen.withdraw(*written.values())
        pen.put_back(*before.values())
        _refuse_if_hanging(pen, before.values())
    return change


def last_change(page: Reading) -> Change | None:
    """Return the latest change that stands, wrote anything and took nothing back itself, or None."""
    changes = page.changes()
    undone = _undone(changes)
    standing = (change for change in reversed(changes) if change.undoes is None and change.id not in undone)
    return next((change for change in standing if page.touched(change.id)), None)


def resting_on(page: Reading, ids: Collection[str]) -> list[Record]:
    """Return the standing records that point to some of these and are none of them."""
    found: dict[str, Record] = {}
    for kind in KINDS.values():
        for name in [item.name for item in fields(kind) if reference(item)]:
            for portion in _portions(ids):
                pointing = page.current(kind, **{name: portion})
                found |= {record.id: record for record in pointing if record.id not in ids}
    return list(found.values())


def _chosen(page: Reading, number: int | None) -> Change:
    changes = page.changes()
    found = last_change(page) if number is None else next((one for one in changes if one.id == number), None)
    if found is None:
        raise WrongUse(say("store.undo.unknown", number=number) if number else say("store.undo.nothing"))
    if found.id in _undone(changes):
        raise WrongUse(say("store.undo.undone", number=number))
    return found


def _undone(changes: tuple[Change, ...]) -> set[int]:
    """Return the changes that do not stand; the latest word on each counts."""
    undone: set[int] = set()
    for change in reversed(changes):
        if change.undoes is not None and change.id not in undone:
            undone.add(change.undoes)
    return undone


def _touched_by(page: Reading, change: int) -> tuple[dict[str, Record], dict[str, Record]]:
    """Return the records that a change wrote, and those that stood before in place of them or were taken back by it."""
    touched = [version for kind in KINDS.values() for version in page.versions(kind, change=change)]
    written = {version.record.id: version.record for version in touched if version.made_in == change}
    before = {version.record.id: version.record for version in touched if version.replaced_in == change}
    return written, before


def _refuse_later(page: Reading, change: Change, written: Mapping[str, Record], before: Mapping[str, Record]) -> None:
    """Refuse what wrote nothing, or what later changes have corrected or rest on."""
    if not written and not before:
        raise WrongUse(say("store.undo.empty", number=change.id))
    if {record.id: record for record in _standing(page, {*written, *before})} != written:
        raise WrongUse(say("store.undo.later", number=change.id))
    resting = resting_on(page, written.keys() - before.keys())
    if resting:
        kind = type(resting[0])
        table = next(name for name, one in KINDS.items() if one is kind)
        n = sum(type(record) is kind for record in resting)
        raise WrongUse(say("store.undo.rests", n=n, table=say(f"records.many.{table}")))


def _refuse_if_hanging(page: Reading, put_back: Iterable[Record]) -> None:
    """Refuse to let a record stand again that points to one which stands no more."""
    pointing = ((record, item) for record in put_back for item in fields(record) if reference(item))
    pointed = {target for record, item in pointing if (target := getattr(record, item.name)) is not None}
    if len(_standing(page, pointed)) < len(pointed):
        raise WrongUse(say("store.undo.hangs"))


def _standing(page: Reading, ids: Collection[str]) -> list[Record]:
    return [
        record for kind in KINDS.values() for portion in _portions(ids) for record in page.current(kind, id=portion)
    ]


def _portions(ids: Collection[str]) -> Iterator[tuple[str, ...]]:
    """Yield identifiers in portions that a database takes in one question."""
    every = tuple(ids)
    return (every[start : start + _PORTION] for start in range(0, len(every), _PORTION))
