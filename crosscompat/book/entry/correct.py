"""Putting right what was written: a new record or change takes its place, and what was first is kept."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import Field, fields, replace
from datetime import date
from typing import Any

from crosscompat.book.cross_summary import cross_of
from crosscompat.book.entry import Bounds, validated
from crosscompat.book.history import noun, undone_by
from crosscompat.book.numbers_and_names import find_cross, find_plant, find_record
from crosscompat.book.record_fields import needed, read_field, reference, value_types
from crosscompat.book.records import KINDS, SEXES, Cross, Finding, GivenForecast, Plant, Record
from crosscompat.book.store import Change, Reading, Writing
from crosscompat.ground.csv_cells import BadCell
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

_PORTION = 5_000
_UNIQUE = ((Plant, "name"), (Cross, "number"))


def take_back(pen: Writing, number: int | None, bounds: Bounds) -> Change:
    """Take a change back, the last one that stands by default, and return it.

    Taking back a taking back puts the change in force again. Nothing must have been written with the pen yet.

    Raises
    ------
    WrongUse
        If there is no such change, it was taken back before, later changes corrected what it wrote or
        rest on it, what would stand again points to what is gone or bears a name that another has by now, or the book
        would contradict itself.
    """
    change = _chosen(pen, number)
    pen.what, pen.undoes = say("history.undo", number=change.id, what=change.what), change.id
    touched = [version for kind in KINDS.values() for version in pen.versions(kind, changes=[change.id])]
    written = {version.record.id: version.record for version in touched if version.made_in == change.id}
    before = {version.record.id: version.record for version in touched if version.replaced_in == change.id}
    with validated(pen, _crosses_of(pen, [*written.values(), *before.values()]), bounds):
        _refuse_later(pen, change, written, before)
        pen.withdraw(*written.values())
        pen.put_back(*before.values())
        _refuse_if_hanging(pen, before.values())
    return change


def correct(pen: Writing, record: Record, given: Sequence[str], bounds: Bounds) -> Record:
    """Write a correction, ``field=value`` for each field that was wrong, and return the record as it stands now.

    Raises
    ------
    WrongUse
        If there is no such field, a value is none, nothing changes, or the book would contradict itself; with every
        reason.
    """
    new = replace(record, **_changes(pen, type(record), given))
    if new == record:
        raise WrongUse(say("correct.same"))
    _refuse_wrong_record(pen, new, bounds.today)
    with validated(pen, _crosses_of(pen, [record, new]), bounds):
        pen.replace(new)
    return new


def withdraw(pen: Writing, record: Record, bounds: Bounds, *, with_rest: bool = False) -> list[Record]:
    """Take a record back, and what rests on it if that is wanted.

    Raises
    ------
    WrongUse
        If others rest on it and are to stay, or the book would contradict itself.
    """
    gone: dict[str, Record] = {record.id: record}
    resting = _resting_on(pen, gone)
    if resting and not with_rest:
        raise WrongUse(say("correct.rests", n=len(resting)))
    while resting:
        gone |= {one.id: one for one in resting}
        resting = _resting_on(pen, gone)
    with validated(pen, _crosses_of(pen, gone.values()), bounds):
        pen.withdraw(*gone.values())
    return list(gone.values())


def _chosen(page: Reading, number: int | None) -> Change:
    """Return the change of a number, or the latest that stands and took nothing back itself."""
    changes = page.changes()
    undone = undone_by(changes)
    meant = [one for one in changes if one.id == number or (number is None and one.undoes is None)]
    standing = [one for one in meant if one.id not in undone]
    if standing:
        return standing[-1]
    if meant and number is not None:
        raise WrongUse(say("store.undo.undone", number=number))
    raise WrongUse(say("store.undo.unknown", number=number) if number else say("store.undo.nothing"))


def _crosses_of(page: Reading, records: Iterable[Record]) -> list[str]:
    return [cross for record in records if (cross := cross_of(page, record)) is not None]


def _resting_on(page: Reading, ids: Collection[str]) -> list[Record]:
    """Return the standing records that point to some of these and are none of them."""
    found: dict[str, Record] = {}
    for kind in KINDS.values():
        for item in filter(reference, fields(kind)):
            for portion in _portions(ids):
                pointing = page.current(kind, **{item.name: portion})
                found |= {record.id: record for record in pointing if record.id not in ids}
    return list(found.values())


def _refuse_later(page: Reading, change: Change, written: Mapping[str, Record], before: Mapping[str, Record]) -> None:
    """Refuse what later changes have corrected or rest on."""
    if {record.id: record for record in _standing(page, {*written, *before})} != written:
        raise WrongUse(say("store.undo.later", number=change.id))
    resting = _resting_on(page, written.keys() - before.keys())
    if resting:
        n = sum(type(record) is type(resting[0]) for record in resting)
        raise WrongUse(say("store.undo.rests", n=n, table=noun(resting[0], many=True)))


def _refuse_if_hanging(page: Reading, put_back: Iterable[Record]) -> None:
    """Refuse to let a record stand again that points to one which stands no more."""
    pointed = {getattr(record, item.name) for record in put_back for item in fields(record) if reference(item)} - {None}
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


def _changes(page: Reading, kind: type[Record], given: Sequence[str]) -> dict[str, Any]:
    """Return the values that fields should have."""
    if not given:
        raise WrongUse(say("correct.nothing"))
    known = {item.name: item for item in fields(kind) if item.name != "id"}
    changes: dict[str, Any] = {}
    reasons = []
    for pair in given:
        name, equals, text = pair.partition("=")
        name = "_".join(name.replace("-", " ").replace("_", " ").split())
        if not equals or name not in known:
            reasons.append(say("correct.field", pair=pair, fields=", ".join(known)))
            continue
        try:
            changes[name] = _value(page, kind, known[name], text.strip())
        except BadCell as bad:
            reasons.append(f"{name}: {bad.what} {bad.advice}")
    if reasons:
        raise WrongUse(" ".join(reasons))
    if "date" in changes and "date_words" in known:
        changes.setdefault("date_words", None)  # of the old one
    return changes


def _value(page: Reading, kind: type[Record], item: Field[Any], text: str) -> Any:
    target = reference(item)
    if not text and item.name in needed(kind):
        raise BadCell(say("correct.needed"), "")
    if not text:
        return None
    if target is None:
        return read_field(kind, item, text)
    if target in {"crosses", "plants"}:
        return (find_cross if target == "crosses" else find_plant)(page, text).id
    found = find_record(page, text)
    if page.kind_of(found.id) is not KINDS.get(target, type(found)):
        raise BadCell(say("correct.kind", text=text, kind=say(f"records.one.{target}")), "")
    return found.id


def _refuse_wrong_record(page: Reading, record: Record, today: date) -> None:
    """Refuse what a record cannot say by itself, whatever the others say."""
    for kind, name in _UNIQUE:
        value = getattr(record, name, None) if isinstance(record, kind) else None
        if value is not None and any(other.id != record.id for other in page.current(kind, **{name: value})):
            raise WrongUse(say("correct.taken", value=value))
    if isinstance(record, GivenForecast):
        raise WrongUse(say("correct.forecast"))
    for name, kind_of in value_types(type(record)).items():
        value = getattr(record, name)
        if kind_of is date and value is not None and value > today:
            raise WrongUse(say("correct.future", day=spoken_date(value, today)))
    if isinstance(record, Finding):
        right = {
            "sex": record.value in SEXES,
            "2n": record.value.isdecimal(),
            "self_fertile": record.value in {"yes", "no"},
        }
        if not right.get(record.what, True):
            raise WrongUse(say(f"correct.finding.{record.what}", sexes=", ".join(SEXES)))
