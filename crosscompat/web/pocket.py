"""One page to carry into the greenhouse: everything in one file, which loads nothing and sends nothing."""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, select_autoescape

from crosscompat.advice.season.due import TASKS
from crosscompat.advice.season.pocket import NO_CHANCE, Pocket
from crosscompat.collection.settings import Settings
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.wording import catalogue, say

_ROOM = Path(__file__).parent
_WORDS = ("pod", "pods", "flower", "flowers")


def pocket_page(carried: Pocket, settings: Settings) -> str:
    """Return the page as HTML; its script may do what stands in it and nothing else.

    Names from the book stand in a block of JSON alone, and the script puts them in as text.
    """
    styles = _static("pages.css") + _static("pocket.css")
    script = _static("pocket.js")
    policy = (
        f"default-src 'none'; style-src {allowed(styles)}; script-src {allowed(script)}; img-src data:; "
        "form-action 'none'; base-uri 'none'"
    )
    env = Environment(
        loader=FileSystemLoader(_ROOM / "templates"),
        autoescape=select_autoescape(),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return env.get_template("pocket.html").render(
        say=say,
        carried=carried,
        name=carried.name or say("pocket.name"),
        day=spoken_date(date.fromisoformat(carried.day)),
        policy=policy,
        styles=styles,
        script=script,
        data=_as_json(asdict(carried) | _spoken(settings)),
    )


def _spoken(settings: Settings) -> dict[str, Any]:
    """Return the sentences of the script."""
    return {
        "no_chance": NO_CHANCE,
        "tasks": {task: say(f"due.tasks.{task}", fruit=settings.fruit_word) for task in TASKS},
        "group": {word: say(f"pocket.group.{word}") for word in _WORDS},
        "say": catalogue("pocket")["script"],
    }


def _as_json(content: dict[str, Any]) -> str:
    """Return JSON that ends no script, whatever stands in it."""
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _static(name: str) -> str:
    return (_ROOM / "static" / name).read_text(encoding="utf-8")


def allowed(text: str) -> str:
    """Return the source of a content security policy that lets in just this script or style sheet."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
