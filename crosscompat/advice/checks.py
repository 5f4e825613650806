"""What came of the checks: parents tried with a partner known to be good, and flowers bagged and left alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crosscompat.book.crosses import Cross, recorded_by
from crosscompat.book.records import CROSS_KINDS
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import correct_form, genus_of
from crosscompat.ground.wording import say

__all__ = ["CheckTold", "checks_of"]

_CROSS, _SEED, _POLLEN, _ALONE = CROSS_KINDS
_WORDS = {_SEED: "seed", _POLLEN: "pollen", _ALONE: "alone"}


@dataclass(frozen=True, slots=True)
class CheckTold:
    """One check and what it says of the parent it was made for.

    Attributes
    ----------
    cross : str
        Its number.
    kind : str
        One of ``CROSS_KINDS`` but the first.
    parent : str
        The plant that was checked, or its species for want of one.
    units, set : int or None
        Flowers, and how many set.
    says : str
        In plain words.
    """

    cross: str
    kind: str
    parent: str
    units: int | None
    set: int | None
    says: str


def checks_of(collection: Collection, as_of: date) -> list[CheckTold]:
    """Return the checks of a collection that were recorded by some day, in the order of the book.

    Flowers to which no pollen was brought were left alone, whatever they were called.
    """
    return [_told(cross) for cross in collection.crosses if _kind(cross) != _CROSS and recorded_by(cross, as_of)]


def _kind(cross: Cross) -> str:
    return _ALONE if cross.kind == _CROSS and cross.pollen_kind == "none" else cross.kind


def _told(cross: Cross) -> CheckTold:
    kind = _kind(cross)
    of_pollen = kind == _POLLEN
    plant, species = (cross.pollen_plant, cross.pollen_parent) if of_pollen else (cross.seed_plant, cross.seed_parent)
    units = cross.units or cross.tried
    pods = cross.pods_set if cross.pods_set is not None else cross.took
    key = "open" if pods is None else ("some" if pods else "none")
    parent = plant or correct_form(species or "", genus_of(cross.seed_parent))
    counted = say("checks.of", set=pods or 0, units=units) if units else say("checks.set", set=pods or 0)
    says = say(f"checks.{_WORDS[kind]}.{key}", parent=parent, counted=counted)
    return CheckTold(cross.number, kind, parent, units, pods, says)
