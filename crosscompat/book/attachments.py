"""Photos and notes that are kept with a book: copied into the collection, named by their SHA-256, never changed."""

from __future__ import annotations

import os
import re
import stat
from hashlib import sha256
from pathlib import Path
from typing import Any

from crosscompat.book.history import lines_of
from crosscompat.book.records import Attachment
from crosscompat.book.store import Reading
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say

FOLDER = "attachments"
MOST_BYTES = 20_000_000
_DIGEST = 64
_ENDING = re.compile(r"\.[a-z0-9]{1,8}")
_NAME = re.compile(r"[0-9a-f]{64}(\.[a-z0-9]{1,8})?")
_PLAIN = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


def keep(collection: Path, file: Path, *, dry_run: bool = False, **said: Any) -> Attachment:
    """Copy a file into a collection, and return its record with what else is said of it.

    `WrongUse` is raised if it is no plain file or too big; a link is not followed.
    """
    content, ending = _content(file), file.suffix.lower()
    name = sha256(content).hexdigest() + (ending if _ENDING.fullmatch(ending) else "")
    if not dry_run:
        put(collection, name, content)
    return Attachment(file=file.name, kept_as=name, size=len(content), **said)


def put(collection: Path, name: str, content: bytes) -> None:
    """Write a file under the name that its content has, unless it stands there already; `WrongUse` refuses another."""
    folder = collection / FOLDER
    if folder.is_symlink() or not _NAME.fullmatch(name) or name[:_DIGEST] != sha256(content).hexdigest():
        raise WrongUse(say("attachments.unfit", file=str(folder / name)))
    if fault_of(collection, name) is not None:
        folder.mkdir(exist_ok=True)
        write_atomically(folder / name, content, follow=False)


def content_of(collection: Path, name: str) -> bytes:
    """Return a file as it was kept; `WrongUse` says what is wrong with it, be it missing, altered or none of ours."""
    file = collection / FOLDER / name
    if not _NAME.fullmatch(name) or file.parent.is_symlink():
        raise WrongUse(say("attachments.unfit", file=str(file)))
    content = _content(file)
    if name[:_DIGEST] != sha256(content).hexdigest():
        raise WrongUse(say("attachments.altered", file=str(file)))
    return content


def fault_of(collection: Path, name: str) -> str | None:
    """Return what is wrong with a file that is kept, or None."""
    try:
        content_of(collection, name)
    except WrongUse as wrong:
        return str(wrong)
    return None


def faults_in(page: Reading, collection: Path) -> list[str]:
    """Return what is wrong with the files that are kept with a book, one sentence a file."""
    faults = {one.id: (one, why) for one in page.current(Attachment) if (why := fault_of(collection, one.kept_as))}
    lines = lines_of(page, [one for one, _ in faults.values()])
    return [say("attachments.at_fault", says=one.says, why=faults[one.record][1], short=one.short) for one in lines]


def copy_files(source: Path, target: Path) -> None:
    """Copy what is kept in one folder into another, where it is as it was kept."""
    if (source / FOLDER).is_dir():
        for path in sorted((source / FOLDER).iterdir()):
            if fault_of(source, path.name) is None:
                put(target, path.name, content_of(source, path.name))


def _content(file: Path) -> bytes:
    """Read a plain file whose own name is no link."""
    try:
        if file.is_symlink():
            raise WrongUse(say("attachments.link", file=str(file)))
        with os.fdopen(os.open(file, _PLAIN), "rb") as stream:
            if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                raise WrongUse(say("attachments.no_file", file=str(file)))
            content = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise WrongUse(say("attachments.unread", file=str(file), reason=error.strerror)) from error
    if len(content) > MOST_BYTES:
        raise WrongUse(say("attachments.too_big", file=str(file), most=MOST_BYTES // 1_000_000))
    return content
