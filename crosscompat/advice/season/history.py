"""What was changed in a book: who, what, when, and what stood there before."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from itertools import groupby
from pathlib import Path
from typing import Any, Literal

from crosscompat.book.attachments import FOLDER, keep
from crosscompat.book.cross_summary import BELOW, PARTS, cross_of
from crosscompat.book.entry import Bounds
from crosscompat.book.entry import correct as entry
from crosscompat.book.history import (
    FieldChange,
    Line,
    called,
    differences,
    lines_of,
    names_of,
    noun,
    undone_by,
    words_of,
)
from crosscompat.book.numbers_and_names import find_record, short_ids
from crosscompat.book.record_fields import choices, reference, value_types
from crosscompat.book.records import (
    KINDS,
    Attachment,
    Cross,
    Determination,
    Finding,
    Flowering,
    GivenForecast,
    Plant,
    PollenLot,
    Record,
)
from crosscompat.book.store import Change, Reading, Version, Writing
from crosscompat.ground.csv_cells import as_text
from crosscompat.ground.wording import say

_OF_A_PLANT = (Determination, Finding, Flowering, PollenLot)
_MANY = 200
"""Records of one change that are counted and not listed."""


@dataclass(frozen=True, slots=True)
class RecordChange:
    """What a change did to one record: ``written``, ``corrected``, ``taken back`` or ``put back``.

    ``short`` are the letters by which it can be corrected; it ``says`` what stands in it, or stood in it where it was
    taken back; ``fields`` were corrected.
    """

    short: str
    record: str
    kind: str
    how: str
    says: str
    fields: list[FieldChange]


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One change, ``at`` a time in UTC, with the changes that it ``undoes`` and is ``undone_by``.

    What was ``imported`` had been written down elsewhere before; so many records were touched beside these and
    ``left_out``.
    """

    number: int
    at: str
    who: str | None
    what: str
    undoes: int | None
    undone_by: int | None
    imported: bool
    records: list[RecordChange]
    left_out: int


@dataclass(frozen=True, slots=True)
class History:
    """The changes of a book, or what they did to one cross or plant, the latest first; ``earlier`` are left out."""

    about: str | None
    changes: list[HistoryEntry]
    earlier: int
    invented: bool
    schema: Literal["crosscompat.history/1"] = "crosscompat.history/1"


@dataclass(frozen=True, slots=True)
class Undone:
    """A change as it was, which was taken back by the new ``change``, or would be."""

    undone: HistoryEntry
    change: int | None
    dry_run: bool
    invented: bool
    schema: Literal["crosscompat.undo/1"] = "crosscompat.undo/1"


@dataclass(frozen=True, slots=True)
class Correction:
    """A record that was put right, as it stands now, or taken back, as it stood, by a ``change`` of that number."""

    record: Line
    fields: list[FieldChange]
    withdrawn: list[Line]
    change: int | None
    dry_run: bool
    invented: bool
    schema: Literal["crosscompat.correct/1"] = "crosscompat.correct/1"


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file that is kept: its own name, and its path in the collection."""

    file: str
    path: str


@dataclass(frozen=True, slots=True)
class Attached:
    """Files that were kept with a record.

    Attributes
    ----------
    of : str
        What they are of, in words.
    files : list of KeptFile
        Those that it did not have before.
    change : int or null
        Number of the change in the book; null if nothing was written.
    """

    of: str
    files: list[KeptFile]
    change: int | None
    dry_run: bool
    invented: bool
    schema: Literal["crosscompat.attach/1"] = "crosscompat.attach/1"


def keep_files(
    pen: Writing,
    about: str,
    files: Sequence[Path],
    folder: Path,
    said: Mapping[str, Any],
    *,
    dry_run: bool,
    invented: bool,
) -> Attached:
    """Keep files with the record that is meant, and write down what is said of them; none is kept twice.

    Raises
    ------
    UnknownName, WrongUse
        If there is no such record; if a file cannot be kept.
    """
    record = find_record(pen, about)
    had = {one.kept_as for one in pen.current(Attachment, of=record.id)}
    copies = [keep(folder, file, dry_run=dry_run, of=record.id, **said) for file in files]
    new = [one for name, one in {one.kept_as: one for one in copies}.items() if name not in had]
    pen.what = say("attachments.what", of=called(record), files=", ".join(one.file for one in new))
    pen.add(*new)
    shown = [KeptFile(one.file, f"{FOLDER}/{one.kept_as}") for one in new]
    return Attached(called(record), shown, pen.change if new and not dry_run else None, dry_run, invented)


def history_of(
    page: Reading,
    about: Cross | Plant | None = None,
    most: int | None = None,
    *,
    brief: bool = False,
    invented: bool = False,
) -> History:
    """Return the changes of a book, or of one cross or plant, the latest first and so many at most.

    In ``brief`` the records of a change that touched very many, as an import does, are counted and not listed.
    """
    every = page.changes()
    only = None if about is None else _records_ever_of(page, about)
    numbers = {change.id for change in every} if only is None else _changes_of(page, only)
    chosen = set(sorted(numbers, reverse=True)[:most])
    entries = _entries(page, [change for change in reversed(every) if change.id in chosen], every, only, brief=brief)
    name = None if about is None else (about.number or about.id if isinstance(about, Cross) else about.name)
    return History(name, entries, len(numbers) - len(chosen), invented)


def undone_of(page: Reading, change: Change, new: int | None, *, brief: bool, invented: bool) -> Undone:
    """Return a change that was taken back; one that has no ``new`` number was a trial."""
    entry = _entries(page, [change], page.changes(), None, brief=brief)[0]
    return Undone(replace(entry, undone_by=None), new, new is None, invented)


def corrected(
    pen: Writing, text: str, given: Sequence[str], bounds: Bounds, *, dry_run: bool = False, invented: bool = False
) -> Correction:
    """Put a record right, each ``field=value``; it is found by a number, a name or the beginning of its identifier.

    Raises
    ------
    UnknownName
        If there is no such record.
    WrongUse
        If a value is none, nothing changes, or the book would contradict itself; the transaction must end then.
    """
    before = find_record(pen, text)
    pen.what = say("correct.what", record=called(before))
    after = entry.correct(pen, before, given, bounds)
    return correction_of(pen, before, after, (), change=None if dry_run else pen.change, invented=invented)


def withdrawn(
    pen: Writing, text: str, bounds: Bounds, *, with_rest: bool = False, dry_run: bool = False, invented: bool = False
) -> Correction:
    """Take a record back, and what rests on it if that is wanted; raises as `corrected`."""
    before = find_record(pen, text)
    pen.what = say("correct.withdrew", record=called(before))
    gone = entry.withdraw(pen, before, bounds, with_rest=with_rest)
    return correction_of(pen, before, None, gone, change=None if dry_run else pen.change, invented=invented)


@dataclass(frozen=True, slots=True)
class RecordField:
    """A field of a record that can be put right: its value as it would be typed, and its only values if it has such."""

    name: str
    words: str
    value: str
    choices: tuple[str, ...]


def fields_of(page: Reading, record: Record) -> list[RecordField]:
    """Return what can be put right of a record, what it says before what is blank; nothing of a forecast."""
    if isinstance(record, GivenForecast):
        return []
    names, types = names_of(page, [record]), value_types(type(record))
    found = []
    for item in fields(record):
        if item.name == "id" or reference(item) not in {None, "crosses", "plants"}:
            continue
        value = as_text(getattr(record, item.name))
        allowed = choices(item) or (("yes", "no") if types[item.name] is bool else ())
        words = item.name.replace("_", " ")
        found.append(RecordField(item.name, words, names.get(value, value) if reference(item) else value, allowed))
    return sorted(found, key=lambda one: not one.value)


def subject_of(page: Reading, record: Record) -> Cross | Plant | None:
    """Return the cross or the plant that a record belongs to; None where it belongs to neither."""
    if isinstance(record, Attachment):
        kind = page.kind_of(record.of)
        target = page.find(kind, id=record.of) if kind else None
        return subject_of(page, target) if target is not None else None
    cross = cross_of(page, record)
    if cross is not None:
        return page.find(Cross, id=cross)
    if isinstance(record, Plant):
        return record
    plant = getattr(record, "plant", None)
    return page.find(Plant, id=plant) if plant is not None else None


def correction_of(
    page: Reading,
    before: Record,
    after: Record | None,
    withdrawn: Sequence[Record],
    *,
    change: int | None,
    invented: bool,
) -> Correction:
    """Return what was done to a record in words; a change without a number was a trial."""
    fields = differences(before, after, names_of(page, [before, after])) if after is not None else []
    line = lines_of(page, [after or before])[0]
    return Correction(line, fields, lines_of(page, withdrawn), change, change is None, invented)


def last_standing(history: History) -> HistoryEntry | None:
    """Return the latest change that stands and took nothing back itself; None if there is none."""
    return next((one for one in history.changes if one.undoes is None and one.undone_by is None), None)


def _records_ever_of(page: Reading, record: Cross | Plant) -> set[str]:
    """Return the identifiers of all that was ever written of a cross or a plant, itself included."""

    def ever(kind: type[Record], **where: Any) -> set[str]:
        return {version.record.id for version in page.versions(kind, **where)}

    if isinstance(record, Plant):
        found = {record.id}.union(*(ever(kind, plant=record.id) for kind in _OF_A_PLANT))
    else:
        found = {record.id}.union(*(ever(kind, cross=record.id) for kind in PARTS))
        for kind, (_, pointing) in BELOW.items():
            found |= ever(kind, **{pointing: tuple(found)})
    return found | ever(Attachment, of=tuple(found))


def _changes_of(page: Reading, records: Collection[str]) -> set[int]:
    versions = [version for kind in KINDS.values() for version in page.versions(kind, ids=records)]
    return {change for one in versions for change in (one.made_in, one.replaced_in) if change is not None}


def _entries(
    page: Reading, changes: Sequence[Change], every: Sequence[Change], only: Collection[str] | None, *, brief: bool
) -> list[HistoryEntry]:
    sizes = {change.id: page.touched(change.id) for change in changes} if brief and only is None else {}
    many = {number: size for number, size in sizes.items() if size > _MANY}
    touched = _touched(page, [change.id for change in changes if change.id not in many], only)
    sides = [side for some in touched.values() for _, *both in some for side in both if side is not None]
    names, short = names_of(page, sides), short_ids(page, {record.id for record in sides})
    undone = undone_by(every)

    def record_change(how: str, before: Record | None, after: Record | None) -> RecordChange:
        record: Record = after or before  # type: ignore[assignment]  # it stood before or after
        fields = differences(before, after, names) if before is not None and after is not None else []
        return RecordChange(short[record.id], record.id, noun(record), how, words_of(record, names), fields)

    return [
        HistoryEntry(
            number=change.id,
            at=change.at.isoformat(timespec="seconds"),
            who=change.who,
            what=change.what,
            undoes=change.undoes,
            undone_by=undone.get(change.id),
            imported=change.imported,
            records=[record_change(*one) for one in touched.get(change.id, ())],
            left_out=many.get(change.id, 0),
        )
        for change in changes
    ]


_Touch = tuple[str, Record | None, Record | None]
"""How a change touched a record, and how that stood before and after."""


def _touched(page: Reading, changes: Collection[int], only: Collection[str] | None) -> Mapping[int, list[_Touch]]:
    """Return what some changes did, change by change; only to some records, if those are given."""
    found: dict[int, list[_Touch]] = {change: [] for change in changes}
    for kind in KINDS.values():
        ids = only if only is not None else {one.record.id for one in page.versions(kind, changes=changes)}
        versions = page.versions(kind, ids=ids) if ids else ()  # those of one record stand together
        for _, same in groupby(versions, key=lambda version: version.record.id):
            of_record = list(same)
            for change in changes:
                found[change] += _touch(of_record, change)
    return found


def _touch(versions: Sequence[Version], change: int) -> Iterator[_Touch]:
    after = next((one.record for one in versions if one.made_in == change), None)
    before = next((one.record for one in versions if one.replaced_in == change), None)
    if after is not None:
        earlier = any(one.made_in < change for one in versions)
        yield "corrected" if before else "put back" if earlier else "written", before, after
    elif before is not None:
        yield "taken back", before, None
