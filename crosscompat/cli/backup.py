"""Copy the cross book, and put a copy in its place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from crosscompat.book.store.backup import back_up, changes_lacking, last_sound, restore
from crosscompat.cli.book_session import Stopped, agreed, book_here, file_of_book
from crosscompat.cli.output import paragraph, print_json, talk
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["Backup", "Restoration", "run", "run_restore"]


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy of the cross book that was taken.

    Attributes
    ----------
    file : str
    """

    file: str
    schema: Literal["crosscompat.backup/1"] = "crosscompat.backup/1"


@dataclass(frozen=True, slots=True)
class Restoration:
    """A copy that was put in the place of the cross book.

    Attributes
    ----------
    book, backup : str
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


def run(folder: Path | None, file: Path | None, *, as_json: bool) -> None:
    """Copy the book and say where the copy is."""
    made = Backup(str(back_up(file_of_book(book_here(folder)), to=file)))
    if as_json:
        print_json(made)
    else:
        paragraph(say("backup.made", file=made.file))


def run_restore(folder: Path | None, file: Path | None, *, last: bool, anyway: bool, as_json: bool) -> None:
    """Put a copy in the book's place and say what became of the one that was there."""
    if (file is None) != last:
        raise WrongUse(say("backup.which"))
    book = file_of_book(book_here(folder))
    passed: list[Path] = []
    if file is None:
        file, passed = last_sound(book)
    if file is None:
        raise WrongUse(say("backup.none", folder=str(book.parent / "backups")))
    done = _restored(book, file, passed, anyway=anyway)
    if as_json:
        print_json(done)
        return
    for copy in done.passed_over:
        talk(say("store.no_backup", file=copy))
    paragraph(say("backup.restored", book=done.book, backup=done.backup))
    if done.kept:
        paragraph(say("backup.kept_sound" if done.was_sound else "backup.kept_damaged", file=done.kept))


def _restored(book: Path, file: Path, passed: list[Path], *, anyway: bool) -> Restoration:
    """Put a copy in place, once it is clear that what it does not hold may go."""

    def put(yes: frozenset[str]) -> Restoration:
        lacking = changes_lacking(book, file)
        question = say("backup.lacking", n=lacking)
        if lacking and question not in yes:
            raise Stopped([question])
        done = restore(book, file)
        kept = str(done.kept) if done.kept else None
        return Restoration(str(book), str(file), kept, done.sound, [str(path) for path in passed])

    return agreed(put, anyway=anyway)
