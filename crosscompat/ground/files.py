"""Writing a file so that either the old or the new one is there, whatever happens."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from time import time
from typing import BinaryIO

PART = ".part"
_PARTS = re.compile(rf"\..+\.[a-z0-9_]{{8}}{re.escape(PART)}(-journal|-wal|-shm)?")
_NEW = 0o644
_HOUR = 3600


def named(error: OSError, path: object) -> OSError:
    """Return an error of the system as one that names the file, of the kind that its number has."""
    return OSError(error.errno, error.strerror, str(path))


def write_atomically(path: Path, content: bytes, *, follow: bool = True, mode: int = _NEW) -> None:
    """Replace a file in one step: the new content is safe on disk before the old one goes.

    The file keeps its permissions; a new one has those of ``mode``. A link still points to it; or, with ``follow``
    false, a link is replaced and what it pointed to is left alone, as is right for files that nobody named, in a folder
    that may have come from somebody else.

    Raises
    ------
    OSError
        If the folder cannot be written to or the disk is full; the old file is then untouched. It names the file.
    """
    with staged(path, content, follow=follow, mode=mode):
        pass


@contextmanager
def staged(path: Path, content: bytes, *, follow: bool = True, mode: int = _NEW) -> Iterator[None]:
    """Replace a file as `write_atomically` does, once what is done within has succeeded."""
    with writing_atomically(path, follow=follow, mode=mode) as stream:
        stream.write(content)
        _settle(stream)
        yield


@contextmanager
def writing_atomically(path: Path, *, follow: bool = True, mode: int = _NEW) -> Iterator[BinaryIO]:
    """Replace a file as `write_atomically` does, errors too, with what is written within; if that fails, it stays."""
    import tempfile  # noqa: PLC0415 - most commands write nothing

    target = path.resolve() if follow else path.parent.resolve() / path.name
    try:
        handle, name = tempfile.mkstemp(suffix=PART, prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise named(error, path) from None
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            _settle(stream)
        regular = target.exists() and not target.is_symlink()
        temporary.chmod(target.stat().st_mode & 0o777 if regular else mode)
        temporary.replace(target)
    except BaseException as error:
        temporary.unlink(missing_ok=True)
        if isinstance(error, OSError) and not error.filename:
            raise named(error, path) from None
        raise


def _settle(stream: BinaryIO) -> None:
    stream.flush()
    os.fsync(stream.fileno())


def remove_unfinished(folder: Path) -> None:
    """Take away what was being written in a folder when it was cut short, an hour ago or more."""
    for path in folder.iterdir():
        with suppress(OSError):
            if _PARTS.fullmatch(path.name) and time() - path.lstat().st_mtime > _HOUR:
                path.unlink()
