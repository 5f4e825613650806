"""Photos and notes kept with a plant, a cross or one thing seen of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import typer

from crosscompat.cli.options import By, DryRun, Folder, Json, On, text
from crosscompat.cli.output import give, paragraph
from crosscompat.cli.prompts import author, today
from crosscompat.cli.session import open_here
from crosscompat.ground.wording import say


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file that is kept: its own name, and its path in the collection."""

    file: str
    path: str


@dataclass(frozen=True, slots=True)
class Attached:
    """Files that were kept with a record.

    Attributes
    ----------
    of : str
        What they are of, in words.
    files : list of KeptFile
        Those that it did not have before.
    change : int or null
        Number of the change in the book; null if nothing was written.
    """

    of: str
    files: list[KeptFile]
    change: int | None
    dry_run: bool
    invented: bool
    schema: Literal["crosscompat.attach/1"] = "crosscompat.attach/1"


def attach(
    about: Annotated[str, typer.Argument(metavar="CROSS|PLANT|RECORD", help=say("help.attach_about"))],
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help=say("help.attach_files"))],
    note: Annotated[str | None, text("--note", "TEXT", "help.attach_note")] = None,
    on: On = None,
    by: By = None,
    folder: Folder = None,
    *,
    dry_run: DryRun = False,
    as_json: Json = False,
) -> None:
    """Copy the files, write them down and say so."""
    from crosscompat.book.attachments import FOLDER, keep
    from crosscompat.book.find_records import find_record
    from crosscompat.book.history import called
    from crosscompat.book.records import Attachment

    with open_here(folder) as (settings, store), store.writing("", who=author(by), dry_run=dry_run) as pen:
        record = find_record(pen, about)
        had = {one.kept_as for one in pen.current(Attachment, of=record.id)}
        said = {"of": record.id, "date": on or today(), "note": note}
        kept = {one.kept_as: one for file in files for one in [keep(folder or Path(), file, dry_run=dry_run, **said)]}
        new = [one for name, one in kept.items() if name not in had]
        of, names = called(record), ", ".join(one.file for one in new)
        pen.what = say("attachments.what", of=of, files=names)
        pen.add(*new)
        shown = [KeptFile(one.file, f"{FOLDER}/{one.kept_as}") for one in new]
        done = Attached(of, shown, pen.change if new and not dry_run else None, dry_run, settings.invented)
    key = "already" if not done.files else "would" if dry_run else "kept"
    says = say(f"attachments.{key}", of=done.of, files=names, number=done.change)
    give(done, lambda _: paragraph(says), as_json=as_json)
