"""Files in a collection's folder that only save time: each can be deleted at any time, and is made again."""

from __future__ import annotations

import json
from collections.abc import Iterable
from contextlib import suppress
from hashlib import blake2b
from os import scandir
from pathlib import Path

from crosscompat import __version__
from crosscompat.ground.files import write_atomically

__all__ = ["keep", "key_of", "recall"]

_BYTES = 32
_BLOCK = 1 << 20
_OWNER_ALONE = 0o600
_PACKAGE = Path(__file__).parents[1]


def key_of(files: Iterable[Path], rooms: Iterable[str], *more: str | int | None) -> bytes | None:
    """Return the key of what is made of some files.

    Parameters
    ----------
    files : iterable of Path
        Each byte of them counts; one that is not there counts as empty.
    rooms : iterable of str
        Folders of this package whose code makes it: another version may make something else of the same files.
    *more
        What else decides.

    Returns
    -------
    bytes or None
        None where a file, or the code, cannot be read.
    """
    try:
        key = blake2b(json.dumps([__version__, _code(rooms), more]).encode())
        for file in files:
            key.update(_digest(file))
    except OSError:
        return None
    return key.digest()


def recall(path: Path, key: bytes) -> bytes | None:
    """Return what was remembered under a key, or None.

    Parameters
    ----------
    path : Path
        The cache.
    key : bytes
        All that its content depends on.

    Returns
    -------
    bytes or None
        None where there is no such file, or not a byte of it may be believed: it is of another key, or damaged.
    """
    try:
        found = path.read_bytes()
    except OSError:
        return None
    seal, content = found[:_BYTES], found[_BYTES:]
    return content if seal == _seal(key, content) else None


def keep(path: Path, key: bytes, content: bytes) -> None:
    """Keep what took time to make; where nothing can be written, nothing is kept.

    Only the owner may read it, as it may hold what stands in a file that others cannot read.
    """
    with suppress(OSError):
        path.touch(_OWNER_ALONE)
        write_atomically(path, _seal(key, content) + content)


def _seal(key: bytes, content: bytes) -> bytes:
    return blake2b(content, key=blake2b(key, digest_size=_BYTES).digest(), digest_size=_BYTES).digest()


def _digest(file: Path) -> bytes:
    digest = blake2b()
    with suppress(FileNotFoundError), file.open("rb") as stream:
        while block := stream.read(_BLOCK):
            digest.update(block)
    return digest.digest()


def _code(rooms: Iterable[str]) -> list[tuple[str, int, int]]:
    files = [file for room in ("", *rooms) for file in scandir(_PACKAGE / room) if file.is_file()]
    return sorted((file.path, file.stat().st_size, file.stat().st_mtime_ns) for file in files)
