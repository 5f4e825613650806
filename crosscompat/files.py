"""Writing a file so that either the old or the new one is there, whatever happens."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

__all__ = ["write_atomically"]


def write_atomically(path: Path, content: bytes) -> None:
    """Replace a file in one step: the new content is safe on disk before the old one goes.

    Raises
    ------
    OSError
        If the folder cannot be written to or the disk is full; the old file is then untouched.
    """
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
        temporary.replace(path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
