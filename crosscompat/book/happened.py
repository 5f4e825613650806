"""What happened to records: who wrote, corrected or took back what, and when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from crosscompat.book.records import (
    KINDS,
    Cross,
    Determination,
    Emergence,
    Finding,
    Flowering,
    Loss,
    Observation,
    Plant,
    Pollen,
    PollenLot,
    Pollination,
    Proof,
    Record,
    SeedLot,
    Sowing,
)
from crosscompat.book.store import Reading, Version

__all__ = ["Touch", "records_ever_of", "touches"]

_OF_A_CROSS = (Pollination, Observation, SeedLot, Sowing, Loss, Proof)
_OF_A_PLANT = (Determination, Finding, Flowering, PollenLot)


@dataclass(frozen=True, slots=True)
class Touch:
    """What a change did to one record.

    Attributes
    ----------
    how : str
        ``written``, ``corrected``, ``taken back`` or ``put back``.
    before, after : Record or None
        As it stood, and as it stood then.
    """

    how: str
    before: Record | None
    after: Record | None

    @property
    def record(self) -> Record:
        """The record, as it stood last."""
        found = self.after or self.before
        if found is None:
            raise ValueError(self.how)
        return found


def touches(page: Reading, changes: Collection[int], only: Collection[str] | None = None) -> Mapping[int, list[Touch]]:
    """Return what some changes did, change by change; only to some records, if those are given."""
    found: dict[int, list[Touch]] = defaultdict(list)
    for kind in KINDS.values():
        touched = (
            set(only or ()) if only is not None else {one.record.id for one in page.versions(kind, change=changes)}
        )
        by_record: dict[str, list[Version]] = defaultdict(list)
        for version in page.versions(kind, record=touched) if touched else ():
            by_record[version.record.id].append(version)
        for versions in by_record.values():
            for change in changes:
                touch = _touch(versions, change)
                if touch is not None:
                    found[change].append(touch)
    return {change: found[change] for change in changes}


def _touch(versions: list[Version], change: int) -> Touch | None:
    after = next((one.record for one in versions if one.made_in == change), None)
    before = next((one.record for one in versions if one.replaced_in == change), None)
    if after is None:
        return None if before is None else Touch("taken back", before, None)
    if before is not None:
        return Touch("corrected", before, after)
    earlier = any(one.made_in < change for one in versions)
    return Touch("put back" if earlier else "written", None, after)


def records_ever_of(page: Reading, record: Cross | Plant) -> set[str]:
    """Return the identifiers of all that was ever written of a cross or a plant, itself included."""
    kinds, field = (_OF_A_CROSS, "cross") if isinstance(record, Cross) else (_OF_A_PLANT, "plant")
    found = {record.id}
    for kind in kinds:
        found |= _ever(page, kind, {field: record.id})
    if isinstance(record, Cross):
        for below, pointing in ((Pollen, "pollination"), (Emergence, "sowing")):
            found |= _ever(page, below, {pointing: tuple(found)})
    return found


def _ever(page: Reading, kind: type[Record], where: Mapping[str, Any]) -> set[str]:
    return {version.record.id for version in page.versions(kind, **where)}
