"""What the page of the greenhouse hands over, taken into the book: each entry once, and every fault at once."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, time
from typing import Any, Literal

from crosscompat.advice.predict import basis_of
from crosscompat.advice.season.cross_story import observe_cross
from crosscompat.advice.season.pollinate import VisitRequest, pollinate
from crosscompat.book import records
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.enter_observation import Seen
from crosscompat.book.entry.enter_plant import PlantEntry, enter_plant
from crosscompat.book.numbers_and_names import read_pattern
from crosscompat.book.store import Store, Writing
from crosscompat.book.store.database import AlreadyWritten
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import NoPairing, UnknownName, WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.saved import SavedModel

SCHEMA = "crosscompat.pocket/1"
"""What a hand-over calls itself."""

_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_COUNTS = ("swelling", "dropped", "ripe", "up")
_MOST, _LONGEST, _ID_LENGTH = 999_999, 2_000, 36


@dataclass(frozen=True, slots=True)
class HandedEntry:
    """One entry of the phone, and what became of it.

    Attributes
    ----------
    id : str
        Its own identifier; blank where it has none that can be read.
    what : str
        What was entered, in words.
    outcome : str
        ``written`` (or would be), ``there`` before, or ``refused``.
    why, advice : str
        Why it was refused, and what to do next; else blank.
    """

    id: str
    what: str
    outcome: Literal["written", "there", "refused"]
    why: str = ""
    advice: str = ""


@dataclass(frozen=True, slots=True)
class HandedOver:
    """What became of all that a phone handed over, in its order."""

    file: str
    entries: list[HandedEntry]
    dry_run: bool
    invented: bool
    schema: Literal["crosscompat.handover/1"] = "crosscompat.handover/1"

    def count(self, outcome: str) -> int:
        """Return how many entries came to one of the outcomes."""
        return sum(entry.outcome == outcome for entry in self.entries)


@dataclass(frozen=True, slots=True)
class _Book:
    """What an entry is written into, and who is asked where nobody signed it."""

    collection: Collection
    store: Store
    today: date
    who: str | None
    anyway: bool
    dry_run: bool
    tried: set[str] = field(default_factory=set)
    """Visits that a dry run has written and taken back."""


def is_hand_over(text: str) -> bool:
    """Tell whether a file is what a phone hands over, whatever it is called.

    Examples
    --------
    >>> is_hand_over('{"schema": "crosscompat.pocket/1", "entries": []}'), is_hand_over("plant,species")
    (True, False)
    """
    return text.lstrip("\ufeff \t\r\n").startswith("{")


def take_in(
    collection: Collection, store: Store, file: str, text: str, today: date, *, who: str | None = None,
    anyway: bool = False, dry_run: bool = False,
) -> HandedOver:  # fmt: skip
    """Write every entry down that is not in the book yet, each as a change of its own, and tell of all of them.

    ``anyway`` writes those down too that cannot well be, as if each had been answered with yes.

    Raises
    ------
    WrongUse
        If the file is no hand-over of this book, or is cut off; then nothing has been written.
    """
    entries = _entries(text, store.identity, file)
    basis = basis_of(collection)
    if basis.fingerprint is not None:  # fitted once for all entries, and not again for each
        saved = SavedModel(basis.model, collection.fingerprints, basis.as_of or today.isoformat())
        collection = replace(collection, saved=saved)
    book = _Book(collection, store, today, who, anyway, dry_run)
    return HandedOver(file, [_taken(book, entry) for entry in entries], dry_run, collection.settings.invented)


def _entries(text: str, identity: str, file: str) -> list[Any]:
    try:
        content = json.loads(text.lstrip("\ufeff"))
    except (ValueError, RecursionError):
        raise WrongUse(say("hand_over.cut_off", file=file)) from None
    if not isinstance(content, dict) or content.get("schema") != SCHEMA or not isinstance(content.get("entries"), list):
        raise WrongUse(say("hand_over.other_file", file=file, schema=SCHEMA))
    if content.get("book") != identity:
        raise WrongUse(say("hand_over.other_book", file=file, name=str(content.get("collection", ""))[:_LONGEST]))
    entries: list[Any] = content["entries"]
    return entries


def _taken(book: _Book, content: Any) -> HandedEntry:
    """Write one entry down, and say what became of it."""
    try:
        entry = _read(content, book.today)
    except _Unreadable as fault:
        own = content.get("id") if isinstance(content, dict) else None
        id_, what = str(own or "")[:_ID_LENGTH], say("hand_over.unreadable")
        return HandedEntry(id_, what, "refused", str(fault), say("hand_over.advice.unreadable"))
    try:
        _write(book, entry)
    except AlreadyWritten:
        return HandedEntry(entry.id, entry.what, "there")
    except (_Doubted, UnknownName, NoPairing, WrongUse) as error:
        kind = {_Doubted: "anyway", UnknownName: "unknown"}.get(type(error), "wrong")
        advice = say(f"hand_over.advice.{kind}", command=entry.command)
        return HandedEntry(entry.id, entry.what, "refused", str(error), advice)
    return HandedEntry(entry.id, entry.what, "written")


class _Doubted(Exception):
    """Ends a transaction in which something was written that must be asked about first."""


class _Unreadable(Exception):
    """Tells that an entry is not as the page writes it."""


_Writes = Callable[[_Book, Writing, str | None], list[str]]
"""How an entry is written down, by whom; returns what must be asked about first."""


@dataclass(frozen=True, slots=True)
class _Entry:
    """An entry that can be read: what it is in words, the command for it, and how it is written down."""

    id: str
    who: str | None
    what: str
    command: str
    writes: _Writes


def _write(book: _Book, entry: _Entry) -> None:
    """Write an entry down under its own identifier; nothing stays of it where something speaks against it."""
    store, who = replace(book.store, change=entry.id), entry.who or book.who
    with store.writing("", who=who, dry_run=book.dry_run) as pen:
        doubts = entry.writes(book, pen, who)
        if doubts and not book.anyway:
            raise _Doubted(" ".join(doubts))


@dataclass(frozen=True, slots=True)
class _Fields:
    """What stands in an entry; what cannot be raises `_Unreadable`."""

    content: Mapping[str, Any]

    def text(self, name: str) -> str | None:
        """Return a text, None where it is blank."""
        value = self.content.get(name)
        if value is None:
            return None
        if not isinstance(value, str) or len(value) > _LONGEST or "\0" in value:
            raise _Unreadable(say("hand_over.fault.text", field=name))
        return value.strip() or None

    def number(self, name: str, least: int = 0) -> int | None:
        """Return a whole number."""
        value = self.content.get(name)
        if value is None:
            return None
        if type(value) is not int or not least <= value <= _MOST:
            raise _Unreadable(say("hand_over.fault.number", field=name))
        return value

    def needed(self, name: str) -> str:
        """Return a text that must be there."""
        value = self.text(name)
        if value is None:
            raise _Unreadable(say("hand_over.fault.lacks", field=name))
        return value

    @property
    def day(self) -> date:
        """The day of the phone."""
        try:
            return date.fromisoformat(self.needed("date"))
        except ValueError:
            raise _Unreadable(say("hand_over.fault.date")) from None

    @property
    def hour(self) -> time | None:
        """The hour of the phone."""
        text = self.text("time")
        try:
            return None if text is None else time.fromisoformat(text)
        except ValueError:
            raise _Unreadable(say("hand_over.fault.date")) from None


def _read(content: Any, today: date) -> _Entry:
    """Read all that is in an entry, or raise `_Unreadable`."""
    if not isinstance(content, dict):
        raise _Unreadable(say("hand_over.fault.no_entry"))
    fields = _Fields(content)
    id_, kind = fields.text("id") or "", fields.text("kind") or ""
    if not _ID.fullmatch(id_):
        raise _Unreadable(say("hand_over.fault.id"))
    readers = {"pollination": _pollination, "look": _look, "flowers": _flowers}
    if kind not in readers:
        raise _Unreadable(say("hand_over.fault.kind", kind=kind))
    if fields.day > today:
        raise _Unreadable(say("hand_over.fault.future", day=spoken_date(fields.day, today)))
    return _Entry(id_, fields.text("who"), *readers[kind](fields))


def _pollination(fields: _Fields) -> tuple[str, str, _Writes]:
    seed, lot, units = fields.needed("seed"), fields.text("lot"), fields.number("flowers", least=1)
    pollen = lot or fields.needed("pollen")
    visit = records.Pollination(
        id=fields.needed("id"),  # by which a look on the phone names the cross before it has a number
        cross="",
        date=fields.day,
        hour=fields.hour,
        units=units,
        count_how=None if units is None else "counted",
        isolation="bag" if fields.content.get("bag") is True else None,
        marker=fields.text("marker"),
        note=fields.text("note"),
    )
    request = VisitRequest(visit=visit, seed=seed, pollen=() if lot else (pollen,), lot=lot)

    def write(book: _Book, pen: Writing, who: str | None) -> list[str]:
        made = replace(request, visit=replace(visit, who=who))
        doubts = [one.says for one in pollinate(book.collection, pen, made, book.today).obstacles]
        if book.anyway or not doubts:
            book.tried.add(visit.id)
        return doubts

    what = say("hand_over.pollination", seed=seed, pollen=pollen, n=units or 0, day=spoken_date(fields.day))
    count = () if units is None else ("--count", units)
    by_lot = ("--lot", lot) if lot else (pollen,)
    return what, _command("pollinate", seed, *by_lot, *count, "--on", fields.day), write


def _look(fields: _Fields) -> tuple[str, str, _Writes]:
    cross, day, lost = fields.needed("cross"), fields.day, fields.text("lost")
    counts = {name: n for name in (*_COUNTS, "harvest", "sown") if (n := fields.number(name)) is not None}
    seeds, lot = fields.number("seeds"), fields.text("lot")
    seen = Seen(
        **{name: counts.get(name) for name in _COUNTS},  # type: ignore[arg-type]
        harvest=records.SeedLot(cross="", pods=counts["harvest"], seeds=seeds) if "harvest" in counts else None,
        sown=records.Sowing(cross="", seeds=counts["sown"], lot=lot) if "sown" in counts else None,
        tray=fields.text("tray") if "up" in counts else None,
        lost=lost,
        against=None if lost is None else "unsure",
        note=fields.text("note"),
    )
    if seen == Seen():
        raise _Unreadable(say("hand_over.fault.nothing"))

    def write(book: _Book, pen: Writing, who: str | None) -> list[str]:
        if book.dry_run and cross in book.tried:
            return []  # it is a cross of this very file, and cannot be judged before that is written
        visit, settings = pen.find(records.Pollination, id=cross), book.collection.settings
        number = visit.cross if visit else cross
        done = observe_cross(pen, number, seen, settings, day=day, today=book.today, who=who, dry_run=book.dry_run)
        return done.surprises

    number = fields.text("number") or cross
    parts = [say(f"hand_over.seen.{name}", n=n) for name, n in counts.items()]
    parts += [say("hand_over.seen.lost", cause=lost)] if lost else []
    what = say(
        "hand_over.look", cross=number, what=", ".join(parts) or say("hand_over.seen.note"), day=spoken_date(day)
    )
    options = [part for name in _COUNTS if name in counts for part in (f"--{name}", counts[name])]
    return what, _command("observe", number, *options, "--on", day), write


def _flowers(fields: _Fields) -> tuple[str, str, _Writes]:
    plant, n, day = fields.needed("plant"), fields.number("count"), fields.day
    if n is None:
        raise _Unreadable(say("hand_over.fault.lacks", field="count"))

    def write(book: _Book, pen: Writing, who: str | None) -> list[str]:
        entry = PlantEntry(name=plant, day=day, by=who, flowers=n)
        enter_plant(pen, entry, read_pattern(book.collection.settings.cross_number), Bounds(book.today))
        return []

    what = say("hand_over.flowers", plant=plant, n=n, day=spoken_date(day))
    return what, _command("plant", plant, "--flowers", n, "--on", day), write


def _command(*words: object) -> str:
    """Return a command that a shell reads as these words."""
    return shlex.join(["crosscompat", *map(str, words)])
