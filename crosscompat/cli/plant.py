"""Print the plants of a book or the card of one, and write down what is told of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from crosscompat.advice.cautions import Caution, escaping, permits
from crosscompat.advice.plant_cards import PlantAnswer, PlantCard, PlantCross, PlantLine, PlantLot, card_of, lines_of
from crosscompat.advice.visit_sides import misspelt, nearest_names
from crosscompat.book import records
from crosscompat.book.entry.enter_plant import Planting, PlantTold, PollenTold, planting, write_planting
from crosscompat.book.entry.validation import Bounds
from crosscompat.book.numbers import read_pattern
from crosscompat.book.store import Reading, Store
from crosscompat.cli.dates_and_author import day_told, today
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import columns, line, paragraph, print_json
from crosscompat.collection.books import open_book
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

__all__ = ["PlantTold", "findings_told", "pollen_told", "run"]

_FACTS = (
    *("received_as", "clone", "accession", "field_number", "source", "papers", "parents", "raised_from", "owner"),
    *("place", "acquired", "died", "note"),
)
_RECEIVED = ("received_as", "source", "papers", "acquired", "owner")


def run(folder: Path | None, told: PlantTold, *, dry_run: bool, as_json: bool) -> None:
    """Write down what was told, if anything was, and print the card; without a name list the plants."""
    collection = collection_at(folder, crosses=False)
    store = open_book(folder or Path(), collection.settings)
    try:
        answer = _answer(store, collection, told, dry_run=dry_run)
    finally:
        store.engine.dispose()
    if as_json:
        print_json(answer)
    else:
        _print(answer, told, dry_run=dry_run)


def findings_told(
    sex: str | None,
    chromosomes: int | None,
    self_fertile: str | None,
    fertility: str | None,
    first_flower: datetime | None,
) -> tuple[tuple[str, str], ...]:
    """Return what was found, each by its name."""
    given = {
        "sex": sex,
        "2n": None if chromosomes is None else str(chromosomes),
        "self_fertile": self_fertile,
        "fertility": fertility,
        "first_flower": None if first_flower is None else day_told(first_flower).isoformat(),
    }
    return tuple((what, value) for what, value in given.items() if value is not None)


def pollen_told(
    lot: str | None,
    *,
    kept: str | None,
    dried: bool | None,
    collected: datetime | None,
    tested: datetime | None,
    result: str | None,
) -> PollenTold | None:
    """Return what was told of stored pollen.

    Raises
    ------
    WrongUse
        If it is of no lot.
    """
    if lot is None:
        if any(value is not None for value in (kept, dried, collected, tested, result)):
            raise WrongUse(say("plant.pollen_what"))
        return None
    days = [None if day is None else day_told(day) for day in (collected, tested)]
    return PollenTold(name=lot, kept=kept, dried=dried, collected=days[0], tested=days[1], result=result)


def _answer(store: Store, collection: Collection, told: PlantTold, *, dry_run: bool) -> PlantAnswer:
    if told.asks_only:
        with store.reading() as page:
            if told.name is None:
                return _told(collection, plants=lines_of(page))
            return _told(collection, card=card_of(collection, page, _find(page, told.name), today()))
    with store.writing("", who=told.by, dry_run=dry_run) as pen:
        found = _planted(pen, collection, told)
        pen.what = say("plant.change", plant=found.plant.name, what="; ".join(found.wrote))
        stood = pen.find(records.Plant, id=found.plant.id)
        before = card_of(collection, pen, stood, today()) if stood and dry_run else None
        write_planting(pen, found, Bounds(today()))
        card = before if dry_run else card_of(collection, pen, found.plant, today())
        written = bool(found.new or found.changed) and not dry_run
        cautions = _cautions(collection, told, found)
        return _told(collection, card=card, wrote=found.wrote, cautions=cautions, written=written)


def _told(
    collection: Collection,
    *,
    plants: list[PlantLine] | None = None,
    card: PlantCard | None = None,
    wrote: tuple[str, ...] = (),
    cautions: list[Caution] | None = None,
    written: bool = False,
) -> PlantAnswer:
    notes, invented = list(collection.notices), collection.settings.invented
    return PlantAnswer(plants or [], card, list(wrote), written, cautions or [], invented, notes)


def _planted(page: Reading, collection: Collection, told: PlantTold) -> Planting:
    try:
        return planting(page, told, read_pattern(collection.settings.cross_number))
    except LookupError:
        _find(page, told.name or "")
        raise


def _find(page: Reading, text: str) -> records.Plant:
    name = fold(text)
    found = page.find(records.Plant, name=name)
    if found is None:
        near = nearest_names(name, [known for (known,) in page.columns(records.Plant, "name")])
        hint = say("plant.nearest", names=", ".join(near)) if near else ""
        raise UnknownName(say("plant.unknown", name=name, nearest=hint), name, near)
    return found


def _cautions(collection: Collection, told: PlantTold, found: Planting) -> list[Caution]:
    """Return what is to be told once: names that may be misspelt, papers where something changes hands, hybrids."""
    names = dict.fromkeys(name for name in (told.species, told.parents) if name is not None)
    spelling = [Caution("name", says) for name in names for says in misspelt(collection, name)]
    received = any(getattr(told, name) is not None for name in _RECEIVED)
    others_pollen = told.pollen is not None and found.plant.owner is not None
    cautions = [permits()] if received or others_pollen else []
    return [*spelling, *cautions, *([escaping()] if told.raised_from or told.parents else [])]


def _print(answer: PlantAnswer, told: PlantTold, *, dry_run: bool) -> None:
    if answer.invented:
        paragraph(say("cli.invented"))
        line()
    if answer.card is not None:
        _print_card(answer.card)
    elif not answer.wrote:
        _print_list(answer)
    if answer.wrote:
        line()
        paragraph(say("plant.would_write" if dry_run else "plant.wrote", what="; ".join(answer.wrote)))
    elif not told.asks_only:
        line()
        paragraph(say("plant.nothing_new"))
    for text in (*(one.says for one in answer.cautions), *answer.notes):
        paragraph(text)
    if dry_run:
        paragraph(say("entry.dry_run"))


def _print_list(answer: PlantAnswer) -> None:
    if not answer.plants:
        paragraph(say("plant.none"))
        return
    heading = [say(f"plant.columns.{name}") for name in ("plant", "species", "sex", "place")]
    rows = [
        [one.plant, one.species, one.sex or "", say("plant.dead", date=one.died) if one.died else one.place or ""]
        for one in answer.plants
    ]
    for row in columns([heading, *rows]):
        line(row)


def _print_card(card: PlantCard) -> None:
    paragraph(say("plant.line.heading", plant=card.plant, species=card.species, known_by=card.known_by))
    for name in _FACTS:
        value = getattr(card, name)
        if value is not None:
            paragraph(say(f"plant.line.{name}", value=value), indent=2)
    if card.offsets:
        paragraph(say("plant.line.offsets", value=", ".join(card.offsets)), indent=2)
    if not card.placed:
        paragraph(say("plant.line.unplaced"), indent=2)
    for text in card.queries:
        paragraph(text, indent=2, bullet="! ")
    for key, lines in (
        ("determinations", list(_determinations(card))),
        ("findings", list(_findings(card))),
        ("flowers", list(_flowers(card))),
        ("pollen", [say("plant.line.lot", name=lot.name, details=_details(lot)) for lot in card.pollen]),
        ("as_mother", [_cross(one) for one in card.as_mother]),
        ("as_father", [_cross(one) for one in card.as_father]),
    ):
        if lines:
            line(say(f"plant.line.{key}"))
            for text in lines:
                paragraph(text, indent=2)


def _determinations(card: PlantCard) -> Iterator[str]:
    for one in card.determinations:
        yield say("plant.line.determination", name=one.name, date=_day(one.date), by=_by(one.by), note=_more(one.note))


def _findings(card: PlantCard) -> Iterator[str]:
    for one in card.findings:
        yield say(
            "plant.line.finding",
            what=say(f"planting.findings.{one.what}"),
            value=one.value,
            date=_day(one.date),
            how=say("plant.line.how", how=one.how) if one.how else "",
            by=_by(one.by),
            note=_more(one.note),
        )


def _flowers(card: PlantCard) -> Iterator[str]:
    seen = card.flowering
    if seen.usual is None:
        yield say("plant.line.never")
    else:
        yield say("plant.line.usual" if seen.days > 1 else "plant.line.once", window=seen.usual, days=seen.days)
    if seen.open_now is not None:
        key = "over" if not seen.open_now else "open_uncounted" if seen.flowers is None else "open"
        yield say(f"plant.line.{key}", n=seen.flowers or 0, date=seen.seen)


def _details(lot: PlantLot) -> str:
    told = [say("plant.line.collected", date=lot.collected) if lot.collected else say("plant.line.lot_undated")]
    if lot.dried is not None:
        told.append(say("plant.line.dried" if lot.dried else "plant.line.not_dried"))
    told += [say("plant.line.kept", where=lot.kept)] if lot.kept else []
    told += [say("plant.line.tested", date=lot.tested)] if lot.tested else []
    told += [lot.result] if lot.result else []
    return ", ".join(told)


def _cross(one: PlantCross) -> str:
    other = one.other or say("chances.unknown")
    return say(
        "plant.line.cross", number=one.number, date=one.date, other=other, outcome=say(f"ask.outcome.{one.outcome}")
    )


def _day(day: str | None) -> str:
    return day or say("plant.undated")


def _by(who: str | None) -> str:
    return say("plant.by", who=who) if who else ""


def _more(note: str | None) -> str:
    return say("plant.line.more", note=note) if note else ""
