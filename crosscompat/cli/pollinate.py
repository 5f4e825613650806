"""Log a visit to a cross, and print what became of it."""

from __future__ import annotations

from pathlib import Path

from crosscompat.advice.pollinate import Pollinated, prepare, write_visit
from crosscompat.advice.visit_request import VisitRequest
from crosscompat.book.entry.validation import Bounds
from crosscompat.book.store import Store
from crosscompat.book.units import in_words, units_told
from crosscompat.cli.book_session import Stopped, agreed
from crosscompat.cli.dates_and_author import today
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import line, paragraph, print_json, who
from crosscompat.collection.books import open_book
from crosscompat.collection.opening import Collection
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent_range

__all__ = ["run"]


def run(folder: Path | None, request: VisitRequest, *, anyway: bool, dry_run: bool, as_json: bool) -> None:
    """Log a visit and print it; what cannot be is asked about first, or stops it."""
    collection = collection_at(folder, crosses=False)
    store = open_book(folder or Path(), collection.settings)
    try:
        answer = agreed(lambda yes: _written(store, collection, request, yes, dry_run=dry_run), anyway=anyway)
    except Stopped as stopped:
        if as_json:
            print_json(stopped.answer)
        raise
    finally:
        store.engine.dispose()
    if as_json:
        print_json(answer)
    else:
        _print(answer, dry_run=dry_run)


def _written(
    store: Store, collection: Collection, request: VisitRequest, yes: frozenset[str], *, dry_run: bool
) -> Pollinated:
    """Write a visit down; all is judged while nobody else can write."""
    bounds = Bounds(today(), collection.settings.pod[1])
    with store.writing("", who=request.who, dry_run=dry_run) as pen:
        prepared = prepare(collection, pen, request, today())
        reasons = [one.says for one in prepared.answer.obstacles]
        if not yes.issuperset(reasons):
            raise Stopped(reasons, ask=say("entry.ask"), answer=prepared.answer)
        pen.what = say("pollinate.change", cross=prepared.answer.cross)
        answer = write_visit(pen, prepared, bounds)
        return prepared.answer if dry_run else answer


def _print(answer: Pollinated, *, dry_run: bool) -> None:
    """Print a visit for a person: which cross, its chances, then what to mind."""
    if answer.invented:
        paragraph(say("cli.invented"))
        line()
    key = "begun" if answer.begun else "continued"
    paragraph(say(f"pollinate.{key}", cross=answer.cross, visits=answer.visits))
    paragraph(_what(answer), indent=2)
    if answer.chance is not None:
        chance = percent_range(answer.chance.mean, answer.chance.low, answer.chance.high)
        words = answer.chance.words
        paragraph(say("ask.chance", words=words, percent=chance, flowers=answer.flowers or 1), indent=2)
    elif answer.no_chance:
        paragraph(answer.no_chance, indent=2)
    if answer.overruled:
        paragraph(say("pollinate.overruled", marks=answer.overruled), indent=2)
    for text in (*answer.queries, *(one.says for one in answer.warnings)):
        paragraph(text, indent=2, bullet="! ")
    for text in (*answer.notes, *(one.says for one in answer.handling)):
        paragraph(text)
    if dry_run:
        paragraph(say("entry.dry_run"))


def _what(answer: Pollinated) -> str:
    """Return a visit in one sentence."""
    mother = who(answer.seed_parent, answer.seed_plant)
    if answer.pollen_kind in {"open", "self", "sib", "none"}:
        made = say(f"pollinate.made.{answer.pollen_kind}", seed=mother)
    else:
        fathers = say("pollinate.or").join(
            who(one.species, one.plant)
            if one.certainty in {None, "certain"}
            else say("pollinate.unsure", name=who(one.species, one.plant), certainty=one.certainty)
            for one in answer.pollen
        )
        made = say("pollinate.made.pollen", seed=mother, pollen=fathers)
    lot = say("pollinate.stored", lot=answer.lot) if answer.lot else ""
    units = units_told(answer.unit_kind, answer.units).words or say("pollinate.uncounted")
    total = _in_all(answer) if answer.visits > 1 else ""
    return say("pollinate.visit", made=made, lot=lot, units=units, total=total, date=answer.date)


def _in_all(answer: Pollinated) -> str:
    """Return what was pollinated in all visits, unlike units side by side; empty where that is not known."""
    if answer.units_in_all:
        return say("pollinate.in_all", n=answer.units_in_all)
    apart = in_words(answer.units_by_kind)
    return say("pollinate.in_all", n=apart) if apart else ""
