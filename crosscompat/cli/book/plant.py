"""The plants of a book, the card of one, and what is written down of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Annotated, Any

import typer

from crosscompat.advice.season.plant_cards import PlantAnswer, PlantCard, facts_in_words, parts_in_words, plant_answer
from crosscompat.book import records
from crosscompat.book.entry.enter_plant import PlantEntry
from crosscompat.cli import options
from crosscompat.cli.options import count, option, options_of, plain, taking, text
from crosscompat.cli.output import give, headings, line, paragraph, print_table
from crosscompat.cli.session import open_with_collection
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

_PLANT = options_of(
    records.Plant,
    "received_as clone accession field_number source papers parents owner place acquired died note",
    "help.of_plant",
)
_FINDINGS = {
    "sex": option("--sex", "help.of_plant.sex", str, records.SEXES),
    "chromosomes": Annotated[int | None, count("--2n", "help.of_plant.2n", least=2)],
    "self_fertile": option("--self-fertile", "help.of_plant.self_fertile", str, ("yes", "no")),
    "fertility": option("--fertility", "help.of_plant.fertility", str),
    "first_flower": option("--first-flower", "help.of_plant.first_flower", date),
}
"""An option for each of `records.FINDINGS`, in their order."""
_HOW = {"how": option("--how", "help.of_plant.how", str)}
_POLLEN = options_of(records.PollenLot, "kept dried collected tested test_result=result", "help.of_plant")


@taking(_PLANT, _FINDINGS, _HOW, _POLLEN)
def plant(
    typed: Annotated[list[str] | None, typer.Argument(metavar="NAME SPECIES", help=say("help.of_plant.name"))] = None,
    species: Annotated[str | None, text("--as", "SPECIES", "help.of_plant.as")] = None,
    on: options.On = None,
    by: options.By = None,
    raised_from: Annotated[str | None, text("--raised-from", "CROSS", "help.of_plant.raised_from")] = None,
    flowers: Annotated[int | None, count("--flowers", "help.of_plant.flowers")] = None,
    pollen: Annotated[str | None, text("--pollen", "LOT", "help.of_plant.pollen")] = None,
    folder: options.Folder = None,
    *,
    new_plant: Annotated[bool, plain("--new", "help.of_plant.new")] = False,
    dry_run: options.DryRun = False,
    why: options.Why = False,
    as_json: options.Json = False,
    **fields: Any,
) -> None:
    """Write down what was said, if anything was; else print the card, and without a name list the plants."""
    name, *more = typed or (None,)
    found = {what: fields.pop(name) for what, name in zip(records.FINDINGS, _FINDINGS, strict=True)}
    lot = {name: fields.pop(name) for name in _POLLEN}
    if pollen is None and any(value is not None for value in lot.values()):
        raise WrongUse(say("plant.pollen_what"))
    entry = PlantEntry(
        name=name,
        new=new_plant,
        day=on or today(),
        by=options.author(by),
        species=species or " ".join(filter(None, more)) or None,
        raised_from=raised_from,
        flowers=flowers,
        findings=tuple((what, str(value)) for what, value in found.items() if value is not None),
        pollen={} if pollen is None else {"name": pollen, **lot},
        how=fields.pop("how"),
        plant=fields,
    )
    with open_with_collection(folder) as (collection, store):
        if more:
            entry = replace(entry, new=entry.new or collection.plants.find(name) is None)
        answer = plant_answer(collection, store, entry, today(), dry_run=dry_run)
    give(answer, lambda one: _print(one, asks=entry.asks_only, why=why, dry_run=dry_run), as_json=as_json)


def _print(answer: PlantAnswer, *, asks: bool, why: bool, dry_run: bool) -> None:
    card = answer.card
    if card is None:
        _print_list(answer)
    elif asks or why:
        _print_card(card)
    if card is not None and not asks:
        key = "nothing_new" if not answer.wrote else "would_write" if dry_run else "wrote"
        paragraph(say(f"plant.{key}", plant=card.record.name, what="; ".join(answer.wrote)))
    for says in (*(one.says for one in answer.cautions), *answer.notes):
        paragraph(says)


def _print_list(answer: PlantAnswer) -> None:
    if not answer.plants:
        paragraph(say("plant.none"))
        return
    dead = {one.plant: say("plant.dead", date=_day(one.died)) for one in answer.plants if one.died}
    rows = [[one.plant, one.species, one.sex or "", dead.get(one.plant, one.place or "")] for one in answer.plants]
    print_table(headings("plant.columns", "plant", "species", "sex", "place"), rows, indent=0)


def _print_card(card: PlantCard) -> None:
    paragraph(say("plant.line.heading", plant=card.record.name, species=card.species, known_by=card.known_by))
    for says in facts_in_words(card, today()):
        paragraph(says, indent=2)
    for says in card.queries:
        paragraph(says, indent=2, bullet="! ")
    for key, lines in parts_in_words(card, today()).items():
        line(say(f"plant.line.{key}"))
        for says in lines:
            paragraph(says, indent=2)


def _day(day: date | None) -> str:
    return spoken_date(day, today()) if day else say("plant.undated")
