"""All that was written of one cross, as it stands."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crosscompat.book.records import (
    Cross,
    Emergence,
    Loss,
    Observation,
    Pollen,
    Pollination,
    Proof,
    Record,
    SeedLot,
    Sowing,
)
from crosscompat.book.store import Reading

__all__ = ["Whole", "cross_of", "whole_of"]


@dataclass(frozen=True, slots=True)
class Whole:
    """A cross with everything that belongs to it."""

    cross: Cross
    visits: tuple[Pollination, ...] = ()
    pollen: tuple[Pollen, ...] = ()
    counts: tuple[Observation, ...] = ()
    lots: tuple[SeedLot, ...] = ()
    trays: tuple[Sowing, ...] = ()
    looks: tuple[Emergence, ...] = ()
    losses: tuple[Loss, ...] = ()
    proofs: tuple[Proof, ...] = ()

    @property
    def records(self) -> tuple[Record, ...]:
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

    def looks_at(self, tray: Sowing) -> list[Emergence]:
        """Return the looks at one tray."""
        return [look for look in self.looks if look.sowing == tray.id]


def whole_of(page: Reading, cross: Cross) -> Whole:
    """Return everything that stands of a cross."""
    visits = page.current(Pollination, cross=cross.id)
    trays = page.current(Sowing, cross=cross.id)
    return Whole(
        cross,
        visits,
        page.current(Pollen, pollination=tuple(visit.id for visit in visits)),
        page.current(Observation, cross=cross.id),
        page.current(SeedLot, cross=cross.id),
        trays,
        page.current(Emergence, sowing=tuple(tray.id for tray in trays)),
        page.current(Loss, cross=cross.id),
        page.current(Proof, cross=cross.id),
    )


def cross_of(page: Reading, record: Record) -> str | None:
    """Return the identifier of the cross that a record belongs to, or None."""
    if isinstance(record, Cross):
        return record.id
    if isinstance(record, Pollen):
        visit = page.find(Pollination, id=record.pollination)
        return visit.cross if visit else None
    if isinstance(record, Emergence):
        tray = page.find(Sowing, id=record.sowing)
        return tray.cross if tray else None
    belongs = isinstance(record, Pollination | Observation | SeedLot | Sowing | Loss | Proof)
    return getattr(record, "cross", None) if belongs else None
