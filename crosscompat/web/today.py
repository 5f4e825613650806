"""Today: what is due on the benches, what can be crossed now, and the brush."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from crosscompat.advice.figures import Interval
from crosscompat.advice.parents import handling
from crosscompat.advice.rank import partners_of, rank
from crosscompat.advice.season.due import Due, DueList, due_list
from crosscompat.advice.season.mating import alive_on
from crosscompat.advice.season.pollinate import Pollinated, VisitRequest, pollinate
from crosscompat.advice.season.tonight import Tonight, tonight
from crosscompat.book import records
from crosscompat.book.store.database import AlreadyWritten
from crosscompat.book.timelines import Life, lives_of
from crosscompat.ground.dates import spoken_date, spoken_span, today
from crosscompat.ground.errors import CrosscompatError
from crosscompat.ground.wording import say
from crosscompat.web.forms import Form
from crosscompat.web.nursery import nursery, told
from crosscompat.web.pairs import names

PAGES = Blueprint("today", __name__)


@PAGES.get("/")
def screen() -> str | Response:
    """Show what is due by place, and what is in flower with its best pollen."""
    if not nursery().exists:
        return redirect("/start")
    day = today()
    due = due_on(day)
    return render_template(
        "today.html", day=spoken_date(day, day), places=by_place(due.due), due=due, tonight=tonight_on(day)
    )


def due_on(day: date) -> DueList:
    """Return what is due in the week that begins on a day."""
    here = nursery()
    return here.remembered(("due", day), lambda: due_list(_lives(day), here.collection.settings, day))


def _lives(day: date) -> tuple[Life, ...]:
    """Return the life of every cross up to a day."""
    here = nursery()

    def made() -> tuple[Life, ...]:
        with here.reading() as page:
            return lives_of(page, day)

    return here.remembered(("lives", day), made)


def tonight_on(day: date) -> Tonight:
    """Return what can be crossed on a day."""
    here = nursery()

    def made() -> Tonight:
        with here.reading() as page:
            return tonight(here.collection, page, day)

    return here.remembered(("tonight", day), made)


def by_place(due: Sequence[Due]) -> Mapping[str, list[Due]]:
    """Return what is due by where it stands, late things first."""
    ordered = sorted(due, key=lambda one: (one.where, not one.late, one.first))
    return {place: list(entries) for place, entries in groupby(ordered, key=lambda one: one.where)}


@dataclass(frozen=True, slots=True)
class PollenChoice:
    """Pollen for a seed plant: the plant it is of or the lot it is kept in, and the chance of it."""

    name: str
    species: str
    chance: Interval
    says: str
    lot: str | None = None


@PAGES.get("/pollinate")
def brush() -> str:
    """Choose the seed plant, then its pollen by chance, then say how many flowers."""
    form = Form(request.args)
    seed, pollen, day = form.text("seed"), form.text("pollen"), today()
    plants = alive_on(nursery().collection, day)
    if not seed:
        ready = {mother.seed_plant for mother in tonight_on(day).mothers}
        others = [plant for plant in plants if plant.sex != "male" and plant.plant not in ready]
        return render_template("choose_seed.html", tonight=tonight_on(day), others=others)
    now, later = pollen_for(seed, day)
    if not pollen:
        return render_template("choose_pollen.html", seed=seed, now=now, later=later, names=names())
    chosen = next((one for one in (*now, *later) if pollen == one.name), None)
    return render_template(
        "brush.html", seed=seed, pollen=pollen, chosen=chosen, flowers=tonight_on(day).flowers,
        caution=" ".join(one.says for one in handling(nursery().collection)),
    )  # fmt: skip


def pollen_for(seed: str, day: date) -> tuple[list[PollenChoice], list[PollenChoice]]:
    """Return the pollen for a seed plant, the likeliest first: what is fresh or kept now, and that of the other plants.

    Of a name that stands nowhere there is none; what it is will be asked when the visit is written.
    """
    here = nursery()
    mothers = [mother for mother in tonight_on(day).mothers if mother.seed_plant == seed]
    fathers = mothers[0].fathers if mothers else []
    now = [
        PollenChoice(father.lot or plant, father.pollen_parent, father.chance, father.says, father.lot)
        for father in fathers
        for plant in (father.plants or [""])
    ]

    def made() -> list[PollenChoice]:
        plants = [one.plant for one in alive_on(here.collection, day) if one.sex != "female" and one.plant != seed]
        with suppress(CrosscompatError):
            rows = rank(here.collection, partners_of(here.collection, seed, plants), basis=None).rows
            return [
                PollenChoice(row.pollen_plant, row.pollen_parent, row.chance, "")
                for row in rows
                if row.seed_plant == seed and row.pollen_plant
            ]
        return []

    there = {one.name for one in now}
    later = [one for one in here.remembered(("pollen", seed, day), made) if one.name not in there]
    return sorted(now, key=lambda one: -one.chance.mean), later


@PAGES.post("/pollinate")
def brushed() -> Response:
    """Write a visit down, once; what cannot well be is asked about first."""
    form = Form(request.form)
    day = form.day("date") or today()
    visit = records.Pollination(
        cross="",
        date=day,
        who=form.text("who"),
        units=form.number("flowers"),
        count_how="counted",
        isolation="bag" if form.yes("bag") else None,
        marker=form.text("marker"),
        note=form.text("note"),
    )
    pollen = form.text("pollen")
    request_ = VisitRequest(
        visit=visit, seed=form.text("seed"), pollen=(pollen,) if pollen else (), lot=form.text("lot")
    )
    here = nursery()
    try:
        with here.writing(form.change, who=visit.who) as pen:
            answer = pollinate(here.collection, pen, request_, today())
            form.must_agree([one.says for one in answer.obstacles])
    except AlreadyWritten as error:
        told(str(error))
        return redirect("/")
    told(f"{_in_words(answer)} {_next_look(answer.cross, today())}".strip())
    return redirect(url_for("crosses.cross", number=answer.cross))


def _next_look(number: str, day: date) -> str:
    """Say what is next for a cross, and when; nothing where nothing can be foreseen."""
    settings = nursery().collection.settings
    foreseen = due_list(_lives(day), settings, day, ahead=None).due
    entry = next((one for one in foreseen if one.cross == number), None)
    if entry is None:
        return ""
    first, last = map(date.fromisoformat, (entry.first, entry.last))
    task = say(f"due.tasks.{entry.task}", fruit=settings.fruit_word)
    return say("web.next_look", task=task, when=spoken_span(first, last, day))


def _in_words(answer: Pollinated) -> str:
    return say("web.brushed", cross=answer.cross, n=answer.units or 0)
