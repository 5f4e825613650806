"""Changing ``collection.toml`` by program: its comments and order stay, and an older format is backed up first."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from crosscompat.collection.settings import FORMAT
from crosscompat.ground.files import write_atomically

__all__ = ["set_setting", "upgrade"]


def _to_1(document: Any) -> None:
    """Format 1 is the first that says its own number; it changed nothing else."""
    if "format" not in document:
        document.add("format", 1)


def _to_2(document: Any) -> None:
    """Format 2 has a cross book in place of tables, which are taken in when it is opened."""


_STEPS: Mapping[int, Callable[[Any], None]] = {0: _to_1, 1: _to_2}


def upgrade(path: Path) -> Path | None:
    """Bring a settings file of an older format up to date.

    Parameters
    ----------
    path : Path
        ``collection.toml``; a file that says no format is of format 0.

    Returns
    -------
    Path or None
        Where the old file was kept; None if nothing had to change, or the file cannot be read at all.
    """
    content = path.read_bytes()
    try:
        given = tomllib.loads(content.decode("utf-8-sig")).get("format", 0)
    except ValueError:
        return None
    if type(given) is not int or not 0 <= given < FORMAT:
        return None
    backup = _free_name(path.with_name(f"{path.name}.format{given}.bak"))
    write_atomically(backup, content)
    document = _document(content)
    for step in range(given, FORMAT):
        _STEPS[step](document)
    document["format"] = FORMAT
    write_atomically(path, document.as_string().encode())
    return backup


def set_setting(path: Path, key: str, value: object) -> None:
    """Write one setting, leaving comments and order as they are."""
    document = _document(path.read_bytes())
    if key not in document or document[key] != value:
        document[key] = value
        write_atomically(path, document.as_string().encode())


def _document(content: bytes) -> Any:
    import tomlkit  # noqa: PLC0415 - only a change of the settings needs it

    return tomlkit.parse(content.decode("utf-8-sig"))


def _free_name(wanted: Path) -> Path:
    tries = (wanted, *(wanted.with_name(f"{wanted.name}{i}") for i in range(2, 1000)))
    return next(path for path in tries if not path.exists())
