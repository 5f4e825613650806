"""What is on record in a collection, read from its cross book or as it was last read."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, fields
from datetime import date, datetime
from hashlib import blake2b
from os import scandir
from pathlib import Path
from typing import TYPE_CHECKING, Any

from crosscompat import __version__
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.records import GivenForecast
from crosscompat.collection.settings import Settings, book_place, open_book
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.records import Record


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


_BESIDE = ("", "-wal", "-journal")
"""What SQLite holds of a book: the file, and what was written but has not yet been taken into it."""

_ROOMS = ("ground", "book", "book/store")

_FROM_TEXT = {"date": date.fromisoformat, "datetime": datetime.fromisoformat}
_PLAIN = {"NoneType", "str", "int", "float", "bool"}


def key_of_book(book: Path) -> bytes | None:
    """Return what tells a book from every other, and from itself at every other time; None if it cannot be read."""
    file = book.resolve()  # what is beside it lies beside the file, not beside a link to it
    return key_of([file.with_name(file.name + ending) for ending in _BESIDE], _ROOMS)


def text_of(*tables: Sequence[Any]) -> str | None:
    """Return rows of dataclasses as text, a table a kind; None where a field holds what text cannot give back."""
    try:
        return json.dumps([_columns(rows) for rows in tables])
    except TypeError:
        return None


def rows_from(text: str | bytes, *kinds: type) -> list[tuple[Any, ...]]:
    """Return the rows that `text_of` has written, of these kinds.

    Examples
    --------
    >>> from crosscompat.book.current_plants import Plant
    >>> bench = (Plant("A1", "Aus bus", "A", died=date(2026, 5, 1)), Plant("B", "Aus bus", "B"))
    >>> rows_from(text_of(bench), Plant) == [bench]
    True
    """
    return [_rows(kind, columns) for kind, columns in zip(kinds, json.loads(text), strict=True)]


def _columns(rows: Sequence[Any]) -> dict[str, tuple[str, list[Any]]]:
    names = [item.name for item in fields(rows[0])] if rows else []
    return {name: _column([getattr(row, name) for row in rows]) for name in names}


def _column(values: list[Any]) -> tuple[str, list[Any]]:
    kinds = {type(value).__name__ for value in values}
    for kind in _FROM_TEXT:
        if kinds - {"NoneType"} == {kind}:
            return kind, [value and value.isoformat() for value in values]
    if not kinds <= _PLAIN:
        raise TypeError(kinds)
    return "", values


def _rows(kind: type, columns: dict[str, tuple[str, list[Any]]]) -> tuple[Any, ...]:
    read = [_decoded(*column) for column in columns.values()]
    return tuple(kind(**dict(zip(columns, row, strict=True))) for row in zip(*read, strict=True))


def _decoded(kind: str, values: list[Any]) -> list[Any]:
    made = _FROM_TEXT.get(kind)
    return values if made is None else [None if value is None else made(value) for value in values]


_SNAPSHOT = ".book.cache"


@dataclass(frozen=True, slots=True)
class Recorded:
    """Plants, crosses and the forecasts that were given, as they stand."""

    plants: Plants = field(default_factory=lambda: Plants.of([]))
    crosses: tuple[Cross, ...] = ()
    forecasts: tuple[GivenForecast, ...] = ()


def read_book(folder: Path, settings: Settings, *, crosses: bool = True, remember: bool = False) -> Recorded:
    """Read the cross book of a collection; one that is not there yet holds nothing.

    Parameters
    ----------
    folder : Path
    settings : Settings
    crosses : bool
        Whether all is read, or the plants alone.
    remember : bool
        Whether what a book in a file comes to is kept in the folder; it is used until the book changes.
    """
    place = book_place(folder, settings)
    if isinstance(place, Path) and not place.exists():
        return Recorded()
    key = key_of_book(place) if isinstance(place, Path) else None
    known = None if key is None else _recalled(folder, key)
    if known is not None:
        return known if crosses else Recorded(known.plants)
    found = _read(folder, settings, crosses=crosses)
    if remember and crosses and isinstance(place, Path) and key is not None and key == key_of_book(place):
        _keep(folder, key, found)
    return found


def _read(folder: Path, settings: Settings, *, crosses: bool) -> Recorded:
    from crosscompat.book.cross_summary import crosses_of  # noqa: PLC0415 - as above
    from crosscompat.book.current_plants import plants_of, species_of  # noqa: PLC0415 - a collection without records needs no database

    store = open_book(folder, settings)
    with store.reading() as page:
        species = species_of(page)
        found = Recorded(plants_of(page, species))
        if crosses:
            found = Recorded(found.plants, crosses_of(page, species), page.current(GivenForecast))
    store.engine.dispose()
    return found


def _recalled(folder: Path, key: bytes) -> Recorded | None:
    content = recall(folder / _SNAPSHOT, key)
    if content is None:
        return None
    plants, crosses, forecasts = rows_from(content, Plant, Cross, GivenForecast)
    return Recorded(Plants.of(plants), crosses, forecasts)


def _keep(folder: Path, key: bytes, found: Recorded) -> None:
    text = text_of(list(found.plants.by_name.values()), found.crosses, found.forecasts)
    if text is not None:
        keep(folder / _SNAPSHOT, key, text.encode())


def take_in(
    folder: Path,
    settings: Settings,
    tables: Recorded,
    mend: Callable[[Sequence[Record]], Sequence[Record]] = lambda found: found,
) -> None:
    """Write tables into the cross book of a collection, unless it holds anything already.

    Parameters
    ----------
    folder : Path
    settings : Settings
    tables : Recorded
    mend : callable, optional
        What is done with the records before they are written.
    """
    from crosscompat.book.import_export.from_tables import records_of  # noqa: PLC0415 - only the demonstration is written so

    store = open_book(folder, settings)
    with store.writing(say("recorded.taken_in")) as pen:
        if not pen.changes():
            pen.imported = True
            found = records_of(tables.plants, tables.crosses)
            pen.add(*mend(found), *tables.forecasts)
    store.engine.dispose()


def add_forecasts(folder: Path, settings: Settings, given: Iterable[GivenForecast]) -> int:
    """Write forecasts into the cross book that do not stand there yet, and return how many those were."""
    store = open_book(folder, settings)
    with store.writing(say("recorded.forecasts")) as pen:
        known = set(pen.current(GivenForecast))
        fresh = [one for one in dict.fromkeys(given) if one not in known]
        pen.add(*fresh)
    store.engine.dispose()
    return len(fresh)
