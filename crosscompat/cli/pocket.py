"""The page for a greenhouse without reception, and what a phone hands over from it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from crosscompat.cli.options import Folder, Json, Output
from crosscompat.cli.output import deliver, give, line, paragraph, print_json
from crosscompat.cli.session import open_with_collection
from crosscompat.ground.dates import today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.advice.season.hand_over import HandedOver

_FILE = Path("greenhouse.html")
_HANDED = (".json", ".txt")
_LARGEST, _BAD_DATA = 20_000_000, 3


def pocket(output: Output = None, folder: Folder = None, *, as_json: Json = False) -> None:
    """Write the page, or print what it holds."""
    from crosscompat.advice.season.pocket import pocket as carried_from

    if not as_json:
        try:
            from crosscompat.web.pocket import pocket_page
        except ModuleNotFoundError as error:
            raise WrongUse(say("pocket.no_library", library=error.name)) from None
    with open_with_collection(folder, crosses=True) as (collection, store):
        carried = carried_from(collection, store, today())
    if as_json:
        print_json(carried, output)
        return
    page, file = pocket_page(carried, collection.settings), output or _FILE
    deliver(page, file, say("pocket.written", file=str(file), size=-(-len(page.encode()) // 1000)))


def text_of_hand_over(file: Path) -> str:
    """Return what a phone handed over; blank where the file is none, whatever it is called."""
    from crosscompat.advice.season.hand_over import is_hand_over

    if file.suffix.lower() not in _HANDED or not file.is_file():
        return ""
    text = file.read_bytes()[:_LARGEST].decode("utf-8", errors="replace")
    return text if file.suffix.lower() == _HANDED[0] or is_hand_over(text) else ""


def give_hand_over(answer: HandedOver, *, as_json: bool) -> None:
    """Say what became of each entry; ends with exit code 3 if one could not be written."""
    give(answer, _print, as_json=as_json)
    if answer.count("refused"):
        raise typer.Exit(_BAD_DATA)


def _print(answer: HandedOver) -> None:
    if not answer.entries:
        paragraph(say("hand_over.nothing", file=answer.file))
        return
    line(say("hand_over.heading", n=len(answer.entries), file=answer.file))
    for entry in answer.entries:
        paragraph(entry.what, bullet=say(f"hand_over.mark.{entry.outcome}"))
        for says in filter(None, (entry.why, entry.advice)):
            paragraph(says, indent=4)
    line()
    for outcome in ("written", "there", "refused"):
        if n := answer.count(outcome):
            paragraph(say(f"hand_over.{'would' if answer.dry_run and outcome == 'written' else outcome}", n=n))
