"""Whether tables hang together as a book: what points somewhere must find it there."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import fields
from typing import TYPE_CHECKING

from crosscompat.book import records
from crosscompat.book.record_fields import reference
from crosscompat.book.records import Record
from crosscompat.ground.errors import Fault, Place
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.import_export.whole_book import Entry, WholeBook

__all__ = ["faults_of"]

_NAME_OF = {kind: name for name, kind in records.KINDS.items()}
_ONE_OF_A_NAME = {records.Plant: "name", records.Cross: "number"}


def faults_of(whole: WholeBook) -> list[Fault]:
    """Return everything in a book's tables that contradicts itself."""
    entries = [entry for kind in whole.entries for entry in whole.entries[kind]]
    return [*_changes(whole), *_marks(whole, entries), *_versions(entries), *_names(whole), *_pointers(entries)]


def _at(entry: Entry, column: str) -> Place:
    place = entry.place
    return Place(place.file, row=place.row, column=column, sheet=place.sheet)


def _changes(whole: WholeBook) -> Iterator[Fault]:
    seen: set[int] = set()
    for change in whole.changes:
        if change.id in seen:
            yield Fault(Place(), say("sheets.unsound_book.change_twice", number=str(change.id)))
        elif change.undoes is not None and change.undoes not in seen:
            yield Fault(Place(), say("sheets.unsound_book.no_change", number=str(change.undoes)))
        seen.add(change.id)


def _marks(whole: WholeBook, entries: list[Entry]) -> Iterator[Fault]:
    known = {change.id for change in whole.changes}
    for entry in entries:
        for column in ("made_in", "replaced_in"):
            number = getattr(entry.version, column)
            if number is not None and number not in known:
                yield Fault(_at(entry, column), say("sheets.unsound_book.no_change", number=str(number)))


def _versions(entries: list[Entry]) -> Iterator[Fault]:
    """Find a record written twice by one change, standing twice, or of two kinds."""
    kinds: dict[str, type[Record]] = {}
    written: set[tuple[str, int]] = set()
    standing: set[str] = set()
    for entry in entries:
        version, one = entry.version, entry.version.record.id
        stands_twice = version.replaced_in is None and one in standing
        other_kind = kinds.setdefault(one, type(version.record)) is not type(version.record)
        if stands_twice or other_kind or (one, version.made_in) in written:
            yield Fault(_at(entry, "id"), say("sheets.unsound_book.twice"))
        written.add((one, version.made_in))
        if version.replaced_in is None:
            standing.add(one)


def _names(whole: WholeBook) -> Iterator[Fault]:
    for kind, column in _ONE_OF_A_NAME.items():
        seen: set[str] = set()
        for entry in whole.entries.get(kind, ()):
            name = getattr(entry.version.record, column)
            if entry.version.replaced_in is None and name is not None:
                if name in seen:
                    yield Fault(_at(entry, column), say("sheets.unsound_book.name_twice", name=name))
                seen.add(name)


def _pointers(entries: list[Entry]) -> Iterator[Fault]:
    ids: dict[str, set[str]] = defaultdict(set)
    for entry in entries:
        ids[_NAME_OF[type(entry.version.record)]].add(entry.version.record.id)
    for entry in entries:
        for item in fields(entry.version.record):
            kind, one = reference(item), getattr(entry.version.record, item.name)
            if kind is not None and one is not None and one not in ids[kind]:
                yield Fault(_at(entry, item.name), say("sheets.unsound_book.points_nowhere", id=one))
