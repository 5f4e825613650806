"""Photos and notes kept with a plant, a cross or one thing seen of it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from crosscompat.advice.season.history import Attached, keep_files
from crosscompat.cli.options import By, DryRun, Folder, Json, On, author, text
from crosscompat.cli.output import give, paragraph
from crosscompat.cli.session import open_here
from crosscompat.ground.dates import today
from crosscompat.ground.wording import say


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
    with open_here(folder) as (settings, store), store.writing("", who=author(by), dry_run=dry_run) as pen:
        said = {"date": on or today(), "note": note}
        done = keep_files(pen, about, files, folder or Path(), said, dry_run=dry_run, invented=settings.invented)
    give(done, _print, as_json=as_json)


def _print(done: Attached) -> None:
    key = "already" if not done.files else "would" if done.dry_run else "kept"
    names = ", ".join(one.file for one in done.files)
    paragraph(say(f"attachments.{key}", of=done.of, files=names, number=done.change))
