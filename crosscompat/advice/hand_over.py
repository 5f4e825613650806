"""What the page of the greenhouse hands over, taken into the book: each entry once, and every fault at once."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, time
from typing import Any, Literal

from crosscompat.advice.cross_story import observe_cross
from crosscompat.advice.pollinate import VisitRequest, pollinate
from crosscompat.advice.predict import basis_of
from crosscompat.book import records
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.enter_observation import Seen
from crosscompat.book.entry.enter_plant import PlantEntry, enter_plant
from crosscompat.book.numbers import read_pattern
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
_MOST, _LONGEST = 999_999, 2_000


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
        entry = _Entry(content)
        write = entry.check(book.today)
    except _Unreadable as fault:
        known = str(content.get("id", "")) if isinstance(content, dict) else ""
        what = say("hand_over.unreadable")
        return HandedEntry(known[:36], what, "refused", str(fault), say("hand_over.advice.unreadable"))
    try:
        _write(book, entry, write)
    except AlreadyWritten:
        return HandedEntry(entry.id, entry.what, "there")
    except (_Doubted, UnknownName, NoPairing, WrongUse) as error:
        kind = {_Doubted: "anyway", UnknownName: "unknown"}.get(type(error), "wrong")
        advice = say(f"hand_over.advice.{kind}", command=entry.command)
        return HandedEntry(entry.id, entry.what, "refused", str(error), advice)
    return HandedEntry(entry.id, entry.what, "written")


def _write(book: _Book, entry: _Entry, write: _Write) -> None:
    """Write an entry down under its own identifier; nothing stays of it where something speaks against it."""
    store = replace(book.store, change=entry.id)
    with store.writing("", who=entry.text("who") or book.who, dry_run=book.dry_run) as pen:
        doubts = write(book, pen)
        if doubts and not book.anyway:
            raise _Doubted(" ".join(doubts))


class _Doubted(Exception):
    """Ends a transaction in which something was written that must be asked about first."""


class _Unreadable(Exception):
    """Tells that an entry is not as the page writes it."""


_Write = Callable[[_Book, Writing], list[str]]


class _Entry:
    """One entry as the phone wrote it; what cannot be read raises `_Unreadable`."""

    def __init__(self, content: Any) -> None:
        if not isinstance(content, dict):
            raise _Unreadable(say("hand_over.fault.no_entry"))
        self.content: Mapping[str, Any] = content
        self.what = self.command = ""
        self.id = self.text("id") or ""
        if not _ID.fullmatch(self.id):
            raise _Unreadable(say("hand_over.fault.id"))

    def check(self, today: date) -> _Write:
        """Read all that is in it, and return how it is written down."""
        kinds: dict[str, _Write] = {"pollination": self._pollinate, "look": self._look, "flowers": self._flowers}
        kind = self.text("kind") or ""
        if kind not in kinds:
            raise _Unreadable(say("hand_over.fault.kind", kind=kind))
        if self.day > today:
            raise _Unreadable(say("hand_over.fault.future", day=spoken_date(self.day, today)))
        for name in {"pollination": ("seed",), "look": ("cross",), "flowers": ("plant", "count")}[kind]:
            if self.content.get(name) in {None, ""}:
                raise _Unreadable(say("hand_over.fault.lacks", field=name))
        self._read(kind)
        return kinds[kind]

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

    @property
    def day(self) -> date:
        """The day of the phone."""
        try:
            return date.fromisoformat(self.text("date") or "")
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

    def _read(self, kind: str) -> None:
        self.what, self.command = {
            "pollination": self._pollination_in_words,
            "look": self._look_in_words,
            "flowers": self._flowers_in_words,
        }[kind]()

    def _visit(self) -> VisitRequest:
        units, pollen, lot = self.number("flowers", least=1), self.text("pollen"), self.text("lot")
        if pollen is None and lot is None:
            raise _Unreadable(say("hand_over.fault.lacks", field="pollen"))
        visit = records.Pollination(
            cross="",
            date=self.day,
            hour=self.hour,
            who=self.text("who"),
            units=units,
            count_how=None if units is None else "counted",
            isolation="bag" if self.content.get("bag") is True else None,
            marker=self.text("marker"),
            note=self.text("note"),
        )
        return VisitRequest(visit=visit, seed=self.text("seed"), pollen=() if lot else (pollen or "",), lot=lot)

    def _pollination_in_words(self) -> tuple[str, str]:
        request = self._visit()
        visit, pollen = request.visit, request.lot or request.pollen[0]
        what = say(
            "hand_over.pollination", seed=request.seed, pollen=pollen, n=visit.units or 0, day=spoken_date(self.day)
        )
        by_lot = ["--lot", request.lot] if request.lot else [pollen]
        count = [] if visit.units is None else ["--count", visit.units]
        return what, _command("pollinate", request.seed, *by_lot, *count, "--on", self.day)

    def _pollinate(self, book: _Book, pen: Writing) -> list[str]:
        request = self._visit()
        if request.visit.who is None:
            request = replace(request, visit=replace(request.visit, who=book.who))
        return [one.says for one in pollinate(book.collection, pen, request, book.today).obstacles]

    def _seen(self) -> Seen:
        pods, sown, seeds = (self.number(name) for name in ("harvest", "sown", "seeds"))
        lost = self.text("lost")
        return Seen(
            **{name: self.number(name) for name in _COUNTS},  # type: ignore[arg-type]
            harvest=None if pods is None else records.SeedLot(cross="", pods=pods, seeds=seeds),
            sown=None if sown is None else records.Sowing(cross="", seeds=sown, lot=self.text("lot")),
            tray=self.text("tray"),
            lost=lost,
            against=None if lost is None else "unsure",
            note=self.text("note"),
        )

    def _look_in_words(self) -> tuple[str, str]:
        seen, number = self._seen(), self.text("number") or self.text("cross")
        counts = [(name, self.number(name)) for name in (*_COUNTS, "harvest", "sown")]
        parts = [say(f"hand_over.seen.{name}", n=n) for name, n in counts if n is not None]
        parts += [say("hand_over.seen.lost", cause=seen.lost)] if seen.lost else []
        if not parts and seen.note is None:
            raise _Unreadable(say("hand_over.fault.nothing"))
        what = ", ".join(parts) or say("hand_over.seen.note")
        options = [part for name in _COUNTS if (n := self.number(name)) is not None for part in (f"--{name}", n)]
        command = _command("observe", number, *options, "--on", self.day)
        return say("hand_over.look", cross=number, what=what, day=spoken_date(self.day)), command

    def _look(self, book: _Book, pen: Writing) -> list[str]:
        number, who = self.text("cross") or "", self.text("who") or book.who
        settings = book.collection.settings
        done = observe_cross(
            pen, number, self._seen(), settings, day=self.day, today=book.today, who=who, dry_run=book.dry_run
        )
        return done.surprises

    def _flowers_in_words(self) -> tuple[str, str]:
        plant, n = self.text("plant"), self.number("count") or 0
        what = say("hand_over.flowers", plant=plant, n=n, day=spoken_date(self.day))
        return what, _command("plant", plant, "--flowers", n, "--on", self.day)

    def _flowers(self, book: _Book, pen: Writing) -> list[str]:
        entry = PlantEntry(
            name=self.text("plant"), day=self.day, by=self.text("who") or book.who, flowers=self.number("count")
        )
        enter_plant(pen, entry, read_pattern(book.collection.settings.cross_number), Bounds(book.today))
        return []


def _command(*words: object) -> str:
    """Return a command that a shell reads as these words."""
    return shlex.join(["crosscompat", *map(str, words)])
