"""A new collection."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import typer

from crosscompat.cli.options import Json, text
from crosscompat.cli.output import give, line, paragraph
from crosscompat.ground.wording import say

__all__ = ["NewCollection", "new"]


@dataclass(frozen=True, slots=True)
class NewCollection:
    """What was made."""

    folder: str
    files: list[str]
    tree: str
    schema: Literal["crosscompat.new/1"] = "crosscompat.new/1"


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help=say("help.new_folder"))],
    tree: Annotated[str | None, text("--tree", "NAME|FILE", "help.new_tree")] = None,
    unit: Annotated[str | None, text("--unit", "UNIT", "help.new_unit")] = None,
    classification: Annotated[
        Path | None, typer.Option("--classification", metavar="FILE", help=say("help.new_classification"))
    ] = None,
    alignment: Annotated[
        Path | None, typer.Option("--alignment", metavar="FILE", help=say("help.new_alignment"))
    ] = None,
    outgroup: Annotated[
        list[str] | None, typer.Option("--outgroup", metavar="SPECIES", help=say("help.new_outgroup"))
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Make it and say what to do next."""
    from crosscompat.collection.create import create_collection

    made = create_collection(
        folder, tree=tree, unit=unit, classification=classification, alignment=alignment, outgroup=outgroup or ()
    )
    by_default = tree is None and classification is None and alignment is None

    def printed(done: NewCollection) -> None:
        paragraph(say("create.made", folder=done.folder, files=", ".join(done.files)))
        if by_default:
            paragraph(say("create.default_tree", tree=done.tree))
        line(say("create.next", folder=done.folder))

    give(NewCollection(made.folder, made.files, made.tree), printed, as_json=as_json)
