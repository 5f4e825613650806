"""What is written of a plant: what it is, what was found on it, its flowers, its pollen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import Any

from crosscompat.book import records
from crosscompat.book.current_plants import species_of
from crosscompat.book.entry import Bounds, validated
from crosscompat.book.numbers_and_names import Pattern, find_cross, find_plant, seedling_name
from crosscompat.book.store import Reading, Writing
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import fold, parse, read_name, somewhere_in, written_alike
from crosscompat.ground.wording import say


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantEntry:
    """What a grower says of a plant on a day; None is unknown, or stays as it was noted.

    Without a ``name`` it is a seedling, which is named after the cross that it was ``raised_from``. ``species`` is what
    it is taken for now, ``findings`` are what was found, by `records.FINDINGS`, and ``how`` that is known; ``flowers``
    are open that day. ``plant`` and ``pollen`` are fields of `records.Plant` and of the `records.PollenLot` it gave.
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
class WrittenPlant:
    """A plant as it stands now, and what was written of it, in words; nothing where all was noted already."""

    plant: records.Plant
    wrote: tuple[str, ...]


def enter_plant(pen: Writing, entry: PlantEntry, pattern: Pattern, bounds: Bounds) -> WrittenPlant:
    """Write down what was said of a plant.

    Raises
    ------
    UnknownName
        If the plant is not in the book and was not said to be new, nor is the cross, or a name cannot be read.
    WrongUse
        If it contradicts the book or itself, or a plant would be its own ancestor; the transaction must end then.
    """
    _refuse_contradictions(entry)
    cross = find_cross(pen, entry.raised_from, pattern) if entry.raised_from else None
    before = _before(pen, entry)
    plant = _plant(pen, entry, cross, before)
    lot_before, lot = _lot(pen, entry, plant)
    dated = dict(_dated(entry, plant.id))
    wrote = (*_words(before, plant), *dated.values())
    if lot is not None and lot != lot_before:
        wrote = (*wrote, say("planting.wrote.lot", value=lot.name))
    pen.what = say("planting.change", plant=plant.name, what="; ".join(wrote))
    stood = [(plant, before), *([(lot, lot_before)] if lot else [])]
    with validated(pen, (), bounds):
        pen.replace(*(now for now, was in stood if was is not None and now != was))
        pen.add(*(now for now, was in stood if was is None), *dated)
    return WrittenPlant(plant, wrote)


def settle_names(pen: Writing, meanings: Mapping[str, str], day: date, by: str | None) -> None:
    """Write down what names are that had no place: a species, a hybrid's formula, or the group that it belongs to.

    Every plant that is taken for a name is determined anew; a name that crosses alone bear becomes a plant.
    """
    species = species_of(pen)
    for name, meaning in meanings.items():
        plants = [plant for plant, taken_for in species.items() if taken_for == name]
        pen.add(*(records.Determination(plant=plant, name=meaning, date=day, by=by) for plant in plants))
        of_crosses = [
            *pen.current(records.Cross, seed_plant=None, seed_parent=name),
            *pen.current(records.Pollen, plant=None, name=name),
        ]
        if of_crosses and not plants and pen.find(records.Plant, name=name) is None:
            read = read_name(meaning)
            hybrid = read is not None and read.parents is not None
            new = records.Plant(name=name, parents=meaning if hybrid else None)
            pen.add(new, *([] if hybrid else [records.Determination(plant=new.id, name=meaning, date=day, by=by)]))


def known_plant(page: Reading, name: str) -> records.Plant:
    """Return the plant of a name; raises `UnknownName`, which tells how a new one is entered."""
    try:
        return find_plant(page, name)
    except UnknownName as unknown:
        raise UnknownName(f"{unknown} {say('planting.for_new')}", name, unknown.nearest) from None


def _refuse_contradictions(entry: PlantEntry) -> None:
    parents = entry.plant.get("parents")
    texts = [*entry.plant.values(), *dict(entry.findings).values()]
    said = [entry.name, entry.species, entry.raised_from, entry.how, *texts]
    wrong = {
        "blank": any(isinstance(value, str) and not value.strip() for value in said),
        "how_what": entry.how is not None and not entry.findings,
        "no_name": entry.name is None and entry.raised_from is None,
        "parents_twice": bool(entry.raised_from and parents),
    }
    key = next((key for key, is_wrong in wrong.items() if is_wrong), None)
    if key is not None:
        raise WrongUse(say(f"planting.{key}"))
    if entry.species is not None and somewhere_in(entry.species) is None:
        parse(entry.species)
    if parents is not None and parse(parents).parents is None:
        raise WrongUse(say("planting.no_formula", got=parents))


def _before(page: Reading, entry: PlantEntry) -> records.Plant | None:
    """Return the plant as it stands; None for a new one."""
    if entry.name is None:
        return None
    if not entry.new:
        return known_plant(page, entry.name)
    name = fold(entry.name)
    alike = written_alike(name, [plant for (plant,) in page.columns(records.Plant, "name")])
    if alike:  # whoever types a name later may leave out its case, blanks and dashes
        raise WrongUse(say("planting.there", name=name if name in alike else alike[0]))
    return None


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


def _dated(entry: PlantEntry, plant: str) -> Iterator[tuple[records.Record, str]]:
    """Yield what is true of a day, and how that is said."""
    day, by = entry.day, entry.by
    if entry.species is not None:
        name = fold(entry.species)
        named = records.Determination(plant=plant, name=name, date=day, by=by)
        yield named, say("planting.wrote.determination", value=name)
    for what, value in entry.findings:
        finding = records.Finding(plant=plant, what=what, value=value, date=day, how=entry.how, by=by)
        yield finding, say("planting.wrote.finding", what=say(f"planting.findings.{what}"), value=value)
    if entry.flowers is not None:
        seen = records.Flowering(plant=plant, date=day, open_flowers=entry.flowers)
        yield seen, say("planting.wrote.flowers", n=entry.flowers)


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


def _words(before: records.Plant | None, plant: records.Plant) -> Iterator[str]:
    """Say what is written of a plant itself, one thing a line."""
    if before is None:
        yield say("planting.wrote.new")
    for item in fields(records.Plant):
        value = getattr(plant, item.name)
        if item.name not in {"id", "name"} and value != (getattr(before, item.name) if before else None):
            yield say(f"planting.wrote.{item.name}", value=spoken_date(value) if isinstance(value, date) else value)
