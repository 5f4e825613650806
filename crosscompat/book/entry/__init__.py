"""Whether what was written can be true, judged over all of it and before it holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

from crosscompat.book.cross_summary import CrossRecords, cross_records, totals
from crosscompat.book.crosses import count_arrays, impossible
from crosscompat.book.current_plants import parents_of_crosses
from crosscompat.book.records import UNCHECKED, Cross, Plant
from crosscompat.book.store import Reading
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say


def impossibilities(whole: CrossRecords, today: date, most_seeds: int | None = None) -> list[str]:
    """Return every reason why what was written of a cross cannot all be true; what is unknown contradicts nothing."""
    overall = [what for _, _, what in impossible(count_arrays([totals(whole)]))]
    return [*overall, *_pods(whole), *_seed(whole, most_seeds), *_trays(whole), *_proofs(whole), *_days(whole, today)]


def _pods(whole: CrossRecords) -> Iterator[str]:
    counts = totals(whole)
    dropped, held = sum(whole.counted("pods_dropped")), counts["pods_held"] or 0
    of = "units" if counts["pods_set"] is None else "pods_set"
    limit = counts[of]
    if dropped and limit is not None and dropped + held > limit:
        yield say("counts.dropped", dropped=dropped, held=held, of=say(f"crosses.counts.{of}"), limit=limit)


def _seed(whole: CrossRecords, most_seeds: int | None) -> Iterator[str]:
    for lot in whole.lots:
        name, sown = lot.name or say("counts.lot"), sum(tray.seeds or 0 for tray in whole.trays if tray.lot == lot.id)
        held = lot.filled if lot.seeds is None else lot.seeds
        if held is None:
            continue
        if lot.filled is not None and lot.filled > held:
            yield say("counts.filled", lot=name, filled=lot.filled, seeds=held)
        if lot.left is not None and lot.left > held:
            yield say("counts.left", lot=name, left=lot.left, held=held)
        if sown > held:
            yield say("counts.sown", lot=name, sown=sown, held=held)
        if most_seeds and lot.pods is not None and held > most_seeds * lot.pods:
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
        yield say("counts.future", day=spoken_date(day, today))
    for day in sorted({day for day in later if day < first}):
        yield say("counts.before", day=spoken_date(day, today), first=spoken_date(first, today))
    harvested = {lot.id: lot.date for lot in whole.lots}
    sown = {tray.id: tray.date for tray in whole.trays}
    steps = [("sown_before", tray.date, harvested.get(tray.lot or "")) for tray in whole.trays]
    steps += [("seen_before", look.date, sown.get(look.sowing)) for look in whole.looks]
    steps += [("lost_before", loss.date, sown.get(loss.sowing or "")) for loss in whole.losses]
    for key, day, since in steps:
        if day is not None and since is not None and day < since:
            yield say(f"counts.{key}", day=spoken_date(day, today), since=spoken_date(since, today))


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
    before = _faults(page, ids, bounds)
    yield
    reasons = [fault for whose, fault in _faults(page, ids, bounds) if (whose, fault) not in before]
    if reasons:
        raise WrongUse(" ".join([say("counts.refused"), *dict.fromkeys(reasons), advice]).strip())


def _faults(page: Reading, crosses: Iterable[str], bounds: Bounds) -> list[tuple[str, str]]:
    """Return what cannot be true of plants, and of each of some crosses as they stand."""
    found = [("", say("counts.own_ancestor", plant=name)) for name in own_ancestors(page)]
    for cross in filter(None, (page.find(Cross, id=one) for one in crosses)):
        whole = cross_records(page, cross)
        found += [(cross.id, fault) for fault in impossibilities(whole, bounds.today, bounds.most_seeds)]
    return found


def own_ancestors(page: Reading) -> list[str]:
    """Return the names of plants that would be raised from a cross of their own or of their offspring."""
    raised = {plant.id: plant for plant in page.current(Plant) if plant.cross is not None}
    sides = parents_of_crosses(page) if raised else {}
    parents = {
        one: {parent for parent, _ in sides.get(plant.cross or "", ()) if parent} for one, plant in raised.items()
    }
    return [plant.name for one, plant in raised.items() if one in _ancestors(one, parents)]


def _ancestors(plant: str, parents: Mapping[str, set[str]]) -> set[str]:
    found: set[str] = set()
    generation = parents.get(plant, set())
    while generation:
        found |= generation
        generation = {parent for one in generation for parent in parents.get(one, ())} - found
    return found
