"""Make a new collection."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from crosscompat.cli.output import line, paragraph, print_json
from crosscompat.collection.create import create_collection
from crosscompat.ground.wording import say

__all__ = ["NewCollection", "run"]


@dataclass(frozen=True, slots=True)
class NewCollection:
    """What was made."""

    folder: str
    files: list[str]
    tree: str
    schema: Literal["crosscompat.new/1"] = "crosscompat.new/1"


def run(
    folder: Path,
    *,
    tree: str | None,
    unit: str | None,
    classification: Path | None = None,
    alignment: Path | None = None,
    outgroup: Sequence[str] = (),
    as_json: bool,
) -> None:
    """Make it and say what to do next."""
    made = create_collection(
        folder, tree=tree, unit=unit, classification=classification, alignment=alignment, outgroup=outgroup
    )
    if as_json:
        print_json(NewCollection(made.folder, made.files, made.tree))
        return
    paragraph(say("create.made", folder=made.folder, files=", ".join(made.files)))
    if tree is None and classification is None and alignment is None:
        paragraph(say("create.default_tree", tree=made.tree))
    line(say("create.next", folder=made.folder))
