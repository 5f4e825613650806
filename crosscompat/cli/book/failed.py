"""Why a cross failed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from crosscompat.cli.options import Folder, Json
from crosscompat.cli.output import give, paragraph
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.advice.failed import WhyFailed

_MARKS = {"clear": "+ ", "suspect": "! ", "open": "? "}


def failed(
    cross: Annotated[str, typer.Argument(metavar="CROSS", help=say("help.of_failed"))],
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Say what may have failed a cross, and which check would tell."""
    from crosscompat.advice.failed import why_failed
    from crosscompat.cli.session import open_with_collection

    with open_with_collection(folder, crosses=True) as (collection, _):
        found = why_failed(collection, cross)
    give(found, _print, as_json=as_json)


def _print(answer: WhyFailed) -> None:
    paragraph(say("failed.heading", cross=answer.cross, seed=answer.seed_parent, pollen=answer.pollen_parent))
    paragraph(answer.stopped, indent=2)
    for suspect in answer.suspects:
        paragraph(suspect.says, indent=2, bullet=_MARKS[suspect.verdict])
    if answer.chromosomes:
        paragraph(answer.chromosomes, indent=2, bullet="! ")
    paragraph(answer.check)
