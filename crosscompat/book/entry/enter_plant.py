"""What is written of a plant: what it is, what was found on it, its flowers, its pollen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import nullcontext
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any

from crosscompat.book import records
from crosscompat.book.entry import Bounds, validated
from crosscompat.book.find_records import find_cross
from crosscompat.book.numbers import Pattern, seedling_name
from crosscompat.book.store import Reading, Writing
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import fold, parse, somewhere_in
from crosscompat.ground.wording import say


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantEntry:
    """What a grower says of a plant; None is unknown, or stays as it was noted.

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
    findings : tuple of (str, str)
        What was found, by `records.FINDINGS`, and ``how`` that is known.
    flowers : int or None
        Open on that day; 0 when they are over.
    plant, pollen : mapping
        Fields of `records.Plant`, and of the `records.PollenLot` of its stored pollen with the name of that.
    """

    name: str | None = None
    new: bool = False
    day: date
    by: str | None = None
    species: str | None = None
    raised_from: str | None = None
    findings: tuple[tuple[str, str], ...] = ()
    how: str | None = None
    flowers: int | None = None
    plant: Mapping[str, Any] = field(default_factory=dict)
    pollen: Mapping[str, Any] = field(default_factory=dict)

    @property
    def asks_only(self) -> bool:
        """Whether nothing is to be written."""
        plain = (self.species, self.raised_from, self.how, self.flowers, *self.plant.values())
        return not (self.new or self.findings or self.pollen) and all(value is None for value in plain)


@dataclass(frozen=True, slots=True)
class PlantRecords:
    """The records that say what was said.

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


def plant_records(page: Reading, entry: PlantEntry, pattern: Pattern) -> PlantRecords:
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
    _refuse_contradictions(entry)
    cross = find_cross(page, entry.raised_from, pattern) if entry.raised_from else None
    before = _before(page, entry)
    plant = _plant(page, entry, cross, before)
    more = list(_dated(entry, plant.id))
    lot_before, lot = _lot(page, entry, plant)
    new = [*([] if before else [plant]), *more, *([lot] if lot and not lot_before else [])]
    pairs: list[tuple[records.Record | None, records.Record | None]] = [(plant, before), (lot, lot_before)]
    changed = [now for now, was in pairs if now is not None and was is not None and now != was]
    words = _words(before, plant, [*more, *([lot] if lot and lot != lot_before else [])])
    return PlantRecords(plant, tuple(new), tuple(changed), tuple(words))


def write_plant(pen: Writing, found: PlantRecords, bounds: Bounds) -> None:
    """Write down what was said of a plant.

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


def _refuse_contradictions(entry: PlantEntry) -> None:
    given = (entry.name, entry.species, entry.raised_from, entry.how, *entry.plant.values())
    parents = entry.plant.get("parents")
    if any(isinstance(value, str) and not value.strip() for value in (*given, *(text for _, text in entry.findings))):
        raise WrongUse(say("planting.blank"))
    if entry.how is not None and not entry.findings:
        raise WrongUse(say("planting.how_what"))
    if entry.name is None and entry.raised_from is None:
        raise WrongUse(say("planting.no_name"))
    if entry.species is not None and somewhere_in(entry.species) is None:
        parse(entry.species)
    if parents is not None and parse(parents).parents is None:
        raise WrongUse(say("planting.no_formula", got=parents))
    if entry.raised_from and parents:
        raise WrongUse(say("planting.parents_twice"))


def _before(page: Reading, entry: PlantEntry) -> records.Plant | None:
    """Return the plant as it stands; None for a new one."""
    if entry.name is None:
        return None
    name = fold(entry.name)
    if entry.new:
        names = {plant.casefold(): plant for (plant,) in page.columns(records.Plant, "name")}
        if name.casefold() in names:
            raise WrongUse(say("planting.there", name=names[name.casefold()]))
        return None
    found = page.find(records.Plant, name=name)
    if found is None:
        raise LookupError(name)
    return found


def _plant(
    page: Reading, entry: PlantEntry, cross: records.Cross | None, before: records.Plant | None
) -> records.Plant:
    if before is None:
        before = records.Plant(name=fold(entry.name) if entry.name else _seedling(page, cross))
    given = {name: value for name, value in entry.plant.items() if value is not None}
    received = before.received_as
    if received is not None and given.get("received_as", received) != received:
        raise WrongUse(say("planting.received", plant=before.name, name=received))
    if "clone" in given:
        other = page.find(records.Plant, name=fold(given["clone"]))
        own = other is None or other.id == before.id
        given["clone"] = fold(given["clone"]) if own or other is None else other.clone or other.name
    if cross is not None:
        given["cross"] = cross.id
    plant = replace(before, **given)
    if plant.acquired and plant.died and plant.died < plant.acquired:
        raise WrongUse(say("planting.died_before", plant=plant.name, date=spoken_date(plant.acquired)))
    return plant


def _seedling(page: Reading, cross: records.Cross | None) -> str:
    if cross is None or cross.number is None:
        raise WrongUse(say("planting.no_name"))
    return seedling_name(cross.number, page.ever(records.Plant, "name"))


def _dated(entry: PlantEntry, plant: str) -> Iterator[records.Record]:
    if entry.species is not None:
        yield records.Determination(plant=plant, name=fold(entry.species), date=entry.day, by=entry.by)
    for what, value in entry.findings:
        yield records.Finding(plant=plant, what=what, value=value, date=entry.day, how=entry.how, by=entry.by)
    if entry.flowers is not None:
        yield records.Flowering(plant=plant, date=entry.day, open_flowers=entry.flowers)


def _lot(
    page: Reading, entry: PlantEntry, plant: records.Plant
) -> tuple[records.PollenLot | None, records.PollenLot | None]:
    """Return the lot of pollen as it stood and as it will."""
    if not entry.pollen:
        return None, None
    given = {name: value for name, value in entry.pollen.items() if value is not None and name != "name"}
    name = fold(entry.pollen["name"])
    before = page.find(records.PollenLot, name=name)
    if not name or (before is not None and before.plant != plant.id):
        raise WrongUse(say("planting.lot_there" if name else "planting.no_lot", lot=name))
    lot = replace(before or records.PollenLot(name=name, plant=plant.id), **given)
    if lot.collected and lot.tested and lot.tested < lot.collected:
        raise WrongUse(say("planting.tested_before", lot=name, date=spoken_date(lot.collected)))
    return before, lot


def _words(before: records.Plant | None, plant: records.Plant, more: list[records.Record]) -> Iterator[str]:
    """Say what is written, one thing a line."""
    if before is None:
        yield say("planting.wrote.new")
    for item in fields(records.Plant):
        value = getattr(plant, item.name)
        if item.name not in {"id", "name"} and value != (getattr(before, item.name) if before else None):
            yield say(f"planting.wrote.{item.name}", value=spoken_date(value) if isinstance(value, date) else value)
    for record in more:
        match record:
            case records.Determination():
                yield say("planting.wrote.determination", value=record.name)
            case records.Finding():
                yield say("planting.wrote.finding", what=say(f"planting.findings.{record.what}"), value=record.value)
            case records.Flowering():
                yield say("planting.wrote.flowers", n=record.open_flowers or 0)
            case records.PollenLot():
                yield say("planting.wrote.lot", value=record.name)
