"""The crosses that were made, whatever came of them, and what checks of single parents say."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crosscompat.advice.predict import clones_on_both_sides
from crosscompat.book.crosses import Cross, recorded_by
from crosscompat.book.placing import placed
from crosscompat.book.records import CROSS_KINDS, SELFED
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import correct_form, genus_of
from crosscompat.ground.wording import say
from crosscompat.model.training_set import TrainingSet, fruitful

# Left out of a fit, and yet crosses of their pairing.
_ALSO_MADE = ("selfed", "not_recorded", "not_finished", "lost", "unknown_outcome")
_CROSS, _SEED, _POLLEN, _ALONE = CROSS_KINDS
_WORDS = {_SEED: "seed", _POLLEN: "pollen", _ALONE: "alone"}


@dataclass(frozen=True, slots=True)
class Made:
    """A cross of two parents by the plain brush.

    Attributes
    ----------
    cross : Cross
    seed, pollen : str
        Labels of the tree.
    at : int or None
        Its place among the evidence; None if its outcome is not known there.
    clones : tuple of two str or None
        Of the seed plant and of the pollen plant.
    """

    cross: Cross
    seed: str
    pollen: str
    at: int | None
    clones: tuple[str | None, str | None]


def crosses_made(collection: Collection, evidence: TrainingSet) -> list[Made]:
    """Return the crosses that were made of two parents with a place on the tree, oldest first.

    The evidence is that of all crosses of the collection.
    """
    outcomes = evidence.outcomes.known.tolist()
    entered = zip(evidence.crosses, evidence.seed, evidence.pollen, outcomes, strict=True)
    found = [(cross, seed, pollen, at if known else None) for at, (cross, seed, pollen, known) in enumerate(entered)]
    others = [left.cross for left in evidence.left_out if left.reason in _ALSO_MADE]
    places = placed(collection.index, [(cross.seed_parent, cross.pollen_parent) for cross in others])
    found += [(cross, str(seed), str(pollen), None) for cross, (seed, pollen) in zip(others, places, strict=True)]
    clones = clones_on_both_sides(collection.plants, [entry[0] for entry in found])
    made = [Made(*entry, both) for entry, both in zip(found, zip(*clones, strict=True), strict=True)]
    return sorted(made, key=lambda one: (one.cross.date, one.cross.row))


def agree(ours: tuple[str | None, str | None], theirs: tuple[str | None, str | None]) -> bool:
    """Tell whether two pairs of clones may be the same, one that is not named being any.

    Examples
    --------
    >>> agree(("A", None), ("A", "B")), agree(("A", "C"), ("A", "B"))
    (True, False)
    """
    return all(a is None or b is None or a == b for a, b in zip(ours, theirs, strict=True))


def units_of(cross: Cross) -> int:
    """Return how many flowers a cross had; one for want of a count, as in a fit.

    Examples
    --------
    >>> units_of(Cross(date(2024, 5, 1), "A", "B", units=3)), units_of(Cross(date(2024, 5, 1), "A", "B"))
    (3, 1)
    """
    return cross.tried or cross.units or 1


def over_by(cross: Cross, day: date) -> bool:
    """Tell whether the book knew on some day how a cross had ended; without a date of recording it always did.

    Examples
    --------
    >>> from datetime import datetime
    >>> none_held = Cross(date(2024, 5, 1), "A", "B", pods_held=0, recorded_at=datetime(2024, 8, 2))
    >>> over_by(none_held, date(2024, 7, 31)), over_by(none_held, date(2024, 8, 2))
    (False, True)
    """
    ended = fruitful(cross) is not None or cross.lost_to is not None or cross.proof == SELFED
    return ended and recorded_by(cross, day)


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
    return [_check(cross) for cross in collection.crosses if _kind(cross) != _CROSS and recorded_by(cross, as_of)]


def _kind(cross: Cross) -> str:
    return _ALONE if cross.kind == _CROSS and cross.pollen_kind == "none" else cross.kind


def _check(cross: Cross) -> CheckTold:
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
