"""Today: what is due on the benches, what can be crossed now, and the brush."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import groupby

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from crosscompat.advice.due import Due, DueList, due_list
from crosscompat.advice.pollinate import Pollinated, pollinate
from crosscompat.advice.tonight import Father, Tonight, tonight
from crosscompat.advice.visit_parents import VisitRequest
from crosscompat.book import records
from crosscompat.book.store.database import AlreadyWritten
from crosscompat.book.timelines import lives_of
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.wording import say
from crosscompat.web.app import nursery, told
from crosscompat.web.forms import Form

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

    def made() -> DueList:
        with here.reading() as page:
            return due_list(lives_of(page, day), here.collection.settings, day)

    return here.remembered(("due", day), made)


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


@PAGES.get("/pollinate")
def brush() -> str:
    """Choose the seed plant, then its pollen by chance, then say how many flowers."""
    seed, pollen = request.args.get("seed", ""), request.args.get("pollen", "")
    found = tonight_on(today())
    if not seed:
        return render_template("choose_seed.html", tonight=found)
    if not pollen:
        return render_template("choose_pollen.html", seed=seed, fathers=_fathers(found, seed))
    father = next((one for one in _fathers(found, seed) if pollen in (one.lot, *one.plants)), None)
    lot = father.lot if father is not None and father.lot == pollen else None
    return render_template("brush.html", seed=seed, pollen=pollen, father=father, lot=lot, flowers=found.flowers)


def _fathers(found: Tonight, seed: str) -> list[Father]:
    mothers = [mother for mother in found.mothers if mother.seed_plant == seed]
    fathers = mothers[0].fathers if mothers else []
    return sorted(fathers, key=lambda father: -father.chance.mean)


@PAGES.post("/pollinate")
def brushed() -> str | Response:
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
            reasons = [one.says for one in answer.obstacles]
            if not form.agreed.issuperset(reasons):
                raise _Asked(reasons)
    except _Asked as asked:
        return render_template("agree.html", reasons=asked.reasons, form=form, ask=say("entry.ask"))
    except AlreadyWritten as error:
        told(str(error))
        return redirect("/")
    told(_in_words(replace(answer, written=True)))
    return redirect(url_for("crosses.cross", number=answer.cross))


class _Asked(Exception):
    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__()
        self.reasons = reasons


def _in_words(answer: Pollinated) -> str:
    return say("web.brushed", cross=answer.cross, n=answer.units or 0)
