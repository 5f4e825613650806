"""Writing a file so that either the old or the new one is there, whatever happens."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

__all__ = ["write_atomically", "writing_atomically"]

_NEW = 0o644


def write_atomically(path: Path, content: bytes) -> None:
    """Replace a file in one step: the new content is safe on disk before the old one goes.

    The file keeps its permissions, and a link still points to it.

    Raises
    ------
    OSError
        If the folder cannot be written to or the disk is full; the old file is then untouched. It names the file.
    """
    with writing_atomically(path) as stream:
        stream.write(content)


@contextmanager
def writing_atomically(path: Path) -> Iterator[BinaryIO]:
    """Replace a file in one step with what is written within; if that fails, the old one is untouched.

    Raises
    ------
    OSError
        As `write_atomically`.
    """
    import tempfile  # noqa: PLC0415 - most commands write nothing

    target = path.resolve()
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from None
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(target.stat().st_mode & 0o777 if target.exists() else _NEW)
        temporary.replace(target)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
