"""What stands in the way of a pairing, or makes its chance less sure than it looks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.advice.parents import Parent, hybrid_notes
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel
from crosscompat.model.likelihood import Floats

__all__ = ["Caution", "cautions", "escaping", "handling", "permits"]

_UNISEXUAL = ("dioecious", "mostly dioecious")
_FEWEST_CROSSES = 10
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to know before the brush is taken out.

    Attributes
    ----------
    kind : str
        ``sex``, ``ploidy``, ``flowering``, ``hybrid``, ``placed``, ``outside``, ``unseen``, ``unknown``, ``few``,
        ``handling``, ``permits``, ``escaping``, ``name``, or a risk of `book.rules`.
    says : str
        In plain words.
    """

    kind: str
    says: str


def cautions(collection: Collection, model: FittedModel, seed: Parent, pollen: Parent, row: Floats) -> list[Caution]:
    """Return what to know about one directed pairing, the gravest first.

    Parameters
    ----------
    collection : Collection
        For traits and settings.
    model : FittedModel
        For what it has seen.
    seed, pollen : Parent
        The two sides.
    row : ndarray of float, shape (n_features,)
        The pairing's numbers, NaN where unknown.
    """
    return [
        *_sex(collection, seed, pollen),
        *_ploidy(collection, seed, pollen),
        *_flowering(collection, seed, pollen),
        *_hybrid(collection, seed, pollen),
        *_placed(collection, seed, pollen),
        *_outside(collection, model, seed, pollen),
        *_unseen(model, seed, pollen),
        *_unknown(model, row),
    ]


def handling(collection: Collection) -> list[Caution]:
    """Return the cautions of the plant group, which concern hands, eyes and the law rather than one pairing."""
    group = collection.settings.group
    return [Caution("handling", say(f"cautions.handling.{group}"))] if group else []


def _sex(collection: Collection, seed: Parent, pollen: Parent) -> list[Caution]:
    found = []
    for parent, other_sex, key in ((seed, "male", "seed"), (pollen, "female", "pollen")):
        name = correct_form(parent.label)
        if parent.plant is not None and parent.plant.sex == other_sex:
            found.append(Caution("sex", say(f"cautions.sex.{key}_plant", plant=parent.plant.plant, name=name)))
        elif _sex_unsaid(parent) and collection.trait(parent.label, "sex") in _UNISEXUAL:
            found.append(Caution("sex", say(f"cautions.sex.{key}_species", name=name)))
    return found


def _sex_unsaid(parent: Parent) -> bool:
    return parent.plant is None or parent.plant.sex in {None, "unknown"}


def _ploidy(collection: Collection, seed: Parent, pollen: Parent) -> list[Caution]:
    ours, theirs = (_chromosomes(collection, parent) for parent in (seed, pollen))
    if ours is None or theirs is None or ours == theirs:
        return []
    return [Caution("ploidy", say("cautions.ploidy", seed=ours, pollen=theirs))]


def _chromosomes(collection: Collection, parent: Parent) -> int | None:
    if parent.plant is not None and parent.plant.chromosomes is not None:
        return parent.plant.chromosomes
    count = collection.trait(parent.label, "2n")
    return count if isinstance(count, int) else None


def _flowering(collection: Collection, seed: Parent, pollen: Parent) -> list[Caution]:
    ours, theirs = (collection.trait(parent.label, "flowering") for parent in (seed, pollen))
    if not isinstance(ours, frozenset) or not isinstance(theirs, frozenset) or ours & theirs:
        return []
    return [Caution("flowering", say("cautions.flowering", pollen=correct_form(pollen.label)))]


def _hybrid(collection: Collection, seed: Parent, pollen: Parent) -> list[Caution]:
    told = dict.fromkeys(text for parent in (seed, pollen) for text in hybrid_notes(collection, parent))
    return [Caution("hybrid", text) for text in told]


def _placed(collection: Collection, seed: Parent, pollen: Parent) -> list[Caution]:
    labels = collection.taxa.species_of([seed.label, pollen.label])
    return [
        Caution("placed", say("cautions.placed", name=correct_form(one.species), group=one.group))
        for one in collection.placed
        if one.species in labels
    ]


def _outside(collection: Collection, model: FittedModel, seed: Parent, pollen: Parent) -> list[Caution]:
    """Tell of a pairing that is farther apart than any that the forecast has learned from."""
    if not model.seen.crosses:
        return []
    [apart] = collection.taxa.apart([seed.label], [pollen.label])
    farther = bool(apart > model.seen.farthest * (1 + _ROUNDING))
    return [Caution("outside", say("cautions.outside"))] if farther else []


def _unseen(model: FittedModel, seed: Parent, pollen: Parent) -> list[Caution]:
    if not model.seen.crosses:
        return []
    labels = dict.fromkeys(parent.label for parent in (seed, pollen) if parent.label not in model.seen.species)
    found = [Caution("unseen", say("cautions.unseen", name=correct_form(label))) for label in labels]
    if model.seen.crosses < _FEWEST_CROSSES:
        found.append(Caution("few", say("cautions.few", n=model.seen.crosses)))
    return found


def _unknown(model: FittedModel, row: Floats) -> list[Caution]:
    columns = [feature.column for feature in model.recipe.features]
    blank = dict.fromkeys(columns[j] for j in np.flatnonzero(np.isnan(row)) if columns[j] is not None)
    if not blank:
        return []
    return [Caution("unknown", say("cautions.unknown", columns=", ".join(spoken(str(column)) for column in blank)))]


def spoken(column: str) -> str:
    """Return a trait's column name as words.

    Examples
    --------
    >>> spoken("flower_length_mm"), spoken("2n")
    ('flower length', 'chromosome number (2n)')
    """
    if column == "2n":
        return say("cautions.chromosome_number")
    words = column.replace("_", " ")
    return words.removesuffix(" mm")


def permits() -> Caution:
    """Return the caution for when plants, pollen or seed change hands: we do not decide what needs papers."""
    return Caution("permits", say("cautions.permits"))


def escaping() -> Caution:
    """Return the caution for when a hybrid becomes a plant."""
    return Caution("escaping", say("cautions.escaping"))
