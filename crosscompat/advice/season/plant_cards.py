"""The card of a plant: what it is and how that is known, what was found on it, when it flowers, what was crossed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

from crosscompat.advice.figures import outcome_of
from crosscompat.advice.parents import Caution
from crosscompat.advice.season.pollination_rules import contradicted, misspelt
from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import Cross, find_label, written_out
from crosscompat.book.current_plants import (
    Sighting,
    latest,
    plants_of,
    sightings_of,
    species_of,
    usual_window,
)
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.enter_plant import PlantEntry, enter_plant, known_plant
from crosscompat.book.history import Line, lines_of, words_of
from crosscompat.book.numbers_and_names import read_pattern
from crosscompat.book.store import Reading, Store, Writing
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import by_date, spoken_date
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say

_RECEIVED = ("received_as", "source", "papers", "acquired", "owner")


@dataclass(frozen=True, slots=True)
class PlantLine:
    """A plant in one line: what it is, its sex if that was found, where it stands, and since when it is dead."""

    plant: str
    species: str
    sex: str | None
    place: str | None
    died: date | None


@dataclass(frozen=True, slots=True)
class PlantFlowers:
    """When a plant flowers: the ``usual`` stretch of the year in words, its ends as month and day.

    It was seen open on so many ``days``; ``open_now`` is none where nobody looked in the last week, else it was last
    ``seen`` with so many ``flowers`` open.
    """

    usual: str | None
    first: str | None
    last: str | None
    days: int
    open_now: bool | None
    flowers: int | None
    seen: date | None


@dataclass(frozen=True, slots=True)
class PlantCross:
    """A cross that a plant took part in, and the ``other`` parent, none where it is not known.

    The outcome is ``took``, ``failed``, ``open``, or ``lost`` to an accident, which was no failure of the cross.
    ``date_words`` are the month or season, where no more is known.
    """

    number: str
    date: date
    other: str | None
    outcome: str
    lost_to: str | None
    date_words: str | None


@dataclass(frozen=True, slots=True)
class PlantCard:
    """All that is known of one plant, its ``record`` as it stands.

    ``known_by`` says how its species is known, and it is ``placed`` where that stands on the tree. It may be
    ``raised_from`` a cross; ``offsets`` are other plants of its clone; ``queries`` are findings that a visit
    contradicts.
    """

    record: records.Plant
    species: str
    placed: bool
    known_by: str
    raised_from: str | None
    offsets: list[str]
    determinations: list[records.Determination]
    findings: list[records.Finding]
    queries: list[str]
    flowering: PlantFlowers
    pollen: list[records.PollenLot]
    as_mother: list[PlantCross]
    as_father: list[PlantCross]
    attachments: list[Line]


@dataclass(frozen=True, slots=True)
class PlantAnswer:
    """The plants of a book, or the card of the one that was named, as it stands now or would after a dry run.

    What was written of it stands in ``wrote``, in words.
    """

    plants: list[PlantLine]
    card: PlantCard | None
    wrote: list[str]
    written: bool
    cautions: list[Caution]
    invented: bool
    notes: list[str] = field(default_factory=list)
    schema: Literal["crosscompat.plant/1"] = "crosscompat.plant/1"


def plant_answer(
    collection: Collection, store: Store, entry: PlantEntry, today: date, *, dry_run: bool = False
) -> PlantAnswer:
    """Write down what is said of a plant, if anything is, and return its card; without a name, all plants in a line.

    Raises
    ------
    UnknownName, WrongUse
        If the plant is not in the book and was not said to be new; if what is said contradicts the book or itself.
    """
    answer = PlantAnswer([], None, [], False, [], collection.settings.invented, list(collection.notices))
    if entry.asks_only:
        with store.reading() as page:
            if entry.name is None:
                return replace(answer, plants=plant_lines(page))
            return replace(answer, card=plant_card(collection, page, known_plant(page, entry.name), today))
    with store.writing("", who=entry.by, dry_run=dry_run) as pen:
        done = write_plant(collection, pen, entry, today)
        card = plant_card(collection, pen, done.plant, today)
    answer.notes.extend(done.notes)
    return replace(
        answer, card=card, wrote=done.wrote, written=bool(done.wrote) and not dry_run, cautions=done.cautions
    )


@dataclass(frozen=True, slots=True)
class NotedPlant:
    """A plant as it stands now, what was written of it, and what is to be said of that."""

    plant: records.Plant
    wrote: list[str]
    notes: list[str]
    cautions: list[Caution]


def write_plant(collection: Collection, pen: Writing, entry: PlantEntry, today: date) -> NotedPlant:
    """Write down what is said of a plant; raises as `plant_answer`, and the transaction must end then.

    A species whose genus was left out or cut short is written in full.
    """
    notes: list[str] = []
    if entry.species and entry.species.strip():
        species, read_as = written_out(collection.index, entry.species)
        entry, notes = replace(entry, species=species), [read_as] if read_as else []
    done = enter_plant(pen, entry, read_pattern(collection.settings.cross_number), Bounds(today))
    return NotedPlant(done.plant, [*done.wrote], notes, _cautions(collection, entry, done.plant))


def _cautions(collection: Collection, entry: PlantEntry, plant: records.Plant) -> list[Caution]:
    """Return what is to be said once: names that may be misspelt, papers where something changes hands, hybrids."""
    names = dict.fromkeys(name for name in (entry.species, entry.plant.get("parents")) if name is not None)
    spelling = [Caution("name", says) for name in names for says in misspelt(collection.index, name)]
    received = any(entry.plant.get(name) is not None for name in _RECEIVED)
    changes_hands = received or (bool(entry.pollen) and plant.owner is not None)
    hybrid = entry.raised_from or entry.plant.get("parents")
    kinds = (("permits", changes_hands), ("escaping", hybrid))
    return [*spelling, *(Caution(kind, say(f"cautions.{kind}")) for kind, holds in kinds if holds)]


def plant_lines(page: Reading) -> list[PlantLine]:
    """Return every plant in one line, the living first, by name."""
    bench = plants_of(page).by_name
    standing = sorted(page.current(records.Plant), key=lambda plant: (plant.died is not None, plant.name))
    return [
        PlantLine(one.name, correct_form(bench[one.name].species), bench[one.name].sex, one.place, one.died)
        for one in standing
    ]


def plant_card(
    collection: Collection, page: Reading, plant: records.Plant, today: date, crosses: Sequence[Cross] | None = None
) -> PlantCard:
    """Return the card of a plant as it stands today; ``crosses`` are those of the book, where they have been read."""
    species, own = species_of(page), plant.name
    bench = plants_of(page, species).by_name
    known = bench[own]
    named = by_date(page.current(records.Determination, plant=plant.id))
    found = by_date(page.current(records.Finding, plant=plant.id))
    raised = page.find(records.Cross, id=plant.cross) if plant.cross else None
    crosses = sorted(
        crosses_of(page, species) if crosses is None else crosses, key=lambda cross: (cross.date, cross.row)
    )
    attached = page.current(records.Attachment, of=(plant.id, *(one.id for one in (*named, *found))))
    return PlantCard(
        record=plant,
        species=correct_form(known.species),
        placed=find_label(collection.index, known.species) is not None,
        known_by=_known_by(plant, named, raised),
        raised_from=(raised.number or raised.id) if raised else None,
        offsets=[name for name, one in bench.items() if one.clone == known.clone and name != own],
        determinations=named,
        findings=found,
        queries=_queries(page, plant, known.sex),
        flowering=_flowers(page, plant, today),
        pollen=list(page.current(records.PollenLot, plant=plant.id)),
        as_mother=[_cross(one, one.pollen_plant or one.pollen_parent) for one in crosses if one.seed_plant == own],
        as_father=[_cross(one, one.seed_plant or one.seed_parent) for one in crosses if one.pollen_plant == own],
        attachments=lines_of(page, attached, of=plant.id),
    )


def _known_by(plant: records.Plant, named: Sequence[records.Determination], raised: records.Cross | None) -> str:
    if named:
        last = named[-1]
        day = f" {spoken_date(last.date)}" if last.date else f", {say('plant.undated')}"
        by = say("plant.by", who=last.by) if last.by else ""
        return say("plant.known_by.determination", date=day, by=by)
    if plant.parents:
        return say("plant.known_by.parents")
    if raised is not None:
        return say("plant.known_by.cross", cross=raised.number or raised.id)
    return say(f"plant.known_by.{'received' if plant.received_as else 'nothing'}")


def _queries(page: Reading, plant: records.Plant, sex: str | None) -> list[str]:
    """Return the visits that contradict what was found of a plant's sex."""
    visits = page.columns(records.Pollination, "id", "cross", "date", "overruled", in_order=True)
    marked = [(*visit, mark) for *visit, marks in visits if marks and (mark := contradicted(sex, marks.split("; ")))]
    if not marked:
        return []
    crosses = {row[0]: row for row in page.columns(records.Cross, "id", "number", "seed_plant")}
    brought = page.columns(records.Pollen, "pollination", "plant", pollination=tuple(visit for visit, *_ in marked))
    given = {visit for visit, giver in brought if giver == plant.id}
    return [
        say("plant.query", sex=sex, cross=crosses[cross][1] or cross, date=spoken_date(day), mark=mark)
        for visit, cross, day, mark in marked
        if (crosses[cross][2] == plant.id if sex == "male" else visit in given)
    ]


def _flowers(page: Reading, plant: records.Plant, today: date) -> PlantFlowers:
    sightings = sightings_of(page).get(plant.id, [])
    window = usual_window(one.date for one in sightings if one.flowers != 0)
    seen = latest(sightings, today)
    usual = (window.words, window.first, window.last, window.days) if window else (None, None, None, 0)
    last = (seen.flowers != 0, seen.flowers, seen.date) if seen else (None, None, None)
    return PlantFlowers(*usual, *last)


def sightings_now(page: Reading, today: date) -> Mapping[str, Sighting]:
    """Return what was last seen of each plant's flowers, by its name, where that still tells of today."""
    names = dict(page.columns(records.Plant, "id", "name"))
    found = {names[plant]: latest(seen, today) for plant, seen in sightings_of(page).items() if plant in names}
    return {name: seen for name, seen in found.items() if seen is not None}


_FACTS = ("received_as", "clone", "accession", "field_number", "source", "papers", "parents", "owner", "place",
          "acquired", "died", "note")  # fmt: skip


def facts_in_words(card: PlantCard, today: date) -> Iterator[str]:
    """Yield what is noted of a plant itself, one thing a line."""
    for name in _FACTS:
        value = getattr(card.record, name)
        if value is not None:
            shown = spoken_date(value, today) if isinstance(value, date) else value
            yield say(f"planting.wrote.{name}", value=shown)
    if card.raised_from:
        yield say("plant.line.raised_from", value=card.raised_from)
    if card.offsets:
        yield say("plant.line.offsets", value=", ".join(card.offsets))
    if not card.placed:
        yield say("plant.line.unplaced")


def parts_in_words(card: PlantCard, today: date) -> Mapping[str, list[str]]:
    """Return what else is known of a plant, part by part; a part without a line is left out."""
    own = {card.record.id: ""}
    parts = {
        "determinations": [words_of(one, own) for one in card.determinations],
        "findings": [words_of(one, own) for one in card.findings],
        "flowers": list(_flowers_in_words(card.flowering, today)),
        "pollen": [words_of(lot, own) for lot in card.pollen],
        "as_mother": [_cross_in_words(one, today) for one in card.as_mother],
        "as_father": [_cross_in_words(one, today) for one in card.as_father],
        "attachments": [one.says for one in card.attachments],
    }
    return {name: lines for name, lines in parts.items() if lines}


def _flowers_in_words(seen: PlantFlowers, today: date) -> Iterator[str]:
    """Yield when a plant flowers, and whether it does now."""
    if seen.usual is None:
        yield say("plant.line.never")
    else:
        yield say("plant.line.usual" if seen.days > 1 else "plant.line.once", window=seen.usual, days=seen.days)
    if seen.open_now is not None:
        key = "over" if not seen.open_now else "open_uncounted" if seen.flowers is None else "open"
        yield say(f"plant.line.{key}", n=seen.flowers or 0, date=_day(seen.seen, today))


def _cross_in_words(one: PlantCross, today: date) -> str:
    """Return a cross that a plant took part in, in one line."""
    outcome = say("plant.line.lost", cause=one.lost_to) if one.lost_to else say(f"ask.outcome.{one.outcome}")
    other, day = one.other or say("chances.unknown"), one.date_words or _day(one.date, today)
    return say("plant.line.cross", number=one.number, date=day, other=other, outcome=outcome)


def _day(day: date | None, today: date) -> str:
    return spoken_date(day, today) if day else say("plant.undated")


def _cross(cross: Cross, other: str | None) -> PlantCross:
    outcome = outcome_of(cross)
    lost_to = cross.lost_to if outcome == "lost" else None
    return PlantCross(cross.number, cross.date, other, outcome, lost_to, cross.date_words)
