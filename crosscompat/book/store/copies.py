"""Where the copies of a book lie and what they are called."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

__all__ = ["DAILY", "FOLDER", "aside_for", "backups_of", "daily_copies", "free_copy"]

FOLDER = "backups"
DAILY = "daily"
"""The word in the name of a copy that was taken before the first writing of a day."""
_STAMP = "%Y-%m-%d-%H%M%S"
_DAY = len("2026-05-01")


def backups_of(book: Path) -> list[Path]:
    """Return the copies that were taken of a book and lie beside it, newest first."""
    return [path for _, path in _named(book)]


def daily_copies(book: Path) -> list[tuple[str, Path]]:
    """Return the copies of a book that were taken before the first writing of a day, with that day, newest first."""
    return [(name[1][:_DAY], path) for name, path in _named(book) if name[2] == f"-{DAILY}"]


def _named(book: Path) -> list[tuple[re.Match[str], Path]]:
    name = re.compile(rf"{re.escape(book.stem)}-(\d{{4}}-\d\d-\d\d-\d{{6}})(-[^.]*?)??(?:-(\d+))?\.sqlite")
    found = [(parts, path) for path in (book.parent / FOLDER).glob("*.sqlite") if (parts := name.fullmatch(path.name))]
    found.sort(key=lambda one: (one[0][1], int(one[0][3] or 1)), reverse=True)
    return found


def free_copy(book: Path, label: str = "") -> Path:
    """Return a name for a new copy of a book that no file has."""
    parts = (book.stem, datetime.now().astimezone().strftime(_STAMP), label)
    return _free(book.parent / FOLDER / "-".join(part for part in parts if part))


def aside_for(book: Path) -> Path:
    """Return a name under which a book that is replaced can be kept; it is none of its backups."""
    return _free(book.parent / FOLDER / f"set-aside-{book.stem}-{datetime.now().astimezone().strftime(_STAMP)}")


def _free(stem: Path) -> Path:
    tries = (stem.with_name(f"{stem.name}{'' if i == 1 else f'-{i}'}.sqlite") for i in range(1, 10_000))
    return next(path for path in tries if not path.exists())
