"""All partners of one species at once, for a picture of the tree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crosscompat.advice.cautions import Caution, cautions
from crosscompat.advice.figures import (
    BasisFigures,
    Interval,
    TreeFigures,
    basis_figures,
    interval_at,
    past_crosses,
    tree_figures,
    usual_flowers,
)
from crosscompat.advice.parents import Parent, find_parent
from crosscompat.advice.predict import asked_of, basis_of, parents_of
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances

__all__ = ["Partner", "Partners", "partners"]

_SHORT = ("ploidy", "flowering", "outside")


@dataclass(frozen=True, slots=True)
class Partner:
    """One species of the tree beside the one asked about.

    Attributes
    ----------
    label, species : str
        As the tree writes it, and in correct form.
    chance : Interval or None
        Of at least one seedling; None for the species itself.
    took, failed : int
        Earlier crosses of the two, either way round.
    notes : list of str
        A few words on what stands in the way.
    """

    label: str
    species: str
    chance: Interval | None
    took: int
    failed: int
    notes: list[str]


@dataclass(frozen=True, slots=True)
class Partners:
    """A species and every partner on the tree, in the order of the tree."""

    label: str
    species: str
    role: str
    flowers: int
    partners: list[Partner]
    basis: BasisFigures
    tree: TreeFigures
    invented: bool
    schema: Literal["crosscompat.tree/1"] = "crosscompat.tree/1"


def partners(
    collection: Collection, species: str, *, role: Literal["seed", "pollen"], flowers: int | None = None
) -> Partners:
    """Return the chances of one species with every other on the tree.

    Parameters
    ----------
    collection : Collection
    species : str
        A species or a plant.
    role : {"seed", "pollen"}
        Which parent it is.
    flowers : int, optional
        Flowers for each pairing, at least 1; by default as many as the grower usually takes.

    Raises
    ------
    UnknownName
        If it stands nowhere.
    WrongUse
        If ``flowers`` is below 1.
    """
    flowers = usual_flowers(collection) if flowers is None else flowers
    if flowers < 1:
        raise WrongUse(say("take.flowers", got=flowers))
    focus = find_parent(collection, species)
    others = [Parent(tip) for tip in collection.distances.tips]
    pairs = [(focus, other) if role == "seed" else (other, focus) for other in others]
    basis = basis_of(collection)
    asked = asked_of(collection, basis.model, parents_of(pairs))
    answer = chances(asked.whole, flowers)
    counts = _past_counts(collection, focus.label)
    found = []
    for i, (other, (seed, pollen)) in enumerate(zip(others, pairs, strict=True)):
        own = other.label == focus.label
        took, failed = counts.get(other.label, (0, 0))
        notes = [] if own else _notes(cautions(collection, basis.model, seed, pollen, asked.rows[i]))
        found.append(Partner(other.label, other.name, None if own else interval_at(answer, i), took, failed, notes))
    return Partners(
        focus.label,
        focus.name,
        role,
        flowers,
        found,
        basis_figures(collection, basis),
        tree_figures(collection, basis),
        collection.settings.invented,
    )


def _past_counts(collection: Collection, label: str) -> dict[str, tuple[int, int]]:
    """Return earlier takes and failures by the other parent, either way round."""
    counts: dict[str, tuple[int, int]] = {}
    for (seed, pollen), past in past_crosses(collection).items():
        if label in {seed, pollen}:
            other = pollen if seed == label else seed
            took, failed = counts.get(other, (0, 0))
            outcomes = [cross.outcome for cross in past]
            counts[other] = (took + outcomes.count("took"), failed + outcomes.count("failed"))
    return counts


def _notes(found: list[Caution]) -> list[str]:
    """Return a few words for each grave caution; those on the focus itself would be the same in every row."""
    return [say(f"tree.notes.{kind}") for kind in dict.fromkeys(caution.kind for caution in found) if kind in _SHORT]
