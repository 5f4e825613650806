"""Putting a record right: a new one takes its place, and what was written first is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import Field, fields, replace
from datetime import date, datetime, time
from typing import Any

from crosscompat.book.cross_summary import cross_of
from crosscompat.book.entry.undo import resting_on
from crosscompat.book.entry.validation import Bounds, validated
from crosscompat.book.find_records import find_cross, find_plant, find_record
from crosscompat.book.records import (
    KINDS,
    SEXES,
    Cross,
    Finding,
    GivenForecast,
    Plant,
    Pollination,
    Record,
    choices,
    needed,
    reference,
    value_types,
)
from crosscompat.book.store import Reading, Writing
from crosscompat.ground import csv_convert
from crosscompat.ground.csv_convert import BadCell
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["correct", "corrected", "withdraw"]

_UNIQUE = ((Plant, "name"), (Cross, "number"))
_MOST_WANTED, _PERCENT = 5, 100


def correct(pen: Writing, record: Record, given: Sequence[str], bounds: Bounds) -> Record:
    """Write a correction, ``field=value`` for each field that was wrong, and return the record as it stands now.

    Raises
    ------
    WrongUse
        If there is no such field, a value is none, or the book would contradict itself; with every reason.
    """
    new = corrected(pen, record, given)
    _refuse_wrong_record(pen, new, bounds.today)
    crosses = [one for one in (cross_of(pen, record), cross_of(pen, new)) if one is not None]
    with validated(pen, crosses, bounds):
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
    resting = resting_on(pen, gone)
    if resting and not with_rest:
        raise WrongUse(say("correct.rests", n=len(resting)))
    while resting:
        gone |= {one.id: one for one in resting}
        resting = resting_on(pen, gone)
    crosses = [one for record in gone.values() if (one := cross_of(pen, record)) is not None]
    with validated(pen, crosses, bounds):
        pen.withdraw(*gone.values())
    return list(gone.values())


def corrected(page: Reading, record: Record, given: Sequence[str]) -> Record:
    """Return a record with some fields as they should be.

    Raises
    ------
    WrongUse
        If there is no such field, a value is none, or nothing changes.

    Examples
    --------
    >>> from crosscompat.book.records import Observation
    >>> from crosscompat.book.store import open_store
    >>> wrong = Observation(cross="some cross", what="pods_set", count=3)
    >>> with open_store("sqlite://").reading() as page:
    ...     corrected(page, wrong, ["count=2"]).count
    2
    """
    if not given:
        raise WrongUse(say("correct.nothing"))
    kind = type(record)
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
    new = replace(record, **changes)
    if new == record:
        raise WrongUse(say("correct.same"))
    return new


def _value(page: Reading, kind: type[Record], item: Field[Any], text: str) -> Any:
    if not text:
        if item.name in needed(kind):
            raise BadCell(say("correct.needed"), "")
        return None
    if reference(item):
        return _pointed(page, reference(item) or "", text)
    allowed = choices(item)
    if allowed:
        return csv_convert.choice(text, allowed)
    wanted = value_types(kind)[item.name]
    readers: dict[type, Any] = {
        int: csv_convert.whole,
        float: csv_convert.decimal,
        bool: csv_convert.yes_no,
        date: csv_convert.day,
        datetime: csv_convert.timestamp,
        time: _hour,
        str: str,
    }
    return readers[wanted](text)


def _hour(text: str) -> time:
    try:
        return time.fromisoformat(text)
    except ValueError:
        raise BadCell(say("correct.hour", text=text), "") from None


def _pointed(page: Reading, kind: str, text: str) -> str:
    if kind == "crosses":
        return find_cross(page, text).id
    if kind == "plants":
        return find_plant(page, text).id
    found = find_record(page, text)
    if page.kind_of(found.id) is not KINDS[kind]:
        raise BadCell(say("correct.kind", text=text, kind=say(f"records.one.{kind}")), "")
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
            raise WrongUse(say("correct.future", day=value.isoformat()))
    wrong = _wrong_number(record)
    if wrong:
        raise WrongUse(wrong)


def _wrong_number(record: Record) -> str | None:
    if isinstance(record, Cross) and record.wanted is not None and not 1 <= record.wanted <= _MOST_WANTED:
        return say("correct.wanted")
    if isinstance(record, Pollination) and record.humidity is not None and not 0 <= record.humidity <= _PERCENT:
        return say("correct.humidity")
    if isinstance(record, Finding):
        right = {
            "sex": record.value in SEXES,
            "2n": record.value.isdecimal(),
            "self_fertile": record.value in {"yes", "no"},
        }
        if not right.get(record.what, True):
            return say(f"correct.finding.{record.what}", sexes=", ".join(SEXES))
    return None
