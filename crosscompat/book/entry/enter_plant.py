"""What is written when a grower tells of a plant: what it is, what was found on it, its flowers, its pollen."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import nullcontext
from dataclasses import dataclass, fields, replace
from datetime import date
from typing import Any

from crosscompat.book import records
from crosscompat.book.entry.validation import Bounds, validated
from crosscompat.book.find_records import find_cross
from crosscompat.book.numbers import Pattern, seedling_name
from crosscompat.book.store import Reading, Writing
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import fold, parse
from crosscompat.ground.wording import say

__all__ = ["PlantTold", "Planting", "PollenTold", "planting", "write_planting"]

_PLAIN = ("accession", "field_number", "source", "papers", "received_as", "parents", "owner", "place", "acquired",
          "died", "note")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PollenTold:
    """Pollen that was stored; None is unknown, or stays as it was noted."""

    name: str
    kept: str | None = None
    dried: bool | None = None
    collected: date | None = None
    tested: date | None = None
    result: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantTold:
    """What a grower tells of a plant; None is unknown, or stays as it was noted.

    Attributes
    ----------
    name : str or None
        Its own name; None for a seedling, which gets one.
    new : bool
        Whether it is not in the book yet.
    day : date
        Of the determination, the findings and the flowers.
    species : str or None
        What it is taken for now.
    raised_from : str or None
        The number of the cross that it was raised from.
    findings : mapping pairs of str to str
        What was found, by `records.FINDINGS`.
    how : str or None
        How that is known.
    flowers : int or None
        Open on that day; 0 when they are over.
    """

    name: str | None = None
    new: bool = False
    day: date
    by: str | None = None
    species: str | None = None
    received_as: str | None = None
    clone: str | None = None
    accession: str | None = None
    field_number: str | None = None
    source: str | None = None
    papers: str | None = None
    parents: str | None = None
    raised_from: str | None = None
    owner: str | None = None
    place: str | None = None
    acquired: date | None = None
    died: date | None = None
    note: str | None = None
    findings: tuple[tuple[str, str], ...] = ()
    how: str | None = None
    flowers: int | None = None
    pollen: PollenTold | None = None

    @property
    def asks_only(self) -> bool:
        """Whether nothing is to be written."""
        told = {item.name: getattr(self, item.name) for item in fields(self) if item.name not in {"name", "day", "by"}}
        return all(value is None or value is False or value == () for value in told.values())


@dataclass(frozen=True, slots=True)
class Planting:
    """The records that say what was told.

    Attributes
    ----------
    plant : records.Plant
        As it will stand.
    new, changed : tuple of records.Record
        Those that are added, and those that take the place of others.
    wrote : tuple of str
        What they say, in words.
    """

    plant: records.Plant
    new: tuple[records.Record, ...]
    changed: tuple[records.Record, ...]
    wrote: tuple[str, ...]


def planting(page: Reading, told: PlantTold, pattern: Pattern) -> Planting:
    """Return what is to be written of a plant; nothing is where all of it is noted already.

    Raises
    ------
    LookupError
        If the plant is not in the book and was not said to be new.
    UnknownName
        If the cross is not in the book, or a name cannot be read.
    WrongUse
        If it contradicts the book or itself.
    """
    _refuse_contradictions(told)
    cross = find_cross(page, told.raised_from, pattern) if told.raised_from else None
    before = _before(page, told)
    plant = _plant(page, told, cross, before)
    _refuse_dates(plant)
    more = [*_determination(told, plant), *_findings(told, plant), *_flowering(told, plant)]
    lot_before, lot = _lot(page, told, plant)
    new: list[records.Record] = [*([] if before else [plant]), *more, *([lot] if lot and lot_before is None else [])]
    changed: list[records.Record] = [plant] if before is not None and plant != before else []
    changed += [lot] if lot is not None and lot_before is not None and lot != lot_before else []
    return Planting(plant, tuple(new), tuple(changed), tuple(_words(before, plant, [*more, *_shown(lot_before, lot)])))


def write_planting(pen: Writing, found: Planting, bounds: Bounds) -> None:
    """Write down what was told of a plant.

    Raises
    ------
    WrongUse
        If a plant would be its own ancestor; the transaction must end then.
    """
    stood = pen.find(records.Plant, id=found.plant.id)
    raised = found.plant.cross is not None and (stood is None or stood.cross != found.plant.cross)
    with validated(pen, (), bounds) if raised else nullcontext():
        pen.replace(*found.changed)
        pen.add(*found.new)


def _shown(before: records.PollenLot | None, lot: records.PollenLot | None) -> list[records.Record]:
    return [lot] if lot is not None and lot != before else []


def _refuse_contradictions(told: PlantTold) -> None:
    given = [getattr(told, item.name) for item in fields(told)] + [value for _, value in told.findings]
    if any(isinstance(value, str) and not value.strip() for value in given):
        raise WrongUse(say("planting.blank"))
    if told.how is not None and not told.findings:
        raise WrongUse(say("planting.how_what"))
    if told.name is None and told.raised_from is None:
        raise WrongUse(say("planting.no_name"))
    if told.species is not None:
        parse(told.species)
    if told.parents is not None and parse(told.parents).parents is None:
        raise WrongUse(say("planting.no_formula", got=told.parents))
    if told.raised_from and told.parents:
        raise WrongUse(say("planting.parents_twice"))


def _before(page: Reading, told: PlantTold) -> records.Plant | None:
    """Return the plant as it stands; None for a new one."""
    if told.name is None:
        return None
    name = fold(told.name)
    names = {plant.casefold(): plant for (plant,) in page.columns(records.Plant, "name")}
    there = names.get(name.casefold())
    if told.new:
        if there is not None or not name:
            raise WrongUse(say("planting.there" if name else "planting.no_name", name=there or ""))
        return None
    found = page.find(records.Plant, name=name)
    if found is None:
        raise LookupError(name)
    return found


def _plant(page: Reading, told: PlantTold, cross: records.Cross | None, before: records.Plant | None) -> records.Plant:
    if before is None:
        before = records.Plant(name=fold(told.name) if told.name else _seedling(page, cross))
    received = before.received_as
    if received is not None and told.received_as not in {None, received}:
        raise WrongUse(say("planting.received", plant=before.name, name=received))
    given: dict[str, Any] = {name: value for name in _PLAIN if (value := getattr(told, name)) is not None}
    if told.clone is not None:
        given["clone"] = _clone(page, told.clone, before)
    if cross is not None:
        given["cross"] = cross.id
    return replace(before, **given)


def _seedling(page: Reading, cross: records.Cross | None) -> str:
    if cross is None or cross.number is None:
        raise WrongUse(say("planting.no_name"))
    return seedling_name(cross.number, page.ever(records.Plant, "name"))


def _clone(page: Reading, text: str, plant: records.Plant) -> str:
    """Return the name of a clone; where a plant is named, that of its clone."""
    other = page.find(records.Plant, name=fold(text))
    return fold(text) if other is None or other.id == plant.id else other.clone or other.name


def _refuse_dates(plant: records.Plant) -> None:
    if plant.acquired and plant.died and plant.died < plant.acquired:
        raise WrongUse(say("planting.died_before", plant=plant.name, date=plant.acquired.isoformat()))


def _determination(told: PlantTold, plant: records.Plant) -> Iterator[records.Record]:
    if told.species is not None:
        yield records.Determination(plant=plant.id, name=fold(told.species), date=told.day, by=told.by)


def _findings(told: PlantTold, plant: records.Plant) -> Iterator[records.Record]:
    for what, value in told.findings:
        yield records.Finding(plant=plant.id, what=what, value=value, date=told.day, how=told.how, by=told.by)


def _flowering(told: PlantTold, plant: records.Plant) -> Iterator[records.Record]:
    if told.flowers is not None:
        yield records.Flowering(plant=plant.id, date=told.day, open_flowers=told.flowers)


def _lot(
    page: Reading, told: PlantTold, plant: records.Plant
) -> tuple[records.PollenLot | None, records.PollenLot | None]:
    """Return the lot of pollen as it stood and as it will."""
    if told.pollen is None:
        return None, None
    name = fold(told.pollen.name)
    before = page.find(records.PollenLot, name=name)
    if not name or (before is not None and before.plant != plant.id):
        raise WrongUse(say("planting.lot_there" if name else "planting.no_lot", lot=name))
    given: dict[str, Any] = {
        "kept": told.pollen.kept,
        "dried": told.pollen.dried,
        "collected": told.pollen.collected,
        "tested": told.pollen.tested,
        "test_result": told.pollen.result,
    }
    known = {field: value for field, value in given.items() if value is not None}
    lot = replace(before or records.PollenLot(name=name, plant=plant.id), **known)
    if lot.collected and lot.tested and lot.tested < lot.collected:
        raise WrongUse(say("planting.tested_before", lot=name, date=lot.collected.isoformat()))
    return before, lot


def _words(before: records.Plant | None, plant: records.Plant, more: list[records.Record]) -> Iterator[str]:
    """Say what is written, one thing a line."""
    if before is None:
        yield say("planting.wrote.new", plant=plant.name)
    for item in fields(records.Plant):
        value = getattr(plant, item.name)
        if item.name not in {"id", "name"} and value != (getattr(before, item.name) if before else None):
            yield say(f"planting.wrote.{item.name}", value=value)
    for record in more:
        yield _word(record)


def _word(record: records.Record) -> str:
    match record:
        case records.Determination():
            return say("planting.wrote.determination", value=record.name)
        case records.Finding():
            return say("planting.wrote.finding", what=say(f"planting.findings.{record.what}"), value=record.value)
        case records.Flowering():
            return say("planting.wrote.flowers", n=record.open_flowers or 0)
        case _:
            return say("planting.wrote.lot", value=getattr(record, "name", ""))
