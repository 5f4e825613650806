"""What is on record in a collection, read from its cross book or as it was last read."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, fields
from datetime import date, datetime
from hashlib import blake2b, file_digest
from os import scandir
from pathlib import Path
from typing import TYPE_CHECKING, Any

from crosscompat import __version__
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.record_fields import value_types
from crosscompat.book.records import GivenForecast
from crosscompat.collection.settings import Settings, book_place, open_book
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.records import Record


_SNAPSHOT = ".book.cache"
_BESIDE = ("", "-wal", "-journal")
"""What SQLite holds of a book: the file, and what was written but has not yet been taken into it."""

_ROOMS = ("", "ground", "book", "book/store")
"""Folders of this package whose code makes a snapshot: another version may make something else of a book."""

_PACKAGE = Path(__file__).parents[1]
_BYTES = 32
_OWNER_ALONE = 0o600
_FROM_TEXT: Mapping[type, Callable[[str], date]] = {date: date.fromisoformat, datetime: datetime.fromisoformat}


def key_of_book(book: Path) -> bytes | None:
    """Return what tells a book from every other, and from itself at every other time; None if it cannot be read."""
    file = book.resolve()  # what is beside it lies beside the file, not beside a link to it
    try:
        code = [entry for room in _ROOMS for entry in scandir(_PACKAGE / room) if entry.is_file()]
        stamps = sorted((entry.path, entry.stat().st_size, entry.stat().st_mtime_ns) for entry in code)
        key = blake2b(json.dumps([__version__, stamps]).encode())
        for ending in _BESIDE:
            key.update(_digest(file.with_name(file.name + ending)))
    except OSError:
        return None
    return key.digest()


def _digest(file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            return file_digest(stream, "blake2b").digest()
    except FileNotFoundError:
        return blake2b().digest()


def recall(path: Path, key: bytes) -> bytes | None:
    """Return what was kept under a key; None where not a byte may be believed, being of another key or damaged."""
    try:
        found = path.read_bytes()
    except OSError:
        return None
    seal, content = found[:_BYTES], found[_BYTES:]
    return content if seal == _seal(key, content) else None


def keep(path: Path, key: bytes, content: bytes) -> None:
    """Keep what took time to make, for the owner's eyes alone; where nothing can be written, nothing is kept."""
    with suppress(OSError):
        write_atomically(path, _seal(key, content) + content, follow=False, mode=_OWNER_ALONE)


def _seal(key: bytes, content: bytes) -> bytes:
    return blake2b(content, key=blake2b(key, digest_size=_BYTES).digest(), digest_size=_BYTES).digest()


def text_of(*tables: Sequence[Any]) -> str:
    """Return rows of dataclasses as text, a table a kind."""
    names = [[item.name for item in fields(rows[0])] if rows else [] for rows in tables]
    values = [[[getattr(row, name) for name in head] for row in rows] for head, rows in zip(names, tables, strict=True)]
    return json.dumps(values, default=lambda day: day.isoformat())


def rows_from(text: str | bytes, *kinds: type) -> list[tuple[Any, ...]]:
    """Return the rows that `text_of` has written, of these kinds."""
    return [tuple(_rows(kind, rows)) for kind, rows in zip(kinds, json.loads(text), strict=True)]


def _rows(kind: type, rows: Sequence[list[Any]]) -> Iterator[Any]:
    types = value_types(kind)
    names = [item.name for item in fields(kind)]
    moments = [(at, _FROM_TEXT[types[name]]) for at, name in enumerate(names) if types[name] in _FROM_TEXT]
    for row in rows:
        for at, read in moments:
            row[at] = read(row[at]) if row[at] else None
        yield kind(**dict(zip(names, row, strict=True)))


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
    found, sound = _read(folder, settings, crosses=crosses)
    if remember and sound and crosses and isinstance(place, Path) and key is not None and key == key_of_book(place):
        text = text_of(list(found.plants.by_name.values()), found.crosses, found.forecasts)
        keep(folder / _SNAPSHOT, key, text.encode())
    return found


def _read(folder: Path, settings: Settings, *, crosses: bool) -> tuple[Recorded, bool]:
    """Return what is on record, and whether the book is sound."""
    from crosscompat.book.cross_summary import crosses_of  # noqa: PLC0415 - as above
    from crosscompat.book.current_plants import plants_of, species_of  # noqa: PLC0415 - a collection without records needs no database

    store = open_book(folder, settings)
    with store.reading() as page:
        species = species_of(page)
        found = Recorded(plants_of(page, species))
        if crosses:
            found = Recorded(found.plants, crosses_of(page, species), page.current(GivenForecast))
    store.engine.dispose()
    return found, store.damage is None


def _recalled(folder: Path, key: bytes) -> Recorded | None:
    content = recall(folder / _SNAPSHOT, key)
    if content is None:
        return None
    plants, crosses, forecasts = rows_from(content, Plant, Cross, GivenForecast)
    return Recorded(Plants.of(plants), crosses, forecasts)


def take_in(
    folder: Path,
    settings: Settings,
    tables: Recorded,
    mend: Callable[[Sequence[Record]], Iterable[Record]] = lambda found: found,
) -> None:
    """Write tables into the cross book of a collection, mended before, unless it holds anything already."""
    from crosscompat.book.import_export.import_table import records_of  # noqa: PLC0415 - only the demonstration is written so

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
