"""The first five minutes: a plant list as it is, a pair that one knows, old crosses, and what would have been said."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from crosscompat.advice.replay import Replayed, replay
from crosscompat.advice.season.plant_list import ListedPlant, read_plant_list
from crosscompat.book import records
from crosscompat.book.import_export.column_mapping import (
    NOTE_ANSWERS,
    QUESTIONS,
    Answers,
    Grid,
    TableMapping,
    map_columns,
    open_questions,
    read_grids,
    with_ours,
)
from crosscompat.book.import_export.import_table import ImportedRows, read_table, records_of_rows
from crosscompat.book.store import Reading
from crosscompat.book.store.database import AlreadyWritten
from crosscompat.carried import carried_trees
from crosscompat.collection.create import create_collection
from crosscompat.ground.dates import today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say
from crosscompat.web.forms import Form
from crosscompat.web.nursery import nursery, told
from crosscompat.web.pairs import names

PAGES = Blueprint("start", __name__)

_NOTE = "note:"
"""Before the text of a note that may decide, in the name of the field that holds the answer."""


@PAGES.get("/start")
def screen() -> str:
    """Show the way in: the list of plants, then a pair, then old crosses with what would have been said of them."""
    here = nursery()
    if not here.exists:
        return render_template("start.html", trees=carried_trees(), begun=False)
    collection = here.collection
    unknown = [plant for plant in collection.plants.by_name.values() if collection.index.find(plant.species) is None]
    return render_template(
        "start.html", begun=True, plants=len(collection.plants.by_name), unknown=unknown, names=names(),
        replayed=replayed(), crosses=len(collection.crosses),
    )  # fmt: skip


def replayed() -> list[Replayed]:
    """Return what would have been said of every finished cross."""
    here, day = nursery(), today()
    return here.remembered(("replay", day), lambda: replay(here.collection, day))


@PAGES.post("/start/plants")
def plants() -> str | Response:
    """Take in a list of plants: what is recognised has its place on the tree, the rest is listed and kept as it is."""
    form, here = Form(request.form), nursery()
    text = form.text("list")
    if text is None:
        raise WrongUse(say("web.start.no_list"))
    if not here.exists:
        create_collection(here.folder, tree=_tree_for(text, form.text("tree")))
    collection = here.collection
    genus = genus_of(collection.distances.tips[0])
    listed = read_plant_list(text, collection.index, genus, frozenset(collection.plants.by_name))
    try:
        with here.writing(form.change, who=form.text("who")) as pen:
            pen.what = say("web.start.change", n=len(listed))
            pen.add(*map(_plant, listed))
    except AlreadyWritten as error:
        told(str(error))
        return redirect(url_for("start.screen"))
    return render_template("listed.html", listed=listed, known=[plant for plant in listed if plant.species])


def _tree_for(text: str, chosen: str | None) -> str:
    """Return the tree chosen, else the one whose genus the list names most."""
    if chosen:
        return chosen
    said = text.casefold()
    return max(carried_trees(), key=lambda tree: said.count(tree.genus.casefold())).name


def _plant(listed: ListedPlant) -> records.Plant:
    """Return a plant with its species where that is known, and all else that its line says as a note."""
    if listed.species is None:
        return records.Plant(name=listed.name, received_as=listed.line)
    note = None if listed.line == listed.species else listed.line
    return records.Plant(name=listed.name, received_as=listed.species, note=note)


@dataclass(frozen=True, slots=True)
class PastedTable:
    """Pasted crosses as they are understood: the columns, what must still be said, and what came of the rows."""

    mapping: TableMapping
    open_questions: dict[str, tuple[str, ...]]
    taken: ImportedRows | None


@PAGES.post("/start/crosses")
def crosses() -> str | Response:
    """Take in old crosses, pasted with their headings: show how they are understood, ask what is open, then write."""
    form, here = Form(request.form), nursery()
    text = form.text("table")
    if text is None:
        raise WrongUse(say("web.start.no_table"))
    grid = _grid_of(text)
    said = {question: answer for question in QUESTIONS if (answer := form.text(f"answer-{question}"))}
    notes = {name.removeprefix(_NOTE): answer for name, answer in form if name.startswith(_NOTE)}
    answers = Answers(notes=notes, questions=said, south=here.collection.settings.hemisphere == "south")
    try:
        with here.writing(form.change, who=form.text("who"), dry_run=not form.yes("sure")) as pen:
            table = _understood(pen, grid, answers)
            ready = form.yes("sure") and table.taken is not None and not table.taken.open_notes
            if table.taken is not None and ready:
                pen.what, pen.imported = say("web.start.crosses_change"), True
                pen.add(*records_of_rows(pen, table.taken))
    except AlreadyWritten as error:
        told(str(error))
        return redirect(url_for("start.screen"))
    if table.taken is not None and ready:
        told(say("web.start.taken", n=len(table.taken.crosses)))
        return redirect(url_for("start.screen"))
    return render_template("pasted.html", table=table, form=form, text=text, meanings=NOTE_ANSWERS)


def _grid_of(text: str) -> Grid:
    """Return pasted text as the table that it is."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / say("web.start.pasted")
        path.write_text(f"{text}\n", encoding="utf-8")
        return read_grids(path)[0]


def _understood(pen: Reading, grid: Grid, answers: Answers) -> PastedTable:
    mapping = map_columns(grid, "crosses", {})
    if mapping.missing:
        columns = "; ".join(say("import.or").join(group) for group in mapping.missing)
        raise WrongUse(say("web.start.missing", columns=columns))
    answers = with_ours(answers, mapping)
    asked = open_questions(mapping, answers)
    taken = None if asked else read_table(pen, grid, mapping, answers, today())
    return PastedTable(mapping, {question: QUESTIONS[question] for question in asked}, taken)
