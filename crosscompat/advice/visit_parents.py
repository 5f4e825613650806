"""Who takes part in a visit: looked up in the book, told by stored pollen, or by the cross that is continued."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crosscompat.advice.visit_request import VisitRequest
from crosscompat.advice.visit_sides import Bench, Found, find_side, genus_for, nearest_names
from crosscompat.book import records
from crosscompat.book.find_records import find_cross
from crosscompat.book.numbers import Pattern
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.wording import say

__all__ = ["VisitParents", "parents_in"]

_WITHOUT_NAMES = ("open", "self", "sib", "none")


@dataclass(frozen=True, slots=True)
class VisitParents:
    """Who takes part in a visit.

    Attributes
    ----------
    seed : Found
    pollen : tuple of Found
        The seed parent itself where it is selfed on purpose; empty where nobody knows.
    kind : str
        One of ``crosses.POLLEN_KINDS``.
    lot : records.PollenLot or None
        Where the pollen was stored.
    continues : records.Cross or None
        The cross that was named.
    """

    seed: Found
    pollen: tuple[Found, ...]
    kind: str
    lot: records.PollenLot | None
    continues: records.Cross | None


def parents_in(
    collection: Collection, page: Reading, bench: Bench, request: VisitRequest, pattern: Pattern
) -> VisitParents:
    """Find who takes part in a visit.

    Raises
    ------
    UnknownName
        If the cross or the pollen lot is not known.
    WrongUse
        If the cross or the lot named is of other parents.
    """
    continues = find_cross(page, request.cross, pattern) if request.cross else None
    lot = _lot(page, request.lot) if request.lot else None
    seed = _seed(collection, page, bench, request, continues)
    names = request.pollen or _pollen_meant(page, request, lot, continues)
    genus = genus_for(seed)
    kind = request.kind or ("none" if request.left_alone else None) or _kind_meant(page, names, continues)
    pollen = tuple(find_side(collection, bench, name, genus) for name in names)
    if kind == "self":
        pollen = (seed,)
    if lot is not None and lot.plant is not None and [one.id for one in pollen] != [lot.plant]:
        raise WrongUse(say("pollinate.other_lot", lot=lot.name))
    return VisitParents(seed, pollen, kind, lot, continues)


def _lot(page: Reading, name: str) -> records.PollenLot:
    known = page.current(records.PollenLot)
    found = [lot for lot in known if lot.name == name.strip()]
    if not found:
        near = nearest_names(name, [lot.name for lot in known])
        hint = say("labels.nearest", numbers=", ".join(near)) if near else ""
        raise UnknownName(f"{say('pollinate.unknown_lot', name=name)} {hint}".strip(), name, near)
    return found[-1]


def _seed(
    collection: Collection, page: Reading, bench: Bench, request: VisitRequest, continues: records.Cross | None
) -> Found:
    if request.seed is None and continues is None:
        raise WrongUse(say("pollinate.no_seed"))
    if continues is None:
        return find_side(collection, bench, request.seed or "")
    own = _plant_name(page, continues.seed_plant) or continues.seed_parent or ""
    seed = find_side(collection, bench, own)
    if request.seed is not None:
        given = find_side(collection, bench, request.seed)
        if (given.id, given.written) != (seed.id, seed.written):
            raise WrongUse(say("pollinate.other_seed", cross=continues.number or continues.id, seed=own))
    return seed


def _pollen_meant(
    page: Reading, request: VisitRequest, lot: records.PollenLot | None, continues: records.Cross | None
) -> tuple[str, ...]:
    """Return the pollen parents that a lot or a cross tells, where none were named."""
    if lot is not None:
        name = _plant_name(page, lot.plant) or lot.species
        if name is None:
            raise WrongUse(say("pollinate.whose_lot", lot=lot.name))
        return (name,)
    if continues is None or request.kind is not None or request.left_alone:
        return ()
    visit = page.find(records.Pollination, cross=continues.id)
    brought = page.current(records.Pollen, pollination=visit.id) if visit else ()
    if visit is not None and visit.pollen_kind == "self":
        return ()
    return tuple(name for one in brought if (name := _plant_name(page, one.plant) or one.name))


def _kind_meant(page: Reading, names: Sequence[str], continues: records.Cross | None) -> str:
    visit = page.find(records.Pollination, cross=continues.id) if continues is not None else None
    if visit is not None and visit.pollen_kind in _WITHOUT_NAMES and not names:
        return visit.pollen_kind
    return "one" if len(names) == 1 else "several"


def _plant_name(page: Reading, plant: str | None) -> str | None:
    found = page.find(records.Plant, id=plant) if plant else None
    return found.name if found else None
