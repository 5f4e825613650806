"""Everything in a collection read, and every fault of it told at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from crosscompat.cli.options import Folder, Json
from crosscompat.cli.output import columns, give, line, paragraph
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.advice.check import Checkup


def check(folder: Folder = None, *, as_json: Json = False) -> None:
    """Check and print; a name without a place makes the exit code 1."""
    from crosscompat.advice import check as collection_check
    from crosscompat.cli.locate import collection_at

    checkup = collection_check.check(collection_at(folder))
    give(checkup, print_checkup, as_json=as_json)
    if checkup.unmatched:
        raise typer.Exit(1)


def print_checkup(checkup: Checkup) -> None:
    """Print what a collection holds, then what is missing."""
    line(checkup.name)
    counts = {key: getattr(checkup, key) for key in ("species", "plants", "crosses", "wanted")}
    paragraph(say("checkup.counts", **counts))
    for notice in checkup.notices:
        paragraph(notice)
    if checkup.tree_notes:
        line()
        line(say("checkup.tree", tree=checkup.tree))
    for note in checkup.tree_notes:
        paragraph(note, indent=2, bullet="· ")
    known = [trait for trait in checkup.traits if not trait.name.endswith("_source")]
    if known:
        line()
        line(say("checkup.traits"))
        heading = [say(f"checkup.columns.{key}") for key in ("name", "kind", "known", "why")]
        rows = [[trait.name, trait.kind, str(trait.known), trait.why] for trait in known]
        for text in columns([heading, *rows], right=[2]):
            line("  " + text)
    line()
    line(say("checkup.unmatched" if checkup.unmatched else "checkup.fine"))
    for entry in checkup.unmatched:
        paragraph(f"{entry.where}, {entry.column}: {entry.why}", indent=2, bullet="! ")
