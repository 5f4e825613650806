"""A new collection, and every fault of one told at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from crosscompat.advice import check as collection_check
from crosscompat.advice.check import Checkup
from crosscompat.book.attachments import faults_in
from crosscompat.cli.options import Folder, Json, plain, text
from crosscompat.cli.output import give, headings, line, paragraph, print_table
from crosscompat.cli.session import collection_at
from crosscompat.collection.create import NewCollection, create_collection
from crosscompat.collection.settings import Settings, book_place, open_book
from crosscompat.ground.wording import say


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help=say("help.new_folder"))],
    tree: Annotated[str | None, text("--tree", "NAME|FILE", "help.new_tree")] = None,
    unit: Annotated[str | None, text("--unit", "UNIT", "help.new_unit")] = None,
    classification: Annotated[Path | None, plain("--classification", "help.new_classification", "FILE")] = None,
    alignment: Annotated[Path | None, plain("--alignment", "help.new_alignment", "FILE")] = None,
    outgroup: Annotated[list[str] | None, plain("--outgroup", "help.new_outgroup", "SPECIES")] = None,
    *,
    as_json: Json = False,
) -> None:
    """Make it and say what to do next."""
    made = create_collection(
        folder, tree=tree, unit=unit, classification=classification, alignment=alignment, outgroup=outgroup or ()
    )
    by_default = tree is None and classification is None and alignment is None

    def printed(done: NewCollection) -> None:
        paragraph(say("create.made", folder=done.folder, files=", ".join(done.files)))
        if by_default:
            paragraph(say("create.default_tree", tree=done.tree))
        line(say("create.next", folder=done.folder))

    give(made, printed, as_json=as_json)


def check(folder: Folder = None, *, as_json: Json = False) -> None:
    """Check and print; a name without a place makes the exit code 1."""
    collection = collection_at(folder)
    checkup = collection_check.check(collection)
    altered = _altered(folder or Path(), collection.settings)
    checkup = replace(checkup, notices=[*altered, *checkup.notices])
    give(checkup, _print_checkup, as_json=as_json)
    if checkup.unmatched or altered:
        raise typer.Exit(1)


def _altered(folder: Path, settings: Settings) -> list[str]:
    """Return what is to be told of the cross book's history, or a file kept with it, that is not as it was written."""
    place = book_place(folder, settings)
    if isinstance(place, Path) and not place.exists():
        return []
    with open_book(folder, settings) as store:
        if altered := store.damage or store.altered():
            return [str(altered)]
        with store.reading() as page:
            return faults_in(page, folder)


def _print_checkup(checkup: Checkup) -> None:
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
        rows = [[trait.name, trait.kind, str(trait.known), trait.why] for trait in known]
        print_table(headings("checkup.columns", "name", "kind", "known", "why"), rows, right=[2])
    line()
    line(say("checkup.unmatched" if checkup.unmatched else "checkup.fine"))
    for entry in checkup.unmatched:
        paragraph(f"{entry.where}, {entry.column}: {entry.why}", indent=2, bullet="! ")
