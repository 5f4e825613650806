"""What the records of a cross come to: everything written of it gathered, then its counts, then one line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from crosscompat.book import records
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import species_of
from crosscompat.book.records import FLOWERS, Pollination
from crosscompat.ground.dates import by_date
from crosscompat.ground.wording import catalogue, say
from crosscompat.stages import STAGE_COLUMNS

if TYPE_CHECKING:  # a collection that is remembered is opened without the database
    from crosscompat.book.store import Reading

_FLOWER = "flower"  # what a visit is counted in that does not say
_SINGULAR = {"": _FLOWER, "flowers": _FLOWER, "cyathia": "cyathium", "racemes": "raceme"}


@dataclass(frozen=True, slots=True)
class Units:
    """So many units of one kind; None where some of them were not counted."""

    kind: str
    count: int | None

    @property
    def words(self) -> str:
        """The count in words, in the grower's own where they are none of ours; empty where it is not known.

        Examples
        --------
        >>> Units("raceme", 2).words, Units("head", 3).words, Units("flower", None).words
        ('2 racemes', 'head: 3', '')
        """
        if self.count is None:
            return ""
        known = self.kind in catalogue("units")["kinds"]
        return say(f"units.kinds.{self.kind}" if known else "units.other", n=self.count, kind=self.kind)


def total(values: Iterable[int | None]) -> int | None:
    """Return the sum of counts of one kind, None where there is nothing to add or one of them is unknown."""
    every = list(values)
    known = [value for value in every if value is not None]
    return sum(known) if known and len(known) == len(every) else None


def units_told(kind: str | None, count: int | None) -> Units:
    """Return units by our word for their kind where there is one, else by the grower's."""
    plain = _plain(kind)
    return Units(plain if kind is None or plain in catalogue("units")["kinds"] else kind, count)


def units_of_visits(visits: Iterable[Pollination]) -> tuple[Units, ...]:
    """Return the new units of some visits, each kind by itself, in the order of their first pollen."""
    found: dict[str, list[Pollination]] = {}
    for visit in visits:
        if visit.flowers == FLOWERS[0]:
            found.setdefault(_plain(visit.unit_kind), []).append(visit)
    return tuple(units_told(alike[0].unit_kind, total(visit.units for visit in alike)) for alike in found.values())


def in_all(units: Sequence[Units]) -> int | None:
    """Return how many units there are; None where some were not counted, or they are of different kinds."""
    return units[0].count if len(units) == 1 else None


def kinds_of(visits: Sequence[Pollination]) -> str | None:
    """Return what was counted; one kind as it was written first, if it was, and several one by one."""
    kinds = [one.kind for one in units_of_visits(visits)]
    return "; ".join(kinds) if len(kinds) > 1 else _first(visit.unit_kind for visit in visits)


def in_words(units: Sequence[Units]) -> str:
    """Return the counts of different kinds one beside the other; empty where one of them is not known."""
    *most, last = [unit.words for unit in units] or [""]
    return say("units.and").join(filter(None, [", ".join(most), last])) if last and all(most) else ""


def _plain(kind: str | None) -> str:
    """Return a kind of unit whatever its case and its number."""
    word = " ".join((kind or "").split()).casefold()
    return _SINGULAR.get(word, word)


_EXPECTED = "plain"
_AS_WRITTEN = ("closed_stage", "only_successes", "source", "friend", "note", "kind")
_SILENT: Mapping[str, Any] = dict.fromkeys((*STAGE_COLUMNS, "tried", "took", "proof"))
"""What is not said of a cross that may be another: what was counted on it may belong to that one."""

PARTS: Mapping[type[records.Record], str] = {
    records.Pollination: "visits",
    records.Observation: "counts",
    records.SeedLot: "lots",
    records.Sowing: "trays",
    records.Loss: "losses",
    records.Proof: "proofs",
}
BELOW: Mapping[type[records.Record], tuple[str, str]] = {
    records.Pollen: ("pollen", "pollination"),
    records.Emergence: ("looks", "sowing"),
}


@dataclass(frozen=True, slots=True)
class CrossRecords:
    """A cross with everything that belongs to it, each part in the order in which it was first written."""

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
        return (self.cross, *(one for item in fields(self)[1:] for one in getattr(self, item.name)))

    def until(self, day: date) -> CrossRecords:
        """Return it without what was counted, sown, or lost after a day; what has no date has happened."""
        dated: dict[str, Any] = {
            name: tuple(one for one in getattr(self, name) if one.date is None or one.date <= day)
            for name in ("counts", "lots", "trays", "looks", "losses")
        }
        return replace(self, **dated)

    @property
    def first_day(self) -> date | None:
        """The day of the first pollination."""
        return min((visit.date for visit in self.visits), default=None)

    def counted(self, what: str) -> list[int]:
        """Return the counts of one kind."""
        return [one.count for one in self.counts if one.what == what]

    def looks_at(self, tray: records.Sowing) -> list[records.Emergence]:
        """Return the looks at one tray."""
        return [look for look in self.looks if look.sowing == tray.id]

    def most_up(self, tray: records.Sowing) -> int | None:
        """Return the highest number that ever stood in a tray, or None if nobody has counted."""
        seen = [n for look in self.looks_at(tray) for n in (look.up, look.highest) if n is not None]
        return max(seen, default=None)


def cross_records(page: Reading, cross: records.Cross) -> CrossRecords:
    """Return everything that stands of one cross."""
    return all_cross_records(page, cross=cross.id).get(cross.id, CrossRecords(cross))


def all_cross_records(page: Reading, **where: str) -> Mapping[str, CrossRecords]:
    """Return everything that stands of every cross, or of one ``cross``, by its identifier."""
    found: dict[str, dict[str, list[Any]]] = defaultdict(lambda: defaultdict(list))
    cross_of_part: dict[str, str] = {}
    for kind, name in PARTS.items():
        for one in page.current(kind, **where):
            cross: str = one.cross  # type: ignore[attr-defined]
            found[cross][name].append(one)
            cross_of_part[one.id] = cross
    for kind, (name, pointing) in BELOW.items():
        for one in page.current(kind, **({pointing: tuple(cross_of_part)} if where else {})):
            found[cross_of_part[getattr(one, pointing)]][name].append(one)
    crosses = page.current(records.Cross, **({"id": where["cross"]} if where else {}))
    return {one.id: CrossRecords(one, **{k: tuple(v) for k, v in found[one.id].items()}) for one in crosses}


def cross_of(page: Reading, record: records.Record) -> str | None:
    """Return the identifier of the cross that a record belongs to, or None."""
    if isinstance(record, records.Cross):
        return record.id
    if isinstance(record, records.Pollen):
        record = page.find(records.Pollination, id=record.pollination) or record
    elif isinstance(record, records.Emergence):
        record = page.find(records.Sowing, id=record.sowing) or record
    return getattr(record, "cross", None) if type(record) in PARTS else None


def totals(every: CrossRecords, trays: Sequence[records.Sowing] | None = None) -> dict[str, int | None]:
    """Return the counts of a cross along the way; None where one of the parts is unknown.

    Of the sowings some ``trays`` may count alone. That no seedling came up is only known where each was looked at.

    Examples
    --------
    >>> cross = records.Cross(number="26-01")
    >>> seen = [records.Observation(cross=cross.id, what=what, count=2) for what in ("pods_set", "pods_dropped")]
    >>> totals(CrossRecords(cross, counts=tuple(seen)))["pods_held"]
    0
    """
    sown = every.trays if trays is None else trays
    up = [n for tray in sown if (n := every.most_up(tray)) is not None]
    return {
        "units": in_all(units_of_visits(every.visits)),
        "pods_set": max(every.counted("pods_set"), default=None),
        "pods_held": _ripened(every),
        "seeds": total(lot.seeds for lot in every.lots),
        "seeds_filled": total(lot.filled for lot in every.lots),
        "seeds_sown": total(tray.seeds for tray in sown),
        "seedlings": sum(up) if any(up) or (up and len(up) == len(sown)) else None,
        "tried": max(every.counted("tried"), default=None),
        "took": max(every.counted("took"), default=None),
    }


def _ripened(every: CrossRecords) -> int | None:
    """Return the pods that ripened: those harvested or counted, or none once all that had set have dropped."""
    harvested, dropped = total(lot.pods for lot in every.lots), sum(every.counted("pods_dropped"))
    all_dropped = bool(dropped) and dropped >= max(every.counted("pods_set"), default=0)
    return max([*every.counted("pods_held"), *filter(None, [harvested])], default=0 if all_dropped else None)


def crosses_of(page: Reading, species: Mapping[str, str] | None = None) -> tuple[Cross, ...]:
    """Return every cross of a book in one line, in the order in which they were first written."""
    names = dict(page.columns(records.Plant, "id", "name"))
    species = species_of(page) if species is None else species
    times, by_name = _times(page), {names[one]: named for one, named in species.items()}
    return tuple(
        _recognised(_line(every, names, species, times.get(id_), row), by_name)
        for row, (id_, every) in enumerate(all_cross_records(page).items(), start=1)
    )


def _line(
    every: CrossRecords, names: Mapping[str, str], species: Mapping[str, str], written: datetime | None, row: int
) -> Cross:
    cross, visits = every.cross, sorted(every.visits, key=lambda visit: visit.date)
    parent, plant = pollen_parent(every.pollen, names, species)
    trays, lost_to = _spared(every)
    counts: dict[str, Any] = totals(every, trays)
    others = [visit.technique for visit in visits if visit.technique != _EXPECTED]  # which speak for the cross
    found = Cross(
        date=visits[0].date if visits else date.min,
        seed_parent=cross.seed_parent or species.get(cross.seed_plant or "") or "",
        pollen_parent=parent,
        id=cross.id,
        cross=cross.number,
        seed_plant=names.get(cross.seed_plant or ""),
        pollen_plant=plant,
        grower=_first(visit.who for visit in visits),
        pollen_kind=_first(visit.pollen_kind for visit in visits),
        technique=_first(others) or _first(visit.technique for visit in visits),
        isolation="; ".join(dict.fromkeys(visit.isolation for visit in visits if visit.isolation is not None)) or None,
        unit_kind=kinds_of(visits),
        lost_to=lost_to,
        stamens_removed=_all(visit.stamens_removed for visit in visits),
        proof=next((proof.verdict for proof in reversed(by_date(every.proofs))), None),
        recorded_at=max((at for at in (cross.recorded_at, written) if at is not None), default=None),
        date_words=visits[0].date_words if visits else None,
        row=row,
        **counts | {name: getattr(cross, name) for name in _AS_WRITTEN},
    )
    return replace(found, **_SILENT) if cross.doubt else found


def _recognised(cross: Cross, plants: Mapping[str, str]) -> Cross:
    """Take a parent that was written as a name alone for the plant that has borne that name since."""
    known: dict[str, Any] = {}
    for side, plant in (("seed_parent", "seed_plant"), ("pollen_parent", "pollen_plant")):
        name = getattr(cross, side)
        if getattr(cross, plant) is None and plants.get(name, name) != name:
            known |= {plant: name, side: plants[name]}
    return replace(cross, **known) if known else cross


def _spared(every: CrossRecords) -> tuple[Sequence[records.Sowing], str | None]:
    """Return the sowings that can still speak, and what ended the cross if nothing of it can.

    A tray that an accident took, before anything was up in it, says nothing; others of its cross still do.
    """
    lost = [loss for loss in every.losses if loss.against != "yes"]
    whole = [loss.cause for loss in lost if loss.sowing is None]
    up = {tray.id: every.most_up(tray) for tray in every.trays}
    gone = {loss.sowing: loss.cause for loss in lost if loss.sowing is not None and not up.get(loss.sowing)}
    trays = [tray for tray in every.trays if tray.id not in gone]
    if whole or (gone and not trays):
        return every.trays, [*whole, *gone.values()][0]
    return trays, None


def pollen_parent(
    pollen: Sequence[records.Pollen], names: Mapping[str, str], species: Mapping[str, str]
) -> tuple[str | None, str | None]:
    """Return the pollen parent's species and plant, each only where all the pollen agrees and is certain."""
    kinds = {one.name or species.get(one.plant or "") for one in pollen}
    plants = {names.get(one.plant or "") for one in pollen}
    if len(kinds) != 1 or any(one.certainty == "unknown" for one in pollen):
        return None, None
    return kinds.pop(), plants.pop() if len(plants) == 1 else None


def _times(page: Reading) -> Mapping[str, datetime]:
    """Return when the latest word on each cross was written down in this book."""
    cross_of_tray = dict(page.columns(records.Sowing, "id", "cross"))
    moments = [item for kind in PARTS for item in page.times(kind, "cross").items()]
    moments += [(cross_of_tray[tray], at) for tray, at in page.times(records.Emergence, "sowing").items()]
    found: dict[str, datetime] = {}
    for cross, at in moments:
        found[cross] = max(found.get(cross, at), at)
    return found


def _first(values: Iterable[Any]) -> Any:
    return next((value for value in values if value is not None), None)


def _all(values: Iterable[bool | None]) -> bool | None:
    """Return no where one says no, yes where all say yes."""
    every = set(values)
    return False if False in every else True if every == {True} else None
