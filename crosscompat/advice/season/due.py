"""What to look at this week: each cross where it stands, and what comes next for it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Literal

from crosscompat.book.records import CROSS_KINDS, SeedLot
from crosscompat.book.timelines import NO_SOURCE, OWN, SET, Life, Span, Tray, days_of_book, usual_days
from crosscompat.collection.settings import Settings
from crosscompat.ground.dates import spoken_date, spoken_span
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.stages import STAGES

TASKS = ("swelling", "check", "left_alone", "bag", "ripe", "harvest", "sow", "count", "give_up", "tell")
ON_THE_PLANT = TASKS[: TASKS.index("sow")]

_FIRST_LOOK = dict(zip(CROSS_KINDS, ("swelling", "check", "check", "left_alone"), strict=True))
# Full-size fruit turns colour in two to three weeks or much less, and bursts a day later: a grower's report.
_BAG_BEFORE = 14
_LOOK_AGAIN = 14  # common practice, no source, as is the next
_SOON = 3
_BURSTING = ("spurge",)
_correct = lru_cache(maxsize=10_000)(correct_form)
_UNNAMED = {"one": "unknown", "sib": "sib"}
"""What pollen of one plant is called where nobody knows of which."""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do with a cross, between two days, and how long that takes from the day where it starts."""

    task: str
    start: date
    first: date
    last: date
    span: Span
    tray: Tray | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to do, between the days ``first`` and ``last``, which are counted from ``since``.

    ``cross`` is its number, or the start of its identifier; by its ``id`` the same thing is found again, whenever it is
    asked. ``where`` says plant, place and marker, of seedlings the tray's place; ``sure`` how it is known that it takes
    so long, blank where nothing is expected, but was left undone.
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
    """What is due until some day, by task, the late ones first; a caution where a plant has to be touched."""

    as_of: str
    until: str
    due: list[Due]
    known: list[Known]
    caution: str
    invented: bool
    schema: Literal["crosscompat.due/1"] = "crosscompat.due/1"


def due_list(lives: Sequence[Life], settings: Settings, as_of: date, *, ahead: int | None = 7) -> DueList:
    """Return what is to be looked at in so many days ahead, today included; without them, all that can be foreseen."""
    usual = dict(usual_days(settings.group))
    for step, last in (("swelling", settings.set_days), ("ripe", settings.hold_days)):
        if last is not None:
            usual[step] = Span(min(usual[step].first, last), last, SET)
    spans = days_of_book(lives, usual, as_of, settings.window_days)
    until = None if ahead is None else (as_of + timedelta(days=ahead - 1)).isoformat()
    due = [
        entry
        for life in lives
        for entry in due_of(life, spans, as_of, window=settings.window_days, bursts=settings.group in _BURSTING)
        if until is None or entry.first <= until
    ]
    handles = settings.group and any(entry.task in ON_THE_PLANT for entry in due)
    return DueList(
        as_of=as_of.isoformat(),
        until=until or "",
        due=sorted(due, key=lambda entry: (TASKS.index(entry.task), not entry.late, entry.first, entry.cross)),
        known=[_known(step, span) for step, span in spans.items()],
        caution=say(f"cautions.handling.{settings.group}") if handles else "",
        invented=settings.invented,
    )


def _known(step: str, span: Span) -> Known:
    says = say(f"due.steps.{step}", first=span.first, last=span.last, known=_sure(span))
    return Known(step, span.first, span.last, span.events, says)


def due_of(life: Life, spans: Mapping[str, Span], as_of: date, *, window: int = 365, bursts: bool = False) -> list[Due]:
    """Return everything that is still to be done for one cross, as far as can be foreseen.

    ``spans`` says how many days each step takes. Of a cross older than the ``window``, in days from the brush to the
    last seedling, only the end is asked. Pods that ``bursts`` must be bagged before they are ripe.

    Notes
    -----
    Once something was harvested or sown, the rest of its pods, and flowers brushed later, are looked for within their
    days and no longer. The same holds for a second look where the first came early and saw nothing, and for bagging,
    which nobody writes down. Of a cross on a plant that died only the end is asked.
    """
    if life.over or not life.brushed:
        return []
    firm, passing = _on_the_plant(life, spans, bursts=bursts)
    wait = window if life.swelling or life.ripe else min(window, spans["ripe"].last)
    if life.died:
        wait, passing = min(wait, max((life.died - life.brushed[-1]).days, 0)), []
    if life.trays or life.lots:
        steps = [] if life.died else [step for step in (*firm, *passing) if as_of <= step.last]
        steps += [*_to_sow(life, spans, as_of), *(step for tray in life.trays for step in _of_tray(tray, spans, as_of))]
    elif firm and (as_of - life.brushed[-1]).days > wait:
        steps = [_step("tell", life.brushed[-1], Span(wait, wait))]
    else:
        steps = [*firm, *(step for step in passing if as_of <= step.last)]
    return [_due(life, step, as_of) for step in sorted(steps, key=lambda step: TASKS.index(step.task))]


def _step(task: str, start: date, span: Span, *, tray: Tray | None = None, until: date | None = None) -> Step:
    first, last = start + timedelta(days=span.first), start + timedelta(days=span.last)
    return Step(task, start, first, until or last, span, tray)


def _on_the_plant(life: Life, spans: Mapping[str, Span], *, bursts: bool) -> tuple[list[Step], list[Step]]:
    """Return what is to be done before the harvest: what stays due until it is done, and what passes by itself."""
    firm, passing = _looks(life, spans["swelling"])
    ripened = [day for day, pods in life.ripe if pods > 0]
    if ripened and not life.lots:
        days = [day for day in ripened if day is not None]
        ready = [_step("ripe", min(days), Span(0, _SOON))] if days and _open(life, "fill") else []
        return [*firm, *ready], passing
    home = [lot.pods for lot in life.lots]
    harvested = (life.pods or 0) if None in home else sum(n or 0 for n in home)  # a harvest without a count is all
    if _open(life, "hold") and (life.pods or 0) - life.dropped > harvested:
        ripe, begun = spans["ripe"], life.brushed[0]
        end = life.brushed[-1] + timedelta(days=ripe.last)
        firm = [*firm, _step("harvest", begun, ripe, until=end)]
        if bursts:
            bag = replace(ripe, first=max(ripe.first - _BAG_BEFORE, 0), last=ripe.first)
            passing = [*passing, _step("bag", begun, bag)]
    return firm, passing


def _looks(life: Life, span: Span) -> tuple[list[Step], list[Step]]:
    """Return the look for swelling that is due, or a second one where the first came early and saw nothing."""
    if not _open(life, "set"):
        return [], []
    task = _FIRST_LOOK[life.kind]
    seen = [*life.swelling, *life.ripe]

    def looked_at(brushed: date) -> bool:
        """Tell whether flowers were looked at once they could show; what swelled even earlier is of the first."""
        first = brushed == life.brushed[0]
        return any(day is None or (day - brushed).days >= span.first or (first and n > 0) for day, n in seen)

    unseen = [day for day in life.brushed if not looked_at(day)]
    if unseen:
        return [_step(task, unseen[0], span, until=unseen[-1] + timedelta(days=span.last))], []
    days = [day for day, _ in seen if day is not None]
    early = len(days) == len(seen) and (max(days) - life.brushed[-1]).days < span.last
    if early and not any(pods for _, pods in seen) and not life.dropped:
        return [], [_step(task, life.brushed[-1], replace(span, first=span.last))]
    return [], []


def _open(life: Life, stage: str) -> bool:
    """Tell whether the grower has not called a stage over."""
    return life.closed is None or [*STAGES].index(life.closed) < [*STAGES].index(stage)


def _to_sow(life: Life, spans: Mapping[str, Span], as_of: date) -> list[Step]:
    """Return the sowing of the oldest harvest that was not sown; beside other trays it passes by itself."""
    waiting = [lot.date for lot in life.lots if lot.date is not None and not _sown(life, lot)]
    found = [_step("sow", min(waiting), spans["sow"])] if waiting else []
    return [step for step in found if not life.trays or as_of <= step.last]


def _sown(life: Life, lot: SeedLot) -> bool:
    good = lot.seeds if lot.filled is None else lot.filled
    if good == 0 or lot.left == 0:
        return True
    named = [tray.lot for tray in life.trays]
    return lot.id in named or any(
        tray.lot is None and (tray.sown is None or lot.date is None or tray.sown >= lot.date) for tray in life.trays
    )


def _of_tray(tray: Tray, spans: Mapping[str, Span], as_of: date) -> Iterator[Step]:
    """Yield what a tray asks for: a look at it, until it is time to give up."""
    if tray.lost or tray.sown is None or (tray.seeds is not None and tray.up >= tray.seeds):
        return
    span = spans["last_up"]
    end = tray.sown + timedelta(days=span.last)
    seen = [day for day, _ in tray.looks if day is not None]
    if seen and max(seen) >= end:
        return
    if as_of <= end:
        start, wait = (max(seen), Span(_LOOK_AGAIN, _LOOK_AGAIN)) if seen else (tray.sown, spans["up"])
        if start + timedelta(days=wait.last) < end:
            yield _step("count", start, wait, tray=tray)
    yield _step("give_up", tray.sown, replace(span, first=span.last), tray=tray)


def _due(life: Life, step: Step, as_of: date) -> Due:
    part = "" if step.tray is None else f"-{step.tray.id}"
    where = (life.plant, life.place, life.marker) if step.tray is None else (step.tray.place,)
    return Due(
        step.task, life.number or life.id[:8], f"{life.id}-{step.task}{part}", life.kind, _correct(life.seed_parent),
        _correct(life.pollen_parent), pairing_of(life), ", ".join(filter(None, where)), step.start.isoformat(),
        step.first.isoformat(), step.last.isoformat(), as_of > step.last, _says(step, as_of),
        _sure(step.span) if step.span.source else "",
    )  # fmt: skip


def pairing_of(life: Life) -> str:
    """Return the formula of a cross, with what else it is than one."""
    seed, pollen = _correct(life.seed_parent), _correct(life.pollen_parent)
    known = life.pollen_kind or "one"
    if known in _UNNAMED:
        known = "one" if pollen else _UNNAMED[known]
    formula = say(f"due.pollen.{known}", seed=seed, pollen=pollen)
    return formula if life.kind == CROSS_KINDS[0] else say("due.of_kind", pairing=formula, kind=life.kind)


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


@lru_cache(maxsize=100)
def _sure(span: Span) -> str:
    key = span.source if span.source in {NO_SOURCE, SET, OWN} else "published"
    return say(f"due.known.{key}", n=span.events, source=span.source)
