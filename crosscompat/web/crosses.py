"""The crosses: found, opened, put right by a new entry, undone, labelled, and taken along as a whole."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from flask import Blueprint, Response, abort, redirect, render_template, request, send_file, url_for
from werkzeug.wrappers import Response as BaseResponse

from crosscompat.advice.season.cross_list import STATES, CrossLine, cross_lines, matching
from crosscompat.advice.season.cross_story import story_of, where_it_stands
from crosscompat.advice.season.history import (
    HistoryEntry,
    corrected,
    fields_of,
    history_of,
    last_standing,
    subject_of,
    undone_of,
    withdrawn,
)
from crosscompat.advice.season.labels import labels_for
from crosscompat.book import records
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.correct import take_back
from crosscompat.book.history import FieldChange, called, words_of
from crosscompat.book.import_export.whole_book import book_in, write_book
from crosscompat.book.numbers_and_names import find_cross_or_plant, find_record
from crosscompat.book.store import Reading
from crosscompat.ground.dates import spoken_date, spoken_dates, today
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.wording import say
from crosscompat.show.label import labels_page
from crosscompat.web.forms import Form
from crosscompat.web.look import cross_of_text
from crosscompat.web.nursery import nursery, once, told
from crosscompat.web.pocket import allowed

PAGES = Blueprint("crosses", __name__)

_A_PAGE = 50
_CHANGES = 20
PARTS = ("visits", "counts", "lots", "trays", "losses", "proofs", "attachments")


@dataclass(frozen=True, slots=True)
class Portion:
    """So many rows as one page shows."""

    rows: Sequence[Any]
    count: int
    page: int
    pages: int


def portion(rows: Sequence[Any]) -> Portion:
    """Return the rows of the page that is asked for; a page that is none is the nearest that is."""
    text, pages = request.args.get("page", ""), max(1, -(-len(rows) // _A_PAGE))
    page = min(max(int(text), 1), pages) if text.isdecimal() and len(text) < len("10000") else 1
    return Portion(rows[(page - 1) * _A_PAGE : page * _A_PAGE], len(rows), page, pages)


@PAGES.get("/crosses")
def every() -> str:
    """List the crosses, the newest first."""
    here, text, state = nursery(), request.args.get("q", ""), request.args.get("state", "")
    lines: Sequence[CrossLine] = here.remembered("cross lines", lambda: cross_lines(here.collection))
    shown = portion(matching(lines, text, state if state in STATES else ""))
    with here.reading() as page:
        last = page.last_change()
    return render_template("crosses.html", shown=shown, q=text, state=state, states=STATES, last=last)


@PAGES.get("/crosses/<path:number>")
def cross(number: str) -> str:
    """Show all that is written of a cross, the odds it was given, and what was changed when."""
    here = nursery()
    with here.reading() as page:
        known = _cross_there(page, number)
        story = story_of(page, known, invented=here.collection.settings.invented)
        changes = history_of(page, known, _CHANGES, brief=True)
    return render_template(
        "cross.html",
        story=story,
        lines=where_it_stands(story),
        parts={name: lines for name in PARTS if (lines := getattr(story, name))},
        chances=[(spoken_date(one.date, today()), one) for one in story.chances],
        changes=[(_moment(one), one) for one in changes.changes],
        earlier=changes.earlier,
        last=last_standing(changes),
    )


def _cross_there(page: Reading, number: str) -> records.Cross:
    """Return the cross of an address; one that is not there is no page."""
    try:
        return cross_of_text(page, number)
    except UnknownName:
        abort(404)


def _moment(change: HistoryEntry) -> str:
    return f"{spoken_dates(change.at[:10])}, {change.at[11:16]} UTC"


@PAGES.get("/label/<path:number>")
def label(number: str) -> Response:
    """Return the label of a cross, to print; its page brings one style sheet, and that alone is let in."""
    with nursery().reading() as page:
        known = _cross_there(page, number)
    labels = labels_for(nursery().collection, [known.id])
    page_ = labels_page(labels.cards, invented=labels.invented)
    sheets = re.findall("<style>(.*?)</style>", page_, re.DOTALL)
    styles = " ".join(map(allowed, sheets))
    policy = f"default-src 'none'; style-src {styles}; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    return Response(page_, mimetype="text/html", headers={"Content-Security-Policy": policy})


@PAGES.get("/export.zip")
def export() -> Response:
    """Return all that was ever written, as one file."""
    here = nursery()
    with TemporaryDirectory() as place:
        file = Path(place) / "book.zip"
        with here.reading() as page:
            whole = book_in(page)
        write_book(whole, file, invented=here.collection.settings.invented, collection=here.folder)
        content = BytesIO(file.read_bytes())
    return send_file(content, "application/zip", as_attachment=True, download_name=f"crosscompat-{today()}.zip")


@PAGES.get("/correct/<record>")
def correction(record: str) -> str:
    """Ask what is wrong of a record, then what it should be."""
    with nursery().reading() as page:
        known = _record_there(page, record)
        fields, subject = fields_of(page, known), subject_of(page, known)
    field = next((one for one in fields if one.name == request.args.get("field")), None)
    where = _address(subject)
    return render_template(
        "correct.html", record=known, name=called(known), fields=fields, field=field, where=where, of=_name(subject)
    )


@PAGES.post("/correct/<record>")
def put_right(record: str) -> BaseResponse:
    """Write one correction, once."""
    form, field = Form(request.form), request.args.get("field", "")
    given = f"{field}={form.text('value') or ''}"
    with once():
        with nursery().writing(form.change, who=form.text("who")) as pen:
            done = corrected(pen, record, [given], _bounds())
        told(say("crosses_listed.corrected", what=_in_words(done.fields)))
    with nursery().reading() as page:
        return redirect(_address(subject_of(page, find_record(page, record))))


@PAGES.get("/withdraw/<record>")
def withdrawal(record: str) -> str:
    """Ask whether a record is to be taken back."""
    with nursery().reading() as page:
        known = _record_there(page, record)
        subject = subject_of(page, known)
    what = words_of(known, {subject.id: ""} if subject else {})
    return render_template(
        "withdraw.html", record=known, name=called(known), what=what, where=_address(subject), of=_name(subject)
    )


@PAGES.post("/withdraw/<record>")
def taken_back(record: str) -> BaseResponse:
    """Take a record back, once."""
    form, of = Form(request.form), request.args.get("of", "")
    with once():
        with nursery().writing(form.change, who=form.text("who")) as pen:
            done = withdrawn(pen, record, _bounds(), with_rest=form.yes("with_rest"))
        told(say("crosses_listed.withdrew", what="; ".join(f"{one.kind}, {one.says}" for one in done.withdrawn)))
    return redirect(_address_of(of))


@PAGES.get("/undo/<int:change>")
def undoing(change: int) -> str:
    """Ask whether a change is to be undone, and say how much of it belongs to others."""
    of = request.args.get("of", "")
    with nursery().reading() as page:
        known = next(iter(page.changes([change])), None)
        if known is None:
            abort(404)
        entry = undone_of(page, known, None, brief=True, invented=False).undone
        touched, own = page.touched(change), _own_records(page, of, change)
    others = touched - own if of else 0
    return render_template("undo.html", change=entry, touched=touched, others=others, of=of, where=_address_of(of))


def _own_records(page: Reading, name: str, change: int) -> int:
    """Return how many records of a cross or plant a change touched."""
    try:
        changes = history_of(page, find_cross_or_plant(page, name)).changes if name else []
    except UnknownName:
        return 0
    return sum(len(one.records) for one in changes if one.number == change)


@PAGES.post("/undo/<int:change>")
def undone(change: int) -> BaseResponse:
    """Undo a change, once."""
    form = Form(request.form)
    with once():
        with nursery().writing(form.change, who=form.text("who")) as pen:
            known = take_back(pen, change, _bounds())
        told(say("crosses_listed.undone", number=known.id, what=known.what))
    return redirect(_address_of(request.args.get("of", "")))


def _record_there(page: Reading, text: str) -> records.Record:
    try:
        return find_record(page, text)
    except UnknownName:
        abort(404)


def _bounds() -> Bounds:
    return Bounds(today(), nursery().collection.settings.pod[1])


def _in_words(changes: Sequence[FieldChange]) -> str:
    blank = say("crosses_listed.blank")
    return "; ".join(
        say("correct.field_was", field=one.field.replace("_", " "), was=one.was or blank, now=one.now or blank)
        for one in changes
    )


def _name(subject: records.Cross | records.Plant | None) -> str:
    if isinstance(subject, records.Cross):
        return subject.number or subject.id
    return subject.name if subject is not None else ""


def _address(subject: records.Cross | records.Plant | None) -> str:
    if isinstance(subject, records.Plant):
        return url_for("plants.plant", name=subject.name)
    return url_for("crosses.cross", number=_name(subject)) if subject is not None else url_for("crosses.every")


def _address_of(name: str) -> str:
    """Return the page of a cross or a plant, that of all crosses where it is there no more."""
    try:
        with nursery().reading() as page:
            return _address(find_cross_or_plant(page, name) if name else None)
    except UnknownName:
        return url_for("crosses.every")
