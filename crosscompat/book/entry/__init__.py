"""Whether what was written can be true, judged over all of it and before it holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

from crosscompat.book.cross_summary import CrossRecords, cross_records, totals
from crosscompat.book.crosses import count_arrays, impossible
from crosscompat.book.current_plants import parents_of_crosses
from crosscompat.book.records import UNCHECKED, Cross, Plant, SeedLot
from crosscompat.book.store import Reading
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

_OF_PLANTS = ""


def impossibilities(whole: CrossRecords, today: date, most_seeds: int | None = None) -> list[str]:
    """Return every reason why what was written of a cross cannot all be true; what is unknown contradicts nothing."""
    overall = [what for _, _, what in impossible(count_arrays([totals(whole)]))]
    return [*overall, *_pods(whole), *_seed(whole, most_seeds), *_trays(whole), *_proofs(whole), *_days(whole, today)]


def _holds(lot: SeedLot) -> int | None:
    """Return how many seeds a lot held: all, or the good ones where only those were counted."""
    return lot.filled if lot.seeds is None else lot.seeds


def _pods(whole: CrossRecords) -> Iterator[str]:
    found = totals(whole)
    dropped = sum(whole.counted("pods_dropped"))
    held = found["pods_held"] or 0
    limit, of = (found["pods_set"], "pods_set") if found["pods_set"] is not None else (found["units"], "units")
    if dropped and limit is not None and dropped + held > limit:
        yield say("counts.dropped", dropped=dropped, held=held, of=say(f"crosses.counts.{of}"), limit=limit)


def _seed(whole: CrossRecords, most_seeds: int | None) -> Iterator[str]:
    for lot in whole.lots:
        name = lot.name or say("counts.lot")
        held, sown = _holds(lot), sum(tray.seeds or 0 for tray in whole.trays if tray.lot == lot.id)
        if lot.seeds is not None and lot.filled is not None and lot.filled > lot.seeds:
            yield say("counts.filled", lot=name, filled=lot.filled, seeds=lot.seeds)
        if held is not None and lot.left is not None and lot.left > held:
            yield say("counts.left", lot=name, left=lot.left, held=held)
        if held is not None and sown > held:
            yield say("counts.sown", lot=name, sown=sown, held=held)
        if most_seeds and lot.pods is not None and held is not None and held > most_seeds * lot.pods:
            yield say("counts.full_pods", lot=name, seeds=held, pods=lot.pods, most=most_seeds)


def _trays(whole: CrossRecords) -> Iterator[str]:
    own = {lot.id for lot in whole.lots}
    for tray in whole.trays:
        name, up = tray.place or say("counts.tray"), whole.most_up(tray)
        if tray.seeds is not None and up is not None and up > tray.seeds:
            yield say("counts.up", tray=name, up=up, sown=tray.seeds)
        if tray.lot is not None and tray.lot not in own:
            yield say("counts.strange_lot", tray=name)
        for look in whole.looks_at(tray):
            if look.up is not None and look.highest is not None and look.up > look.highest:
                yield say("counts.highest", tray=name, up=look.up, highest=look.highest)
    strange = {loss.sowing for loss in whole.losses} - {tray.id for tray in whole.trays} - {None}
    if strange:
        yield say("counts.strange_tray")


def _proofs(whole: CrossRecords) -> Iterator[str]:
    if totals(whole)["seedlings"] == 0 and all(whole.most_up(tray) is not None for tray in whole.trays):
        for proof in whole.proofs:
            if proof.verdict != UNCHECKED:
                yield say("counts.proof", verdict=proof.verdict)


def _days(whole: CrossRecords, today: date) -> Iterator[str]:
    first = whole.first_day
    if first is None:
        yield say("counts.no_visit")
        return
    later = [day for one in whole.every if (day := getattr(one, "date", None)) is not None]
    for day in sorted({day for day in later if day > today}):
        yield say("counts.future", day=day.isoformat())
    for day in sorted({day for day in later if day < first}):
        yield say("counts.before", day=day.isoformat(), first=first.isoformat())
    harvested = {lot.id: lot.date for lot in whole.lots}
    sown = {tray.id: tray.date for tray in whole.trays}
    steps = [("sown_before", tray.date, harvested.get(tray.lot or "")) for tray in whole.trays]
    steps += [("seen_before", look.date, sown.get(look.sowing)) for look in whole.looks]
    steps += [("lost_before", loss.date, sown.get(loss.sowing or "")) for loss in whole.losses]
    for key, day, since in steps:
        if day is not None and since is not None and day < since:
            yield say(f"counts.{key}", day=day.isoformat(), since=since.isoformat())


@dataclass(frozen=True, slots=True)
class Bounds:
    """What is possible here: nothing after today, no more seeds in a pod than it can hold."""

    today: date
    most_seeds: int | None = None


@contextmanager
def validated(page: Reading, crosses: Iterable[str], bounds: Bounds, *, advice: str = "") -> Iterator[None]:
    """Refuse what is written inside if it contradicts itself and did not before: an old contradiction stops nobody.

    Raises
    ------
    WrongUse
        With every reason; the transaction must end then.
    """
    ids = list(dict.fromkeys(crosses))
    before = _faults_by_cross(page, ids, bounds)
    yield
    after = _faults_by_cross(page, ids, bounds)
    reasons = [fault for one, faults in after.items() for fault in faults if fault not in before[one]]
    if reasons:
        raise WrongUse(" ".join([say("counts.refused"), *dict.fromkeys(reasons), advice]).strip())


def _faults_by_cross(page: Reading, crosses: Iterable[str], bounds: Bounds) -> dict[str, list[str]]:
    """Return what cannot be true of each of some crosses, as they stand, and under no cross what cannot of plants."""
    found = {_OF_PLANTS: [say("counts.own_ancestor", plant=name) for name in own_ancestors(page)]}
    for one in crosses:
        cross = page.find(Cross, id=one)
        found[one] = impossibilities(cross_records(page, cross), bounds.today, bounds.most_seeds) if cross else []
    return found


def own_ancestors(page: Reading) -> list[str]:
    """Return the names of plants that would be raised from a cross of their own or of their offspring."""
    raised = {plant.id: plant for plant in page.current(Plant) if plant.cross is not None}
    if not raised:
        return []
    sides = parents_of_crosses(page)
    parents = {
        one: {parent for parent, _ in sides.get(plant.cross or "", ()) if parent} for one, plant in raised.items()
    }
    return [plant.name for one, plant in raised.items() if one in _ancestors(one, parents)]


def _ancestors(one: str, parents: Mapping[str, set[str]]) -> set[str]:
    found: set[str] = set()
    waiting = list(parents.get(one, ()))
    while waiting:
        parent = waiting.pop()
        if parent not in found:
            found.add(parent)
            waiting += parents.get(parent, ())
    return found
