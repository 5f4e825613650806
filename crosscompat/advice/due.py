"""What to look at this week: each cross where it stands, and what comes next for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Literal

from crosscompat.advice.next_steps import ON_THE_PLANT, TASKS, Step, next_steps
from crosscompat.book.records import CROSS_KINDS
from crosscompat.book.timelines import NO_SOURCE, OWN, SET, Life, Span, days_of_book, usual_days
from crosscompat.collection.settings import Settings
from crosscompat.ground.dates import spoken_date, spoken_span
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say

__all__ = ["Due", "DueList", "Known", "due_list", "due_of"]

_BURSTING = ("spurge",)
_UNNAMED = {"one": "unknown", "sib": "sib"}
"""What pollen of one plant is called where nobody knows of which."""


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do.

    Attributes
    ----------
    task : str
        One of ``next_steps.TASKS``.
    cross : str
        Its number, or the start of its identifier for want of one.
    id : str
        What the entry can be found by again: the same thing of the same cross, whenever it is asked.
    kind : str
        Whether it is a cross, a check of a parent, or flowers left alone.
    seed_parent, pollen_parent : str
        In correct form; the second is blank where it is not known.
    pairing : str
        Both in one formula, which says selfed, open and mixed pollen too.
    where : str
        Plant, place and marker, as far as they are known; of seedlings the tray's place.
    since : str
        The day from which the days are counted, ISO 8601.
    first, last : str
        The days between which it is expected, ISO 8601.
    late : bool
        Whether the last of them has passed.
    says : str
        When, in plain words.
    sure : str
        How it is known that it takes so long; blank where nothing is expected, but was left undone.
    """

    task: str
    cross: str
    id: str
    kind: str
    seed_parent: str
    pollen_parent: str
    pairing: str
    where: str
    since: str
    first: str
    last: str
    late: bool
    says: str
    sure: str


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


def due_list(lives: Sequence[Life], settings: Settings, as_of: date, *, ahead: int | None = 7) -> DueList:
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
    """
    spans = days_of_book(lives, _usual(settings), as_of, settings.window_days)
    caution = say(f"cautions.handling.{settings.group}") if settings.group else ""
    until = None if ahead is None else as_of + timedelta(days=ahead - 1)
    found = [
        entry
        for life in lives
        for entry in due_of(life, spans, as_of, window=settings.window_days, bursts=settings.group in _BURSTING)
        if until is None or entry.first <= until.isoformat()
    ]
    found.sort(key=lambda entry: (TASKS.index(entry.task), not entry.late, entry.first, entry.cross))
    return DueList(
        as_of=as_of.isoformat(),
        until="" if until is None else until.isoformat(),
        due=found,
        known=[_known(step, span) for step, span in spans.items()],
        caution=caution if any(entry.task in ON_THE_PLANT for entry in found) else "",
        invented=settings.invented,
    )


def due_of(life: Life, spans: Mapping[str, Span], as_of: date, *, window: int = 365, bursts: bool = False) -> list[Due]:
    """Return everything that is still to be done for one cross, in words; `next_steps` has the rules."""
    return [_told(life, step, as_of) for step in next_steps(life, spans, as_of, window=window, bursts=bursts)]


def _told(life: Life, step: Step, as_of: date) -> Due:
    part = "" if step.tray is None else f"-{step.tray.id}"
    return Due(
        task=step.task,
        cross=life.number or life.id[:8],
        id=f"{life.id}-{step.task}{part}",
        kind=life.kind,
        seed_parent=_correct(life.seed_parent),
        pollen_parent=_correct(life.pollen_parent),
        pairing=_pairing(life),
        where=_where(life, step),
        since=step.start.isoformat(),
        first=step.first.isoformat(),
        last=step.last.isoformat(),
        late=as_of > step.last,
        says=_says(step, as_of),
        sure=_sure(step.span) if step.span.source else "",
    )


def _pairing(life: Life) -> str:
    """Return the formula of a cross, with what else it is than one."""
    seed, pollen = _correct(life.seed_parent), _correct(life.pollen_parent)
    known = life.pollen_kind or "one"
    if known in _UNNAMED:
        known = "one" if pollen else _UNNAMED[known]
    formula = say(f"due.pollen.{known}", seed=seed, pollen=pollen)
    return formula if life.kind == CROSS_KINDS[0] else say("due.of_kind", pairing=formula, kind=life.kind)


@lru_cache(maxsize=10_000)
def _correct(name: str) -> str:
    """Return a name in correct form; the same few names come again and again."""
    return correct_form(name) if name else ""


def _where(life: Life, step: Step) -> str:
    if step.tray is not None:
        return step.tray.place or ""
    return ", ".join(part for part in (life.plant, life.place, life.marker) if part)


def _says(step: Step, as_of: date) -> str:
    """Return when a step is due: the days, or since when it is overdue, and how that compares with what is usual."""
    day, span = (as_of - step.start).days, step.span
    key = "give_up_own" if step.task == "give_up" and span.source == OWN else step.task
    last = (step.last - step.start).days
    start = spoken_date(step.start, as_of)
    why = say(f"due.why.{key}", day=day, n=span.events, first=span.first, last=last, start=start)
    if as_of <= step.last:
        return say("due.on", when=spoken_span(step.first, step.last, as_of), why=why)
    overdue = spoken_date(step.last + timedelta(days=1), as_of)
    return say("due.give_up" if step.task == "give_up" else "due.overdue", since=overdue, why=why)


def _usual(settings: Settings) -> Mapping[str, Span]:
    """Return what is usual in the group, with the days that the grower has set."""
    usual = dict(usual_days(settings.group))
    for step, last in (("swelling", settings.set_days), ("ripe", settings.hold_days)):
        if last is not None:
            usual[step] = Span(min(usual[step].first, last), last, SET)
    return usual


def _known(step: str, span: Span) -> Known:
    says = say(f"due.steps.{step}", first=span.first, last=span.last, known=_sure(span))
    return Known(step, span.first, span.last, span.events, says)


@lru_cache(maxsize=100)
def _sure(span: Span) -> str:
    key = span.source if span.source in {NO_SOURCE, SET, OWN} else "published"
    return say(f"due.known.{key}", n=span.events, source=span.source)
