"""What the records of a book come to: each cross in one line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from typing import Any

from crosscompat.book import records
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import species_of
from crosscompat.book.dates import by_date
from crosscompat.book.outcomes import STAGE_COLUMNS
from crosscompat.book.store import Reading
from crosscompat.book.units import in_all, kinds_of, total, units_of_visits

__all__ = ["CrossRecords", "cross_of", "cross_records", "crosses_of", "ripened"]


@dataclass(frozen=True, slots=True)
class CrossRecords:
    """A cross with everything that belongs to it."""

    cross: records.Cross
    visits: tuple[records.Pollination, ...] = ()
    pollen: tuple[records.Pollen, ...] = ()
    counts: tuple[records.Observation, ...] = ()
    lots: tuple[records.SeedLot, ...] = ()
    trays: tuple[records.Sowing, ...] = ()
    looks: tuple[records.Emergence, ...] = ()
    losses: tuple[records.Loss, ...] = ()
    proofs: tuple[records.Proof, ...] = ()

    @property
    def every(self) -> tuple[records.Record, ...]:
        """Every record of it, the cross first."""
        return (self.cross, *self.visits, *self.pollen, *self.counts, *self.lots, *self.trays, *self.looks,
                *self.losses, *self.proofs)  # fmt: skip

    @property
    def first_day(self) -> date | None:
        """The day of the first pollination."""
        return min((visit.date for visit in self.visits), default=None)

    def counted(self, what: str) -> list[int]:
        """Return the counts of one kind, in the order in which they were written."""
        return [one.count for one in self.counts if one.what == what]

    def looks_at(self, tray: records.Sowing) -> list[records.Emergence]:
        """Return the looks at one tray."""
        return [look for look in self.looks if look.sowing == tray.id]


def cross_records(page: Reading, cross: records.Cross) -> CrossRecords:
    """Return everything that stands of a cross."""
    visits = page.current(records.Pollination, cross=cross.id)
    trays = page.current(records.Sowing, cross=cross.id)
    return CrossRecords(
        cross,
        visits,
        page.current(records.Pollen, pollination=tuple(visit.id for visit in visits)),
        page.current(records.Observation, cross=cross.id),
        page.current(records.SeedLot, cross=cross.id),
        trays,
        page.current(records.Emergence, sowing=tuple(tray.id for tray in trays)),
        page.current(records.Loss, cross=cross.id),
        page.current(records.Proof, cross=cross.id),
    )


def cross_of(page: Reading, record: records.Record) -> str | None:
    """Return the identifier of the cross that a record belongs to, or None."""
    if isinstance(record, records.Cross):
        return record.id
    if isinstance(record, records.Pollen):
        visit = page.find(records.Pollination, id=record.pollination)
        return visit.cross if visit else None
    if isinstance(record, records.Emergence):
        tray = page.find(records.Sowing, id=record.sowing)
        return tray.cross if tray else None
    belongs = isinstance(
        record,
        records.Pollination | records.Observation | records.SeedLot | records.Sowing | records.Loss | records.Proof,
    )
    return getattr(record, "cross", None) if belongs else None


_EXPECTED = "plain"
_SILENT: Mapping[str, Any] = dict.fromkeys((*STAGE_COLUMNS, "tried", "took", "proof"))
"""What is not said of a cross that may be another: what was counted on it may belong to that one."""
_OF_A_CROSS: tuple[type[records.Record], ...] = (
    *(records.Pollination, records.Observation, records.SeedLot),
    *(records.Sowing, records.Loss, records.Proof),
)


def crosses_of(page: Reading, species: Mapping[str, str] | None = None) -> tuple[Cross, ...]:
    """Return every cross of a book in one line, in the order in which they were first written.

    Parameters
    ----------
    page : Reading
    species : mapping of str to str, optional
        Where `bench.species_of` was asked already.
    """
    names = dict(page.columns(records.Plant, "id", "name"))
    species = species_of(page) if species is None else species
    gathered = _gathered(page)
    times = _times(page)
    return tuple(
        _cross(cross, gathered[cross.id], names, species, times.get(cross.id), row)
        for row, cross in enumerate(page.current(records.Cross), start=1)
    )


@dataclass(slots=True)
class _Gathered:
    """All that was written of one cross."""

    visits: list[records.Pollination] = field(default_factory=list)
    pollen: list[records.Pollen] = field(default_factory=list)
    counts: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    lots: list[tuple[int | None, int | None, int | None]] = field(default_factory=list)
    sown: dict[str, int | None] = field(default_factory=dict)
    up: dict[str, int] = field(default_factory=dict)
    lost: list[tuple[str | None, str]] = field(default_factory=list)
    verdict: str | None = None


def _gathered(page: Reading) -> Mapping[str, _Gathered]:
    found: dict[str, _Gathered] = defaultdict(_Gathered)
    _gather_visits(page, found)
    for cross, what, count in page.columns(records.Observation, "cross", "what", "count"):
        found[cross].counts[what].append(count)
    for cross, pods, seeds, filled in page.columns(records.SeedLot, "cross", "pods", "seeds", "filled"):
        found[cross].lots.append((pods, seeds, filled))
    _gather_trays(page, found)
    for cross, sowing, cause, against in page.columns(records.Loss, "cross", "sowing", "cause", "against"):
        if against != "yes":
            found[cross].lost.append((sowing, cause))
    for proof in by_date(page.current(records.Proof)):
        found[proof.cross].verdict = proof.verdict
    return found


def _gather_visits(page: Reading, found: Mapping[str, _Gathered]) -> None:
    cross_of = {}
    for visit in page.current(records.Pollination):
        found[visit.cross].visits.append(visit)
        cross_of[visit.id] = visit.cross
    for pollen in page.current(records.Pollen):
        found[cross_of[pollen.pollination]].pollen.append(pollen)


def _gather_trays(page: Reading, found: Mapping[str, _Gathered]) -> None:
    cross_of = {}
    for sowing, cross, seeds in page.columns(records.Sowing, "id", "cross", "seeds"):
        found[cross].sown[sowing] = seeds
        cross_of[sowing] = cross
    for sowing, *up in page.columns(records.Emergence, "sowing", "up", "highest"):
        seen = [n for n in up if n is not None]
        if seen:
            tray = found[cross_of[sowing]].up
            tray[sowing] = max(tray.get(sowing, 0), *seen)


def _cross(
    cross: records.Cross,
    all_: _Gathered,
    names: Mapping[str, str],
    species: Mapping[str, str],
    written: datetime | None,
    row: int,
) -> Cross:
    visits = sorted(all_.visits, key=lambda visit: visit.date)
    seed_plant = names.get(cross.seed_plant or "")
    seed_parent = cross.seed_parent or species.get(cross.seed_plant or "") or ""
    pollen_parent, pollen_plant = _father(all_.pollen, names, species)
    trays, lost_to = _spared(all_)
    seeds = [lot[1] for lot in all_.lots]
    found = Cross(
        date=visits[0].date if visits else date.min,
        seed_parent=seed_parent,
        pollen_parent=pollen_parent,
        id=cross.id,
        cross=cross.number,
        seed_plant=seed_plant,
        pollen_plant=pollen_plant,
        grower=_first(visit.who for visit in visits),
        pollen_kind=_first(visit.pollen_kind for visit in visits),
        technique=_technique(visits),
        isolation=_joined(visit.isolation for visit in visits),
        units=in_all(units_of_visits(visits)),
        unit_kind=kinds_of(visits),
        pods_set=max(all_.counts["pods_set"], default=None),
        pods_held=ripened(all_.counts, [lot[0] for lot in all_.lots]),
        seeds=total(seeds),
        seeds_filled=total(lot[2] for lot in all_.lots),
        seeds_sown=total(trays.values()),
        seedlings=_seedlings(trays, all_.up),
        tried=max(all_.counts["tried"], default=None),
        took=max(all_.counts["took"], default=None),
        closed_stage=cross.closed_stage,
        lost_to=lost_to,
        only_successes=cross.only_successes,
        stamens_removed=_all(visit.stamens_removed for visit in visits),
        proof=all_.verdict,
        source=cross.source,
        recorded_at=max((at for at in (cross.recorded_at, written) if at is not None), default=None),
        note=cross.note,
        kind=cross.kind,
        row=row,
    )
    return replace(found, **_SILENT) if cross.doubt else found


def _spared(all_: _Gathered) -> tuple[Mapping[str, int | None], str | None]:
    """Return the sowings that can still speak, and what ended the cross if nothing of it can.

    A tray that an accident took, before anything was up in it, says nothing; others of its cross still do.
    """
    whole = [cause for sowing, cause in all_.lost if sowing is None]
    gone = {sowing: cause for sowing, cause in all_.lost if sowing is not None and not all_.up.get(sowing)}
    trays = {sowing: seeds for sowing, seeds in all_.sown.items() if sowing not in gone}
    if whole or (gone and not trays):
        return all_.sown, (whole or list(gone.values()))[0]
    return trays, None


def _seedlings(trays: Mapping[str, int | None], up: Mapping[str, int]) -> int | None:
    """Return how many came up; none is only known where every tray was looked at."""
    counted = [up[tray] for tray in trays if tray in up]
    found = sum(counted)
    return found if found > 0 or (counted and len(counted) == len(trays)) else None


def ripened(counts: Mapping[str, Sequence[int]], pods: Iterable[int | None]) -> int | None:
    """Return the pods that ripened: those harvested or counted, or none once all that had set have dropped.

    Parameters
    ----------
    counts : mapping of str to sequence of int
        What was counted on the plant.
    pods : iterable of int or None
        Pods of each harvest.

    Examples
    --------
    >>> ripened({"pods_held": [1, 3]}, [2]), ripened({"pods_set": [2], "pods_dropped": [1, 1]}, []), ripened({}, [None])
    (3, 0, None)
    """
    harvested = total(pods) or 0
    seen = [*counts.get("pods_held", ()), *([harvested] if harvested else [])]
    if seen:
        return max(seen)
    dropped = sum(counts.get("pods_dropped", ()))
    return 0 if dropped and dropped >= max(counts.get("pods_set", ()), default=0) else None


def _father(
    pollen: Sequence[records.Pollen], names: Mapping[str, str], species: Mapping[str, str]
) -> tuple[str | None, str | None]:
    """Return the pollen parent's species and plant, each only where all the pollen agrees."""
    known = [one for one in pollen if one.certainty != "unknown"]
    kinds = {one.name or species.get(one.plant or "") for one in known}
    plants = {names.get(one.plant or "") for one in known}
    if len(known) < len(pollen) or len(kinds) != 1:
        return None, None
    return kinds.pop(), plants.pop() if len(plants) == 1 else None


def _technique(visits: Sequence[records.Pollination]) -> str | None:
    """Return the technique of all visits; one that was not plain speaks for the cross, which is then no plain one."""
    others = [visit.technique for visit in visits if visit.technique not in {None, _EXPECTED}]
    return others[0] if others else _first(visit.technique for visit in visits)


def _times(page: Reading) -> dict[str, datetime]:
    """Return when the latest word on each cross was written down in this book."""
    found: dict[str, datetime] = {}
    cross_of = dict(page.columns(records.Sowing, "id", "cross"))
    for kind in (
        records.Pollination,
        records.Observation,
        records.SeedLot,
        records.Sowing,
        records.Loss,
        records.Proof,
    ):
        _later(found, page.times(kind, "cross"))
    _later(found, {cross_of[sowing]: at for sowing, at in page.times(records.Emergence, "sowing").items()})
    return found


def _later(found: dict[str, datetime], more: Mapping[str, datetime]) -> None:
    for cross, at in more.items():
        moment = at.replace(tzinfo=UTC) if at.tzinfo is None else at
        found[cross] = max(found.get(cross, moment), moment)


def _first(values: Iterable[Any]) -> Any:
    return next((value for value in values if value is not None), None)


def _joined(values: Iterable[str | None]) -> str | None:
    return "; ".join(dict.fromkeys(value for value in values if value is not None)) or None


def _all(values: Iterable[bool | None]) -> bool | None:
    """Return no where one says no, yes where all say yes."""
    every = list(values)
    if False in every:
        return False
    return True if every and None not in every else None
