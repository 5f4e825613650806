"""Copies of the cross book: taken and put in its place, and exported to tables."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import typer

from crosscompat.book.attachments import copy_files
from crosscompat.book.import_export.whole_book import WholeBook, book_in, write_book, write_summary
from crosscompat.book.store.backup import back_up, last_sound
from crosscompat.book.store.backup import restore as put_back
from crosscompat.cli.options import Anyway, Folder, Json, plain
from crosscompat.cli.output import give, line, paragraph, talk
from crosscompat.cli.session import Stopped, agreed, open_here, settings_at
from crosscompat.collection.settings import book_place
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy of the cross book that was taken."""

    file: str
    schema: Literal["crosscompat.backup/1"] = "crosscompat.backup/1"


@dataclass(frozen=True, slots=True)
class Restoration:
    """A copy that was put in the place of the cross book.

    Attributes
    ----------
    kept : str or null
        Where the book that was there is kept; null if there was none.
    was_sound : bool
        Whether the book that was there was sound.
    passed_over : list of str
        Newer copies that are not sound.
    """

    book: str
    backup: str
    kept: str | None
    was_sound: bool
    passed_over: list[str]
    schema: Literal["crosscompat.restore/1"] = "crosscompat.restore/1"


def backup(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help=say("help.backup_file"))] = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Copy the book and say where the copy is."""
    book = _file_of_book(folder)
    copy = back_up(book, to=file)
    if file is not None:
        copy_files(folder or Path(), copy.parent)
    give(Backup(str(copy)), lambda made: paragraph(say("backup.made", file=made.file)), as_json=as_json)


def restore(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help=say("help.restore_file"))] = None,
    folder: Folder = None,
    *,
    last: Annotated[bool, plain("--last", "help.restore_last")] = False,
    anyway: Anyway = False,
    as_json: Json = False,
) -> None:
    """Put a copy in the book's place and say what became of the one that was there."""
    if (file is None) != last:
        raise WrongUse(say("backup.which"))
    book = _file_of_book(folder)
    found, passed = (file, []) if file is not None else last_sound(book)
    if found is None:
        raise WrongUse(say("backup.none", folder=str(book.parent / "backups")))

    def put(yes: frozenset[str]) -> Restoration:
        def agree(lacking: int) -> None:
            question = say("backup.lacking", n=lacking)
            if lacking and question not in yes:
                raise Stopped([question])

        done = put_back(book, found, agree)
        kept = str(done.kept) if done.kept else None
        return Restoration(str(book), str(found), kept, done.sound, [str(path) for path in passed])

    done = agreed(put, anyway=anyway)
    copy_files(found.parent, folder or Path())
    give(done, _print, as_json=as_json)


def _file_of_book(folder: Path | None) -> Path:
    """Return the file of a book; one on a server is copied there."""
    place = book_place(*settings_at(folder))
    if isinstance(place, str):
        raise WrongUse(say("backup.on_a_server"))
    return place


def _print(done: Restoration) -> None:
    for copy in done.passed_over:
        talk(say("store.no_backup", file=copy))
    paragraph(say("backup.restored", book=done.book, backup=done.backup))
    if done.kept:
        paragraph(say("backup.kept_sound" if done.was_sound else "backup.kept_damaged", file=done.kept))


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written.

    Attributes
    ----------
    changes, versions : int
        Changes, and versions of records, that went out; none where only the summary was written.
    crosses : int or None
        Lines of the summary; null if it was not asked for.
    """

    files: list[str]
    changes: int
    versions: int
    crosses: int | None
    invented: bool
    schema: Literal["crosscompat.export/1"] = "crosscompat.export/1"


def export(
    target: Annotated[Path | None, typer.Argument(metavar="DIR|FILE", help=say("help.export_target"))] = None,
    crosses: Annotated[Path | None, plain("--crosses", "help.export_crosses", "FILE")] = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Write what is asked for and say what went out."""
    if target is None and crosses is None:
        raise WrongUse(say("export.which"))
    with open_here(folder) as (settings, store), store.reading() as page:
        invented = settings.invented
        whole = book_in(page) if target else WholeBook((), {})
        left = write_book(whole, target, invented=invented, collection=folder or Path()) if target else 0
        summary = write_summary(page, crosses, invented=invented) if crosses else None
    files = [str(path) for path in (target, crosses) if path]
    answer = Exported(files, len(whole.changes), sum(map(len, whole.versions.values())), summary, invented)

    def printed(done: Exported) -> None:
        if target:
            line(say("export.whole", target=str(target), n=done.versions, changes=done.changes))
        if left:
            paragraph(say("attachments.left_behind", n=left))
        if done.crosses is not None:
            line(say("export.summary", file=str(crosses), n=done.crosses))

    give(answer, printed, as_json=as_json)
