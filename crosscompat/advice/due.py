"""What to look at this week: each cross where it stands, and what comes next for it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Literal

from crosscompat.book.lives import Life, Tray
from crosscompat.book.usual_days import Span, days_of_book, usual_days
from crosscompat.collection.settings import Settings
from crosscompat.names import correct_form
from crosscompat.wording import say

__all__ = ["TASKS", "Due", "DueList", "Known", "due_list", "tasks_of"]

TASKS = ("swelling", "bag", "ripe", "harvest", "sow", "count", "give_up", "tell")

_BAG_BEFORE = 14
_LOOK_AGAIN = 14
_SOON = 3
_BURSTING = ("spurge",)


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do.

    Attributes
    ----------
    task : str
        One of ``TASKS``.
    cross : str
        Its number, or the start of its identifier for want of one.
    id : str
        What the entry can be found by again: the same thing of the same cross, whenever it is asked.
    kind : str
        Whether it is a cross, a check of a parent, or flowers left alone.
    seed_parent, pollen_parent : str
        In correct form; the second is blank where it is not known.
    where : str
        Plant, place and marker, as far as they are known.
    first, last : str
        The days between which it is expected, ISO 8601.
    late : bool
        Whether the last of them has passed.
    why : str
        In plain words.
    """

    task: str
    cross: str
    id: str
    kind: str
    seed_parent: str
    pollen_parent: str
    where: str
    first: str
    last: str
    late: bool
    why: str


@dataclass(frozen=True, slots=True)
class Known:
    """How many days a step takes, and how that is known."""

    step: str
    first: int
    last: int
    events: int
    says: str


@dataclass(frozen=True, slots=True)
class DueList:
    """What is due until some day.

    Attributes
    ----------
    as_of, until : str
        ISO 8601.
    due : list of Due
        By task, the late ones first.
    known : list of Known
    caution : str
        Of handling; blank where nothing has to be touched.
    """

    as_of: str
    until: str
    due: list[Due]
    known: list[Known]
    caution: str
    invented: bool
    schema: Literal["crosscompat.due/1"] = "crosscompat.due/1"


def due_list(
    lives: Sequence[Life], settings: Settings, as_of: date, *, ahead: int | None = 7, caution: str = ""
) -> DueList:
    """Return what is to be looked at.

    Parameters
    ----------
    lives : sequence of Life
        All crosses of the book.
    settings : Settings
        For the group, its bursting pods, and the days that the grower has set.
    as_of : date
        Today.
    ahead : int, optional
        How many days to look ahead, today included; None for all that can be foreseen.
    caution : str
        What to say once where anything must be touched.
    """
    spans = days_of_book(lives, _usual(settings), as_of)
    until = None if ahead is None else as_of + timedelta(days=ahead - 1)
    found = [
        entry
        for life in lives
        for entry in tasks_of(life, spans, as_of, window=settings.window_days, bursts=settings.group in _BURSTING)
        if until is None or entry.first <= until.isoformat()
    ]
    found.sort(key=lambda entry: (TASKS.index(entry.task), not entry.late, entry.first, entry.cross))
    return DueList(
        as_of=as_of.isoformat(),
        until="" if until is None else until.isoformat(),
        due=found,
        known=[_known(step, span) for step, span in spans.items()],
        caution=caution if found else "",
        invented=settings.invented,
    )


def tasks_of(
    life: Life, spans: Mapping[str, Span], as_of: date, *, window: int = 365, bursts: bool = False
) -> list[Due]:
    """Return everything that is still to be done for one cross, as far as can be foreseen.

    Parameters
    ----------
    life : Life
    spans : mapping of str to Span
        How many days each step takes.
    as_of : date
        Today.
    window : int
        Days from the brush to the last seedling; of a cross that is older and has no end yet, only the end is asked.
    bursts : bool
        Whether ripe pods burst, and must be bagged before.
    """
    if life.over or not life.brushed:
        return []
    make = _maker(life, as_of)
    if life.trays:
        return [entry for tray in life.trays for entry in _of_tray(tray, spans, as_of, make)]
    found = list(_before_sowing(life, spans, make, bursts=bursts))
    wait = min(window, spans["ripe"].last) if life.pods is None and not life.ripe else window
    if found and (as_of - life.brushed[-1]).days > wait:
        return [make("tell", life.brushed[-1], Span(wait, wait), "")]
    return found


_Make = Callable[[str, date, Span, str], Due]


def _before_sowing(life: Life, spans: Mapping[str, Span], make: _Make, *, bursts: bool) -> Iterator[Due]:
    """Yield what a cross asks for that has no tray yet: a look for swelling, a bag, the harvest, to be sown."""
    brushed = life.brushed[-1]
    if life.harvested:
        harvested = max((day for day in life.harvested if day is not None), default=None)
        if harvested is not None and life.seed != 0:
            yield make("sow", harvested, spans["sow"], "")
    elif life.ripe:
        counted = [day for day, pods in life.ripe if pods > 0 and day is not None]
        if counted:
            yield make("ripe", min(counted), Span(0, _SOON), "")
    elif life.pods is None:
        yield make("swelling", brushed, spans["swelling"], "")
    elif life.pods > life.dropped:
        ripe = spans["ripe"]
        if bursts:
            yield make("bag", brushed, Span(max(ripe.first - _BAG_BEFORE, 0), ripe.first), "")
        yield make("harvest", brushed, ripe, "")


def _of_tray(tray: Tray, spans: Mapping[str, Span], as_of: date, make: _Make) -> Iterator[Due]:
    """Yield what a tray asks for: a look at it, until it is time to give up."""
    if tray.lost or tray.sown is None or (tray.seeds is not None and tray.up >= tray.seeds):
        return
    last = spans["last_up"]
    seen = [day for day, _ in tray.looks if day is not None]
    if seen and (max(seen) - tray.sown).days >= last.last:
        return
    if (as_of - tray.sown).days > last.last:
        yield make("give_up", tray.sown, Span(last.last, last.last, last.source, last.events), tray.id)
        return
    if not seen:
        yield make("count", tray.sown, spans["up"], tray.id)
    else:
        yield make("count", max(seen), Span(_LOOK_AGAIN, _LOOK_AGAIN), tray.id)


def _maker(life: Life, as_of: date) -> _Make:
    """Return what turns a task of one cross into an entry."""

    def make(task: str, start: date, span: Span, part: str) -> Due:
        first, last = start + timedelta(days=span.first), start + timedelta(days=span.last)
        return Due(
            task=task,
            cross=life.number or life.id[:8],
            id=f"{life.id}-{task}{'-' if part else ''}{part}",
            kind=life.kind,
            seed_parent=_correct(life.seed_parent),
            pollen_parent=_correct(life.pollen_parent),
            where=_where(life, part),
            first=first.isoformat(),
            last=last.isoformat(),
            late=as_of > last,
            why=_why(task, start, span, as_of),
        )

    return make


@lru_cache(maxsize=10_000)
def _correct(name: str) -> str:
    """Return a name in correct form; the same few names come again and again."""
    return correct_form(name) if name else ""


def _where(life: Life, tray: str) -> str:
    if tray:
        return next((one.place or "" for one in life.trays if one.id == tray), "")
    return ", ".join(part for part in (life.plant, life.place, life.marker) if part)


def _why(task: str, start: date, span: Span, as_of: date) -> str:
    day = (as_of - start).days
    if task == "give_up":
        key = "give_up_own" if span.source == "own" else "give_up"
        return say(f"due.why.{key}", n=span.events, last=span.last, day=day)
    return say(f"due.why.{task}", day=day, first=span.first, last=span.last, start=start.isoformat())


def _usual(settings: Settings) -> Mapping[str, Span]:
    """Return what is usual in the group, with the days that the grower has set."""
    usual = dict(usual_days(settings.group))
    for step, last in (("swelling", settings.set_days), ("ripe", settings.hold_days)):
        if last is not None:
            usual[step] = Span(min(usual[step].first, last), last, "set")
    return usual


def _known(step: str, span: Span) -> Known:
    key = span.source if span.source in {"none", "set", "own"} else "published"
    words = say(f"due.known.{key}", n=span.events, source=span.source)
    says = say(f"due.steps.{step}", first=span.first, last=span.last, known=words)
    return Known(step, span.first, span.last, span.events, says)
