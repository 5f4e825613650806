"""What was seen of a cross, as records."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, TypeVar

from crosscompat.book import records
from crosscompat.book.cross_summary import CrossRecords, cross_records
from crosscompat.book.entry import Bounds, validated
from crosscompat.book.numbers_and_names import SHORTEST, plain
from crosscompat.book.records import Record
from crosscompat.book.store import Writing
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

_R = TypeVar("_R", records.SeedLot, records.Sowing)
_Counted = tuple[date | None, int, Record]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """All that one look at a cross may have shown; what is None was not looked at.

    Pods swelling and ripe, and the ``highest`` number of seedlings, are counted in all so far, those dropped since the
    last look. Cross and day of ``harvest`` and ``sown`` are those of the look; the lot sown from is named as on the
    packet. ``over`` is the last stage that is over, ``doubtful`` why it is not sure that this was seen on this cross.
    """

    swelling: int | None = None
    dropped: int | None = None
    ripe: int | None = None
    harvest: records.SeedLot | None = None
    only_good: bool = False
    sown: records.Sowing | None = None
    up: int | None = None
    highest: int | None = None
    tray: str | None = None
    lost: str | None = None
    against: str | None = None
    proof: str | None = None
    by_what: str | None = None
    over: str | None = None
    note: str | None = None
    doubtful: str | None = None


def observe(pen: Writing, cross: records.Cross, seen: Seen, day: date, who: str | None, bounds: Bounds) -> list[Record]:
    """Write down what was seen of a cross on a day, and return what was written.

    Raises
    ------
    WrongUse
        If it cannot be so, with every reason, or a lot or tray is not there; the transaction must end then.
    """
    added, now = _records_seen(cross_records(pen, cross), seen, day, who)
    changed = [now] if now != cross else []
    with validated(pen, [cross.id], bounds, advice=say("observe.correct_advice")):
        pen.add(*added)
        pen.replace(*changed)
    return [*added, *changed]


def surprises(whole: CrossRecords, seen: Seen, day: date) -> list[str]:
    """Return what was said otherwise before, as questions to the grower.

    Examples
    --------
    >>> cross = records.Cross(number="26-01")
    >>> none = records.Observation(id="abcdef01", cross=cross.id, what="pods_set", count=0, date=date(2026, 5, 9))
    >>> surprises(CrossRecords(cross, counts=(none,)), Seen(swelling=2), date(2026, 5, 12))[0].split(" If ")[0]
    'On 9 May no pod had set. Has one swollen since?'
    """
    return [*_of_pods(whole, seen, day), *_of_seedlings(whole, seen, day), *_of_the_end(whole, seen, day)]


def _of_pods(whole: CrossRecords, seen: Seen, day: date) -> Iterator[str]:
    """Yield where the pods of all so far would not grow from day to day."""
    for what, given in (("pods_set", seen.swelling), ("pods_held", seen.ripe)):
        if given is None:
            continue
        before, after = _around([(one.date, one.count, one) for one in whole.counts if one.what == what], day)
        if given and before and not any(count for _, count, _ in before):
            yield say(f"observe.none_before.{what}", day=_on(before[-1][0]), record=before[-1][2].id[:8])
        questions = list(_against(what, given, before[-1:], after[:1]))
        taken = sum(lot.pods or 0 for lot in whole.lots if (lot.date or day) <= day) if what == "pods_held" else 0
        yield from questions or ([say("observe.fewer.taken", n=taken, now=given)] if given < taken else [])


def _of_seedlings(whole: CrossRecords, seen: Seen, day: date) -> Iterator[str]:
    """Yield where the highest number that ever stood in a tray would not grow from day to day."""
    if seen.highest is None or seen.sown is not None:
        return
    tray = _which(whole.trays, seen.tray, "tray", "place")
    looks = whole.looks_at(tray) if tray is not None else []
    before, after = _around([(one.date, n, one) for one in looks if (n := one.highest) is not None], day)
    seen_up, _ = _around([(one.date, n, one) for one in looks if (n := one.up) is not None], day)
    most = sorted([*before[-1:], *seen_up], key=lambda look: look[1])[-1:]
    yield from _against("highest", seen.highest, most, after[:1])


def _of_the_end(whole: CrossRecords, seen: Seen, day: date) -> Iterator[str]:
    """Yield where something is seen of what was called lost or over."""
    anything = any((seen.swelling, seen.ripe, seen.harvest and seen.harvest.pods, seen.up, seen.highest))
    lost = [loss for loss in whole.losses if loss.sowing is None and (loss.date or day) <= day]
    if lost and anything:
        yield say("observe.lost_before", cause=lost[-1].cause)
    if whole.cross.closed_stage is not None and seen.swelling:
        yield say("observe.over_before", stage=whole.cross.closed_stage)


def _around(counts: Iterable[_Counted], day: date) -> tuple[list[_Counted], list[_Counted]]:
    """Return the counts up to a day and those after it, each in the order of their days."""
    ordered = sorted(counts, key=lambda one: one[0] or date.min)
    at = bisect_right(ordered, day, key=lambda one: one[0] or date.min)
    return ordered[:at], ordered[at:]


def _against(what: str, given: int, before: Sequence[_Counted], after: Sequence[_Counted]) -> Iterator[str]:
    """Yield that the count before is higher, or the next one lower, where all so far are counted."""
    beside = [("fewer", one) for one in before if one[1] > given] + [
        ("fewer_later", one) for one in after if one[1] < given
    ]
    for how, (day, n, record) in beside:
        yield say(f"observe.{how}.{what}", day=_on(day), n=n, now=given, record=record.id[:8])


def _on(day: date | None) -> str:
    return spoken_date(day, today()) if day else say("observe.once")


def _records_seen(whole: CrossRecords, seen: Seen, day: date, who: str | None) -> tuple[list[Record], records.Cross]:
    """Return the records that say what was seen, and the cross as it stands then."""
    cross = whole.cross.id
    counts = (("pods_set", seen.swelling), ("pods_dropped", seen.dropped), ("pods_held", seen.ripe))
    added: list[Record] = [
        records.Observation(cross=cross, date=day, what=what, count=count, by=who)
        for what, count in counts
        if count is not None
    ]
    lots, trays = list(whole.lots), list(whole.trays)
    if seen.harvest is not None:
        _refuse_known("lot", seen.harvest.name, [lot.name for lot in lots])
        lots.append(replace(seen.harvest, cross=cross, date=day, **_good_seeds(seen)))
        added.append(lots[-1])
    if seen.sown is not None:
        lot = _which(lots, seen.sown.lot, "lot", "name")
        _refuse_known("tray", seen.sown.place, [tray.place for tray in trays])
        trays.append(replace(seen.sown, cross=cross, date=day, lot=lot.id if lot else None))
        added.append(trays[-1])
    added += _after_sowing(cross, seen, trays, day)
    return _with_notes(added, whole.cross, seen, day)


def _good_seeds(seen: Seen) -> dict[str, Any]:
    """Return the counts of seed where the good ones alone were counted: how many there were in all is unknown then."""
    if not seen.only_good or seen.harvest is None:
        return {}
    seeds, filled = seen.harvest.seeds, seen.harvest.filled
    if seeds is not None and filled is not None:
        raise WrongUse(say("observe.only_good"))
    return {"seeds": None, "filled": seeds if filled is None else filled}


def _refuse_known(what: str, name: str | None, known: Iterable[str | None]) -> None:
    if name and plain(name) in {plain(other or "") for other in known}:
        raise WrongUse(say(f"observe.{what}_there", name=name))


def _after_sowing(cross: str, seen: Seen, trays: Sequence[records.Sowing], day: date) -> Iterator[Record]:
    looked = seen.up is not None or seen.highest is not None
    tray = _which(trays, seen.tray, "tray", "place") if looked or (seen.lost and seen.tray) else None
    if looked and tray is None:
        raise WrongUse(say("observe.no_tray"))
    if looked and tray is not None:
        yield records.Emergence(sowing=tray.id, date=day, up=seen.up, highest=seen.highest)
    if seen.lost is not None:
        sowing = tray.id if tray and seen.tray else None
        yield records.Loss(cross=cross, sowing=sowing, date=day, cause=seen.lost, against=seen.against or "unsure")
    if seen.proof is not None:
        yield records.Proof(cross=cross, date=day, verdict=seen.proof, by_what=seen.by_what)


def _which(known: Sequence[_R], text: str | None, what: str, name: str) -> _R | None:
    """Return the lot or tray meant: by its name or the beginning of its identifier, else the only one."""
    names = ", ".join(getattr(one, name) or one.id[:8] for one in known)
    if text is None:
        if len(known) > 1:
            raise WrongUse(say(f"observe.which_{what}", names=names))
        return known[0] if known else None
    found = [one for one in known if plain(getattr(one, name) or "") == plain(text)]
    if not found and len(text) >= SHORTEST:
        found = [one for one in known if one.id.startswith(text.casefold())]
    if len(found) != 1:
        raise WrongUse(say(f"observe.unknown_{what}", name=text, names=names or say("observe.none")))
    return found[0]


def _with_notes(added: list[Record], cross: records.Cross, seen: Seen, day: date) -> tuple[list[Record], records.Cross]:
    """Put the note on what was written first, else on the cross; what is doubtful makes the cross so."""
    doubtful = say("observe.doubtful", why=seen.doubtful) if seen.doubtful else ""
    note = "; ".join(text for text in (seen.note, doubtful) if text)
    if note and added:
        added[0] = replace(added[0], note=note)  # type: ignore[call-arg]
    elif seen.note:
        cross = replace(cross, note=_joined(cross.note, f"{day.isoformat()}: {seen.note}"))
    if seen.doubtful:
        cross = replace(cross, doubt=_joined(cross.doubt, f"{day.isoformat()}: {seen.doubtful}"))
    return added, replace(cross, closed_stage=seen.over or cross.closed_stage)


def _joined(old: str | None, new: str) -> str:
    return f"{old}; {new}" if old else new
