"""What is on record of one cross, from the first visit to the last seedling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from crosscompat.book.cross_summary import CrossRecords, Units, cross_records, totals, units_of_visits
from crosscompat.book.current_plants import species_of
from crosscompat.book.history import (
    Line,
    lines_of,
)
from crosscompat.book.records import (
    Attachment,
    Cross,
    GivenForecast,
    Plant,
    Record,
)
from crosscompat.book.store import Reading


@dataclass(frozen=True, slots=True)
class Totals:
    """What the counts of a cross come to; null is unknown."""

    units: int | None
    pods_set: int | None
    pods_held: int | None
    seeds: int | None
    seeds_filled: int | None
    seeds_sown: int | None
    seedlings: int | None


@dataclass(frozen=True, slots=True)
class StoredChance:
    """The chance of at least one seedling as it was told on a day, with its 90% interval."""

    date: date
    flowers: int
    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CrossStory:
    """A cross as it stands, and what was just written of it by a ``change`` of that number.

    It is ``over`` after the last stage that the grower calls over; where there is ``doubt`` that it is the cross it is
    taken for, it teaches nothing. Units in the totals are unknown where they are of different kinds. Trays are followed
    by the looks at each.
    """

    cross: str
    id: str
    kind: str
    seed_parent: str
    pollen_parent: str
    over: str | None
    doubt: str | None
    totals: Totals
    units_by_kind: list[Units]
    visits: list[Line]
    counts: list[Line]
    lots: list[Line]
    trays: list[Line]
    losses: list[Line]
    proofs: list[Line]
    attachments: list[Line]
    chances: list[StoredChance]
    wrote: list[Line]
    change: int | None
    dry_run: bool
    invented: bool
    schema: Literal["crosscompat.observe/1"] = "crosscompat.observe/1"


def story_of(
    page: Reading,
    cross: Cross,
    *,
    wrote: Sequence[Record] = (),
    change: int | None = None,
    dry_run: bool = False,
    invented: bool = False,
) -> CrossStory:
    """Return all that stands of a cross."""
    whole = cross_records(page, cross)
    attached = page.current(Attachment, of=tuple(one.id for one in whole.every))
    line_of = {line.record: line for line in lines_of(page, (*whole.every, *attached, *wrote), of=cross.id)}
    total = totals(whole)
    seed, pollen = parents_in_words(page, whole)
    names = tuple({cross.id, cross.number} - {None})
    trays = [one for tray in whole.trays for one in (tray, *whole.looks_at(tray))]

    def lines(records: Sequence[Record]) -> list[Line]:
        return [line_of[record.id] for record in records]

    return CrossStory(
        cross=cross.number or cross.id,
        id=cross.id,
        kind=cross.kind,
        seed_parent=seed,
        pollen_parent=pollen,
        over=cross.closed_stage,
        doubt=cross.doubt,
        totals=Totals(**{name: total[name] for name in Totals.__dataclass_fields__}),
        units_by_kind=list(units_of_visits(whole.visits)),
        visits=lines(whole.visits),
        counts=lines(whole.counts),
        lots=lines(whole.lots),
        trays=lines(trays),
        losses=lines(whole.losses),
        proofs=lines(whole.proofs),
        attachments=lines(attached),
        chances=[
            StoredChance(given.date, given.flowers, given.mean, given.low, given.high)
            for given in page.current(GivenForecast, cross=names)
        ],
        wrote=lines(wrote),
        change=change,
        dry_run=dry_run,
        invented=invented,
    )


def parents_in_words(page: Reading, whole: CrossRecords) -> tuple[str, str]:
    """Return both parents of a cross: species, with the plant in brackets where it is one of the book's."""
    names = dict(page.columns(Plant, "id", "name"))
    species = species_of(page)

    def side(plant: str | None, name: str | None) -> str:
        known = name or species.get(plant or "", "")
        own = names.get(plant or "")
        return f"{known} [{own}]" if own and own != known else known

    pollen = dict.fromkeys(side(one.plant, one.name) for one in whole.pollen)
    kinds = dict.fromkeys(visit.pollen_kind for visit in whole.visits if visit.pollen_kind)
    return side(whole.cross.seed_plant, whole.cross.seed_parent), "; ".join(pollen or kinds)
