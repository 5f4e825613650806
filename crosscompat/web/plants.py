"""The plants: listed, added, their open flowers and the pollen of them noted, and the card of each."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from crosscompat.advice.season.history import history_of, last_standing
from crosscompat.advice.season.plant_cards import (
    PlantLine,
    facts_in_words,
    parts_in_words,
    plant_card,
    plant_lines,
    sightings_now,
    write_plant,
)
from crosscompat.book.current_plants import Sighting
from crosscompat.book.entry.enter_plant import PlantEntry
from crosscompat.book.numbers_and_names import find_plant
from crosscompat.book.records import SEXES
from crosscompat.ground.dates import today
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.web.crosses import portion
from crosscompat.web.forms import Form
from crosscompat.web.nursery import nursery, once, told
from crosscompat.web.pairs import names

PAGES = Blueprint("plants", __name__)

_NOTED = ("place", "source", "note")


@PAGES.get("/plants")
def every() -> str:
    """List the plants with what they are, their sex, where they stand, and whether they are in flower."""
    here, text, day = nursery(), request.args.get("q", ""), today()

    def made() -> tuple[list[PlantLine], Mapping[str, Sighting]]:
        with here.reading() as page:
            return plant_lines(page), sightings_now(page, day)

    lines, seen = here.remembered(("plant lines", day), made)
    words = fold(text).casefold().split()
    fits = [one for one in lines if all(word in _text(one) for word in words)]
    return render_template("plants.html", shown=portion(fits), seen=seen, q=text, sexes=SEXES, names=names())


def _text(one: PlantLine) -> str:
    return fold(f"{one.plant} {one.species} {one.place or ''}").casefold()


@PAGES.post("/plants")
def added() -> Response:
    """Write down a new plant, once."""
    form = Form(request.form)
    sex, name = form.text("sex"), form.text("name")
    if name is None:
        raise WrongUse(say("planting.no_name"))
    return _written(
        form,
        name,
        lambda: PlantEntry(
            name=name,
            new=True,
            day=form.day("date") or today(),
            by=form.text("who"),
            species=form.text("species"),
            findings=(("sex", sex),) if sex in SEXES else (),
            plant={field: form.text(field) for field in _NOTED},
        ),
    )


@PAGES.get("/plants/<path:name>")
def plant(name: str) -> str:
    """Show the card of a plant."""
    here, day = nursery(), today()
    try:
        with here.reading() as page:
            known = find_plant(page, name)
            card = plant_card(here.collection, page, known, day, here.collection.crosses)
            last = last_standing(history_of(page, known, brief=True))
    except UnknownName:
        abort(404)
    facts, sections = list(facts_in_words(card, day)), parts_in_words(card, day)
    return render_template("plant.html", card=card, facts=facts, sections=sections, last=last)


@PAGES.post("/plants/<path:name>")
def noted(name: str) -> Response:
    """Write down the open flowers of a plant or pollen that was kept, once."""
    form = Form(request.form)
    lot = form.text("pollen")
    if lot is None and any(form.text(field) for field in ("kept", "collected")):
        raise WrongUse(say("bench.which_lot"))
    flowers, collected = form.number("open_flowers"), form.day("collected")
    pollen = {} if lot is None else {"name": lot, "kept": form.text("kept"), "collected": collected or today()}
    if flowers is None and not pollen:
        raise WrongUse(say("bench.nothing_said"))
    day, who = form.day("date") or today(), form.text("who")
    return _written(form, name, lambda: PlantEntry(name=name, day=day, by=who, flowers=flowers, pollen=pollen))


def _written(form: Form, name: str, entry: Callable[[], PlantEntry]) -> Response:
    here = nursery()
    with once():
        with here.writing(form.change, who=form.text("who")) as pen:
            done = write_plant(here.collection, pen, entry(), today())
        name = done.plant.name
        key, cautions = "bench.wrote" if done.wrote else "bench.nothing_new", [one.says for one in done.cautions]
        told(" ".join([say(key, plant=name, what="; ".join(done.wrote)), *done.notes, *cautions]))
    return redirect(url_for("plants.plant", name=name))
