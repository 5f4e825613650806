"""Check a collection and list every fault at once."""

from __future__ import annotations

from pathlib import Path

import typer

from crosscompat.advice.check import Checkup, TraitNote, check
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import columns, line, paragraph, print_json
from crosscompat.ground.wording import say

__all__ = ["print_checkup", "run"]


def run(folder: Path | None, *, as_json: bool) -> None:
    """Check and print; a name without a place makes the exit code 1."""
    checkup = check(collection_at(folder))
    if as_json:
        print_json(checkup)
    else:
        print_checkup(checkup)
    if checkup.unmatched:
        raise typer.Exit(1)


def print_checkup(checkup: Checkup) -> None:
    """Print what a collection holds, then what is missing."""
    line(checkup.name)
    if checkup.invented:
        paragraph(say("cli.invented"))
    counts = {key: getattr(checkup, key) for key in ("species", "plants", "crosses", "wanted")}
    paragraph(say("checkup.counts", **counts))
    for notice in checkup.notices:
        paragraph(notice)
    if checkup.tree_notes:
        line()
        line(say("checkup.tree", tree=checkup.tree))
    for note in checkup.tree_notes:
        paragraph(note, indent=2, bullet="· ")
    if checkup.traits:
        line()
        line(say("checkup.traits"))
        heading = [say(f"checkup.columns.{key}") for key in ("name", "kind", "known", "why")]
        rows = [
            [trait.name, trait.kind, str(trait.known), trait.why] for trait in checkup.traits if not _is_source(trait)
        ]
        for text in columns([heading, *rows], right=[2]):
            line("  " + text)
    line()
    if not checkup.unmatched:
        line(say("checkup.fine"))
        return
    line(say("checkup.unmatched"))
    for entry in checkup.unmatched:
        paragraph(f"{entry.where}, {entry.column}: {entry.why}", indent=2, bullet="! ")


def _is_source(trait: TraitNote) -> bool:
    """Tell whether a column only says where another's values are from."""
    return trait.name.endswith("_source")
