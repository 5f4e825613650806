"""What is on record in a collection, read from its cross book."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.records import GivenForecast
from crosscompat.collection.books import book_place, open_book
from crosscompat.collection.caches import keep, recall
from crosscompat.collection.settings import Settings
from crosscompat.collection.snapshot import key_of_book, rows_from, text_of
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.records import Record

__all__ = ["Recorded", "add_forecasts", "read_book", "take_in"]

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
