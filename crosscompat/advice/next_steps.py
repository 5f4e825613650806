"""What a cross asks for next: the plain reckoning from its dates and from how long each step takes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from crosscompat.book.records import CROSS_KINDS, STAGES
from crosscompat.book.timelines import Life, Lot, Span, Tray

__all__ = ["ON_THE_PLANT", "TASKS", "Step", "next_steps"]

TASKS = ("swelling", "check", "left_alone", "bag", "ripe", "harvest", "sow", "count", "give_up", "tell")
ON_THE_PLANT = TASKS[: TASKS.index("sow")]

_FIRST_LOOK: Mapping[str, str] = dict(
    zip(CROSS_KINDS, ("swelling", "check", "check", "left_alone"), strict=True)
)  # what a first look is a look for, by the kind of cross
# Full-size fruit turns colour in two to three weeks or much less, and bursts a day later: a grower's report.
_BAG_BEFORE = 14
_LOOK_AGAIN = 14  # common practice, no source, as is the next
_SOON = 3


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do with a cross.

    Attributes
    ----------
    task : str
        One of ``TASKS``.
    start : date
        From which the days are counted.
    first, last : date
        Between which it is expected.
    span : Span
        How many days it takes, and how that is known.
    tray : Tray or None
    """

    task: str
    start: date
    first: date
    last: date
    span: Span
    tray: Tray | None = None


def next_steps(
    life: Life, spans: Mapping[str, Span], as_of: date, *, window: int = 365, bursts: bool = False
) -> list[Step]:
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

    Notes
    -----
    Once something was harvested or sown, the rest of its pods, and flowers brushed later, are looked for within their
    days and no longer. The same holds for a second look where the first came early and saw nothing, and for bagging,
    which nobody writes down. Of a cross on a plant that died only the end is asked.
    """
    if life.over or not life.brushed:
        return []
    sowing = [step for tray in life.trays for step in _of_tray(tray, spans, as_of)]
    in_hand = bool(life.trays or life.lots)
    firm, passing = _on_the_plant(life, spans, bursts=bursts)
    if in_hand:
        rest = [] if life.died else _still_open([*firm, *passing], as_of)
        return _in_order([*rest, *_to_sow(life, spans, as_of), *sowing])
    wait = window if life.swelling or life.ripe else min(window, spans["ripe"].last)
    if life.died:
        wait, passing = min(wait, max((life.died - life.brushed[-1]).days, 0)), []
    if firm and (as_of - life.brushed[-1]).days > wait:
        return [_step("tell", life.brushed[-1], Span(wait, wait))]
    return _in_order([*firm, *_still_open(passing, as_of)])


def _in_order(steps: list[Step]) -> list[Step]:
    return sorted(steps, key=lambda step: TASKS.index(step.task))


def _still_open(steps: list[Step], as_of: date) -> list[Step]:
    return [step for step in steps if as_of <= step.last]


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
    if _open(life, "hold") and (life.pods or 0) - life.dropped - _harvested(life) > 0:
        ripe, begun = spans["ripe"], life.brushed[0]
        end = life.brushed[-1] + timedelta(days=ripe.last)
        firm = [*firm, _step("harvest", begun, ripe, until=end)]
        if bursts:
            bag = Span(max(ripe.first - _BAG_BEFORE, 0), ripe.first, ripe.source, ripe.events)
            passing = [*passing, _step("bag", begun, bag)]
    return firm, passing


def _looks(life: Life, span: Span) -> tuple[list[Step], list[Step]]:
    """Return the look for swelling that is due, or a second one where the first came early and saw nothing."""
    if not _open(life, "set"):
        return [], []
    task = _FIRST_LOOK[life.kind]
    seen = [*life.swelling, *life.ripe]
    unseen = [day for day in life.brushed if not _looked_at(day, seen, span, first=day == life.brushed[0])]
    if unseen:
        return [_step(task, unseen[0], span, until=unseen[-1] + timedelta(days=span.last))], []
    days = [day for day, _ in seen if day is not None]
    early = len(days) == len(seen) and (max(days) - life.brushed[-1]).days < span.last
    if early and not any(pods for _, pods in seen) and not life.dropped:
        return [], [_step(task, life.brushed[-1], Span(span.last, span.last, span.source, span.events))]
    return [], []


def _looked_at(brushed: date, seen: Iterable[tuple[date | None, int]], span: Span, *, first: bool) -> bool:
    """Tell whether flowers were looked at once they could show something; what swelled even earlier is of the first."""
    return any(day is None or (day - brushed).days >= span.first or (first and pods > 0) for day, pods in seen)


def _open(life: Life, stage: str) -> bool:
    """Tell whether the grower has not called a stage over."""
    return life.closed is None or STAGES.index(life.closed) < STAGES.index(stage)


def _harvested(life: Life) -> int:
    """Return how many pods were taken home; all that had set where one harvest does not say."""
    pods = [lot.pods for lot in life.lots]
    return (life.pods or 0) if None in pods else sum(n for n in pods if n is not None)


def _to_sow(life: Life, spans: Mapping[str, Span], as_of: date) -> list[Step]:
    """Return the sowing of the oldest harvest that was not sown; beside other trays it passes by itself."""
    waiting = [lot.day for lot in life.lots if lot.day is not None and not _sown(life, lot)]
    found = [_step("sow", min(waiting), spans["sow"])] if waiting else []
    return _still_open(found, as_of) if life.trays else found


def _sown(life: Life, lot: Lot) -> bool:
    if lot.good == 0 or lot.left == 0:
        return True
    named = [tray.lot for tray in life.trays]
    return lot.id in named or any(
        tray.lot is None and (tray.sown is None or lot.day is None or tray.sown >= lot.day) for tray in life.trays
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
    yield _step("give_up", tray.sown, Span(span.last, span.last, span.source, span.events), tray=tray)
