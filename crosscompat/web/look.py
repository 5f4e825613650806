"""A look at a cross: found by its number, what is seen tapped and counted, then the next one that is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from crosscompat.advice.season.cross_story import (
    LOOKS,
    CrossStory,
    likely_looks,
    observe_cross,
    story_of,
    where_it_stands,
    written_in_words,
)
from crosscompat.advice.season.due import Due
from crosscompat.advice.season.labels import cross_on_label
from crosscompat.book import records
from crosscompat.book.cross_summary import cross_records
from crosscompat.book.entry.enter_observation import Seen
from crosscompat.book.numbers_and_names import read_pattern
from crosscompat.book.store import Reading
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.wording import say
from crosscompat.stages import LAST
from crosscompat.web.forms import Form
from crosscompat.web.nursery import nursery, once, told
from crosscompat.web.today import by_place, due_on

PAGES = Blueprint("look", __name__)

_COUNTED = LOOKS[: LOOKS.index("lost")]


@PAGES.get("/look")
def which() -> str | Response | tuple[str, int]:
    """Ask for the number of a cross, and list what is due."""
    number = Form(request.args).text("number")
    if number is None:
        return _asked("")
    try:
        with nursery().reading() as page:
            cross = cross_of_text(page, number)
    except UnknownName as unknown:
        return _asked(number, str(unknown)), 404
    return redirect(url_for("look.look", number=cross.number or cross.id))


def cross_of_text(page: Reading, text: str) -> records.Cross:
    """Return the cross that is meant by its number, or by the text of its label's code; raises `UnknownName`."""
    return cross_on_label(page, text, read_pattern(nursery().collection.settings.cross_number))


def _asked(number: str, fault: str = "") -> str:
    return render_template("look.html", number=number, fault=fault, places=by_place(due_on(today()).due))


@PAGES.get("/look/<path:number>")
def look(number: str) -> str | tuple[str, int]:
    """Show where a cross stands, and ask what is seen of it."""
    try:
        at = _at(number)
    except UnknownName as unknown:
        return _asked(number, str(unknown)), 404
    follow = request.args.get("next", "") or _next(at.story)
    return render_template("look_at.html", at=at, follow=follow)


@dataclass(frozen=True, slots=True)
class _At:
    """A cross that is looked at: how it stands, what is due of it, what may be seen, its trays and harvests."""

    story: CrossStory
    lines: Sequence[str]
    due: Sequence[Due]
    likely: Sequence[str]
    rest: Sequence[str]
    trays: Sequence[tuple[str, str]]
    lots: Sequence[tuple[str, str]]


def _at(number: str) -> _At:
    here = nursery()
    due = due_on(today()).due
    with here.reading() as page:
        cross = cross_of_text(page, number)
        story = story_of(page, cross, invented=here.collection.settings.invented)
        whole = cross_records(page, cross)
    likely = likely_looks(story)
    return _At(
        story,
        where_it_stands(story),
        [one for one in due if one.id.startswith(cross.id)],
        likely,
        [one for one in LOOKS if one not in likely],
        [(tray.id, tray.place or _day_of(tray)) for tray in whole.trays],
        [(lot.id, lot.name or _day_of(lot)) for lot in whole.lots],
    )


def _day_of(one: records.Sowing | records.SeedLot) -> str:
    return one.date_words or (spoken_date(one.date) if one.date else one.id[:8])


def _next(story: CrossStory) -> str:
    """Return the cross that is due after one, bench by bench, and from the last on the first again; or nothing."""
    due = [one for entries in by_place(due_on(today()).due).values() for one in entries]
    numbers = list(dict.fromkeys(one.cross for one in due))
    own = story.cross if story.cross in numbers else story.id[:8]
    at = numbers.index(own) + 1 if own in numbers else 0
    return next((one for one in numbers[at:] + numbers[:at] if one != own), "")


@PAGES.post("/look/<path:number>")
def looked(number: str) -> Response:
    """Write down what is seen of a cross, once; what was said otherwise before is asked about first."""
    here, form = nursery(), Form(request.form)
    follow, seen, who = _next(_at(number).story), _seen(form), form.text("who")
    settings, day = here.collection.settings, form.day("date") or today()
    with once():
        with here.writing(form.change, who=who) as pen:
            cross = cross_of_text(pen, number)
            number = cross.number or cross.id
            done = observe_cross(pen, number, seen, settings, day=day, today=today(), who=who)
            form.must_agree(done.surprises)
        what = written_in_words(done.story)
        told(say("look.saved" if what else "look.already", cross=number, what=what))
    return redirect(url_for("look.look", number=number, next=follow or None))


def _seen(form: Form) -> Seen:
    """Return what a form says was seen; raises `WrongUse` where it does not say enough."""
    what, count, note = form.text("seen"), form.number("count"), form.text("note")
    seeds, only_good = form.number("seeds"), form.yes("only_good")
    wrong = {
        "which_first": what not in LOOKS,
        "no_count": what in _COUNTED and what != "harvest" and count is None,
        "lone_seeds": what != "harvest" and (seeds is not None or only_good),
        "no_cause": what == "lost" and note is None,
        "no_note": what == "note" and note is None,
    }
    key = next((key for key, is_wrong in wrong.items() if is_wrong), None)
    if key is not None:
        raise WrongUse(say(f"look.{key}"))
    lot = records.SeedLot(cross="", pods=count, seeds=seeds)
    tray = records.Sowing(cross="", seeds=count, lot=form.text("from_lot"), place=form.text("place"))
    said: Mapping[str, dict[str, Any]] = {
        **{name: {name: count} for name in ("swelling", "dropped", "ripe")},
        "harvest": {"harvest": lot, "only_good": only_good},
        "sown": {"sown": tray},
        "up": {"up": count, "tray": form.text("tray")},
        "lost": {"lost": note},
        "over": {"over": LAST},
        "note": {},
    }
    return Seen(**said[what or ""], note=None if what == "lost" else note)
