"""The card of a plant: what it is and how that is known, what was found on it, when it flowers, what was crossed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from crosscompat.advice.cautions import Caution
from crosscompat.advice.parents import find_parent
from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import plants_of, species_of
from crosscompat.book.dates import by_date
from crosscompat.book.entry.pollination_rules import contradicted
from crosscompat.book.flowers import latest, sightings_of, usual_window
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.training_set import fruitful

__all__ = [
    "PlantAnswer",
    "PlantCard",
    "PlantCross",
    "PlantDetermination",
    "PlantFinding",
    "PlantFlowers",
    "PlantLine",
    "PlantLot",
    "card_of",
    "lines_of",
]


@dataclass(frozen=True, slots=True)
class PlantLine:
    """A plant in one line: what it is, its sex if that was found, where it stands, and since when it is dead."""

    plant: str
    species: str
    sex: str | None
    place: str | None
    died: str | None


@dataclass(frozen=True, slots=True)
class PlantDetermination:
    """What a plant was taken for, when and by whom."""

    name: str
    date: str | None
    by: str | None
    note: str | None


@dataclass(frozen=True, slots=True)
class PlantFinding:
    """Something found on a plant, when, how it is known and by whom."""

    what: str
    value: str
    date: str | None
    how: str | None
    by: str | None
    note: str | None


@dataclass(frozen=True, slots=True)
class PlantFlowers:
    """When a plant flowers.

    Attributes
    ----------
    usual : str or None
        The stretch of the year in which it was seen open, in words.
    first, last : str or None
        Its ends, month and day.
    days : int
        Different days on which it was seen open.
    open_now : bool or None
        None where nobody looked in the last week.
    flowers : int or None
        Open when it was last looked at, where they were counted.
    seen : str or None
        ISO date of that.
    """

    usual: str | None
    first: str | None
    last: str | None
    days: int
    open_now: bool | None
    flowers: int | None
    seen: str | None


@dataclass(frozen=True, slots=True)
class PlantLot:
    """Stored pollen of a plant."""

    name: str
    collected: str | None
    dried: bool | None
    kept: str | None
    tested: str | None
    result: str | None


@dataclass(frozen=True, slots=True)
class PlantCross:
    """A cross that a plant took part in.

    Attributes
    ----------
    number : str
    date : str
    other : str or None
        The other parent: the plant, else the species; None where it is not known.
    outcome : str
        ``took``, ``failed`` or ``open``.
    """

    number: str
    date: str
    other: str | None
    outcome: str


@dataclass(frozen=True, slots=True)
class PlantCard:
    """All that is known of one plant.

    Attributes
    ----------
    species : str
        What it is taken for, in correct form.
    placed : bool
        Whether that has a place on the tree.
    known_by : str
        How that is known, in words.
    raised_from : str or None
        Number of the cross it was raised from.
    offsets : list of str
        Other plants of its clone.
    queries : list of str
        Findings that a visit contradicts.
    """

    plant: str
    species: str
    placed: bool
    known_by: str
    received_as: str | None
    clone: str | None
    offsets: list[str]
    accession: str | None
    field_number: str | None
    source: str | None
    papers: str | None
    parents: str | None
    raised_from: str | None
    owner: str | None
    place: str | None
    acquired: str | None
    died: str | None
    note: str | None
    determinations: list[PlantDetermination]
    findings: list[PlantFinding]
    queries: list[str]
    flowering: PlantFlowers
    pollen: list[PlantLot]
    as_mother: list[PlantCross]
    as_father: list[PlantCross]


@dataclass(frozen=True, slots=True)
class PlantAnswer:
    """The plants of a book, or one of them; and what was written of it.

    Attributes
    ----------
    plants : list of PlantLine
        All of them, where none was named.
    card : PlantCard or None
        Of the one that was named, as it stands now.
    wrote : list of str
        What was written, in words.
    written : bool
    """

    plants: list[PlantLine]
    card: PlantCard | None
    wrote: list[str]
    written: bool
    cautions: list[Caution]
    invented: bool
    notes: list[str] = field(default_factory=list)
    schema: Literal["crosscompat.plant/1"] = "crosscompat.plant/1"


def lines_of(page: Reading) -> list[PlantLine]:
    """Return every plant in one line, the living first, by name."""
    bench = plants_of(page).by_name
    standing = sorted(page.current(records.Plant), key=lambda plant: (plant.died is not None, plant.name))
    return [
        PlantLine(one.name, correct_form(bench[one.name].species), bench[one.name].sex, one.place, _iso(one.died))
        for one in standing
    ]


def card_of(collection: Collection, page: Reading, plant: records.Plant, today: date) -> PlantCard:
    """Return the card of a plant.

    Parameters
    ----------
    collection : Collection
        For its tree.
    page : Reading
        The book.
    plant : records.Plant
    today : date
        The day on which it is asked whether flowers are open.
    """
    species = species_of(page)
    bench = plants_of(page, species)
    known = bench.by_name[plant.name]
    named = by_date(page.current(records.Determination, plant=plant.id))
    found = by_date(page.current(records.Finding, plant=plant.id))
    raised = page.find(records.Cross, id=plant.cross) if plant.cross else None
    mother, father = _crosses(crosses_of(page, species), plant.name)
    return PlantCard(
        plant=plant.name,
        species=correct_form(known.species),
        placed=_is_placed(collection, known.species),
        known_by=_known_by(plant, named, raised),
        received_as=plant.received_as,
        clone=plant.clone,
        offsets=[name for name, one in bench.by_name.items() if one.clone == known.clone and name != plant.name],
        accession=plant.accession,
        field_number=plant.field_number,
        source=plant.source,
        papers=plant.papers,
        parents=plant.parents,
        raised_from=(raised.number or raised.id) if raised else None,
        owner=plant.owner,
        place=plant.place,
        acquired=_iso(plant.acquired),
        died=_iso(plant.died),
        note=plant.note,
        determinations=[PlantDetermination(one.name, _iso(one.date), one.by, one.note) for one in named],
        findings=[PlantFinding(one.what, one.value, _iso(one.date), one.how, one.by, one.note) for one in found],
        queries=_queries(page, plant, known.sex),
        flowering=_flowers(page, plant, today),
        pollen=[_lot(lot) for lot in page.current(records.PollenLot, plant=plant.id)],
        as_mother=mother,
        as_father=father,
    )


def _known_by(plant: records.Plant, named: Sequence[records.Determination], raised: records.Cross | None) -> str:
    if named:
        last = named[-1]
        day = last.date.isoformat() if last.date else say("plant.undated")
        by = say("plant.by", who=last.by) if last.by else ""
        return say("plant.known_by.determination", date=day, by=by)
    if plant.parents:
        return say("plant.known_by.parents")
    if raised is not None:
        return say("plant.known_by.cross", cross=raised.number or raised.id)
    return say(f"plant.known_by.{'received' if plant.received_as else 'nothing'}")


def _is_placed(collection: Collection, species: str) -> bool:
    try:
        find_parent(collection, species)
    except UnknownName:
        return False
    return True


def _queries(page: Reading, plant: records.Plant, sex: str | None) -> list[str]:
    """Return the visits that contradict what was found of a plant's sex."""
    marked = {
        visit: (cross, day, overruled)
        for visit, cross, day, overruled in page.columns(
            records.Pollination, "id", "cross", "date", "overruled", in_order=True
        )
        if overruled
    }
    if sex is None or not marked:
        return []
    mothers = dict(page.columns(records.Cross, "id", "seed_plant"))
    numbers = dict(page.columns(records.Cross, "id", "number"))
    givers = _givers(page, tuple(marked))
    told = []
    for visit, (cross, day, overruled) in marked.items():
        mark = contradicted(sex, overruled.split("; "))
        takes_part = mothers[cross] == plant.id if sex == "male" else plant.id in givers[visit]
        if mark is not None and takes_part:
            told.append(say("plant.query", sex=sex, cross=numbers[cross] or cross, date=day.isoformat(), mark=mark))
    return told


def _givers(page: Reading, visits: tuple[str, ...]) -> Mapping[str, set[str | None]]:
    found: dict[str, set[str | None]] = defaultdict(set)
    for visit, plant in page.columns(records.Pollen, "pollination", "plant", pollination=visits):
        found[visit].add(plant)
    return found


def _flowers(page: Reading, plant: records.Plant, today: date) -> PlantFlowers:
    sightings = sightings_of(page).get(plant.id, [])
    window = usual_window(one.date for one in sightings if one.flowers != 0)
    seen = latest(sightings, today)
    return PlantFlowers(
        usual=window.words if window else None,
        first=window.first if window else None,
        last=window.last if window else None,
        days=window.days if window else 0,
        open_now=None if seen is None else seen.flowers != 0,
        flowers=seen.flowers if seen else None,
        seen=_iso(seen.date) if seen else None,
    )


def _lot(lot: records.PollenLot) -> PlantLot:
    return PlantLot(lot.name, _iso(lot.collected), lot.dried, lot.kept, _iso(lot.tested), lot.test_result)


def _crosses(crosses: Sequence[Cross], name: str) -> tuple[list[PlantCross], list[PlantCross]]:
    """Return the crosses of a plant as mother and as father, oldest first."""
    ordered = sorted(crosses, key=lambda cross: (cross.date, cross.row))
    mother = [_cross(one, one.pollen_plant or one.pollen_parent) for one in ordered if one.seed_plant == name]
    father = [_cross(one, one.seed_plant or one.seed_parent) for one in ordered if one.pollen_plant == name]
    return mother, father


def _cross(cross: Cross, other: str | None) -> PlantCross:
    took = fruitful(cross)
    return PlantCross(
        cross.number, cross.date.isoformat(), other, "open" if took is None else "took" if took else "failed"
    )


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
