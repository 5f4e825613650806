"""Writing a file so that either the old or the new one is there, whatever happens."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

__all__ = ["staged", "write_atomically", "writing_atomically"]

_NEW = 0o644


def write_atomically(path: Path, content: bytes, *, follow: bool = True) -> None:
    """Replace a file in one step: the new content is safe on disk before the old one goes.

    The file keeps its permissions. A link still points to it; or, with ``follow`` false, a link is replaced and what it
    pointed to is left alone, as is right for a file of ours in a folder that came from somebody else.

    Raises
    ------
    OSError
        If the folder cannot be written to or the disk is full; the old file is then untouched. It names the file.
    """
    with staged(path, content, follow=follow):
        pass


@contextmanager
def staged(path: Path, content: bytes, *, follow: bool = True) -> Iterator[None]:
    """Replace a file as `write_atomically` does, once what is done within has succeeded."""
    with writing_atomically(path, follow=follow) as stream:
        stream.write(content)
        _settle(stream)
        yield


@contextmanager
def writing_atomically(path: Path, *, follow: bool = True) -> Iterator[BinaryIO]:
    """Replace a file in one step with what is written within; if that fails, the old one is untouched.

    Raises
    ------
    OSError
        As `write_atomically`.
    """
    import tempfile  # noqa: PLC0415 - most commands write nothing

    target = path.resolve() if follow else path.parent.resolve() / path.name
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from None
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            _settle(stream)
        regular = target.exists() and not target.is_symlink()
        temporary.chmod(target.stat().st_mode & 0o777 if regular else _NEW)
        temporary.replace(target)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


def _settle(stream: BinaryIO) -> None:
    stream.flush()
    os.fsync(stream.fileno())
