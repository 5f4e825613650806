"""The app: which pages there are, what every page is given, and how a failure is told."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from contextvars import copy_context
from pathlib import Path
from typing import Any

from flask import Flask, render_template, request, session
from werkzeug.exceptions import HTTPException

from crosscompat.book.records import new_id
from crosscompat.ground.errors import Busy, CrosscompatError
from crosscompat.ground.wording import catalogue, say, speak_of
from crosscompat.show.chances import percent, percent_range
from crosscompat.web import crosses, look, pairs, plants, start, today
from crosscompat.web.forms import Asked, Form
from crosscompat.web.guard import Keys, protect
from crosscompat.web.nursery import Nursery, nursery

_PAGES = {
    "/": "today",
    "/pollinate": "pollinate",
    "/look": "look",
    "/ask": "ask",
    "/tree": "tree",
    "/crosses": "crosses",
    "/plants": "plants",
}
_TOLD = {401: "locked", 403: "stale", 404: "nothing_here", 405: "nothing_here", 413: "too_large", 421: "wrong_host",
         429: "too_often"}  # fmt: skip


def make_app(folder: Path, hosts: frozenset[str], keys: Keys | None = None) -> Flask:
    """Return the app of a collection's folder, asked for by those ``hosts``; with ``keys`` from other devices too."""
    app = Flask(__name__)
    app.extensions["nursery"] = Nursery(folder)
    protect(app, hosts, keys)
    app.jinja_env.globals.update(say=say, new_id=new_id, percent=percent, percent_range=percent_range)
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    for pages in (today.PAGES, look.PAGES, pairs.PAGES, start.PAGES, crosses.PAGES, plants.PAGES):
        app.register_blueprint(pages)
    app.before_request(_speak)
    app.wsgi_app = _by_itself(app.wsgi_app)  # type: ignore[method-assign]
    app.context_processor(_of_every_page)
    app.register_error_handler(CrosscompatError, _refused)
    app.register_error_handler(Asked, _asked)
    app.register_error_handler(HTTPException, _failed)
    return app


def _speak() -> None:
    """Call fruit and flower by the words of the group, for as long as a request lasts."""
    if request.endpoint != "static" and nursery().exists:
        settings = nursery().collection.settings
        speak_of(settings.fruit_word, settings.flower_word)


def _by_itself(answer: Callable[..., Any]) -> Callable[..., Any]:
    """Let no request leave its words to the next one of its thread."""
    return lambda environ, start: copy_context().run(answer, environ, start)


def _of_every_page() -> dict[str, Any]:
    here, settings = nursery(), None
    with suppress(CrosscompatError):  # a page must be able to say that the collection cannot be read
        settings = here.collection.settings if here.exists else None
    nav = {where: say(f"web.nav.{name}") for where, name in _PAGES.items()}
    return {"settings": settings, "nav": nav, "token": session.get("token", ""), "said": session.pop("said", None)}


def _refused(error: CrosscompatError) -> tuple[str, int]:
    """Say why something was not done, on a page whose form holds all that was typed."""
    typed = [(name, value) for name, values in request.form.lists() for value in values if name != "token"]
    page = render_template("refused.html", why=str(error), typed=typed, words=catalogue("web")["typed"])
    return page, 503 if isinstance(error, Busy) else 409


def _asked(asked: Asked) -> str:
    """Ask whether something is to be written all the same, on a page that sends it again."""
    return render_template("agree.html", reasons=asked.reasons, form=Form(request.form))


def _failed(error: HTTPException) -> tuple[str, int]:
    code = error.code or 500
    key = _TOLD.get(code, "failed")
    return render_template("failed.html", what=say(f"web.{key}")), code
