"""All partners of one species at once, for a picture of the tree."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

from crosscompat.advice.figures import (
    BasisFigures,
    Interval,
    TreeFigures,
    basis_figures,
    flowers_asked,
    interval_at,
    past_crosses,
    tree_figures,
)
from crosscompat.advice.parents import Caution, Parent, cautions, find_parent
from crosscompat.advice.predict import basis_of, parents_of, predict
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.show.picture import TipMark, worth_drawing
from crosscompat.show.tree_svg import draw_tree

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
    """Return the chances of one species or plant, as seed or pollen parent, with every species on the tree.

    Raises
    ------
    UnknownName, WrongUse
        If it stands nowhere; if ``flowers``, by default as many as usual, is below 1.
    """
    flowers = flowers_asked(collection, flowers)
    focus = find_parent(collection, species)
    others = [Parent(tip) for tip in collection.distances.tips]
    pairs = [(focus, other) if role == "seed" else (other, focus) for other in others]
    basis = basis_of(collection)
    asked = predict(collection, basis.model, parents_of(pairs))
    answer = chances(asked.whole, flowers)
    past = past_crosses(collection)
    found = []
    for i, (other, (seed, pollen)) in enumerate(zip(others, pairs, strict=True)):
        own = other.label == focus.label
        outcomes = [cross.outcome for cross in past.get((seed.label, pollen.label), ())]
        notes = [] if own else _notes(cautions(collection, basis.model, seed, pollen, asked.rows[i]))
        found.append(Partner(other.label, other.name, None if own else interval_at(answer, i),
                             outcomes.count("took"), outcomes.count("failed"), notes))  # fmt: skip
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


def _notes(found: list[Caution]) -> list[str]:
    """Return a few words for each grave caution; those on the focus itself would be the same in every row."""
    return [say(f"tree.notes.{kind}") for kind in dict.fromkeys(caution.kind for caution in found) if kind in _SHORT]


def tree_picture(collection: Collection, seen: Partners) -> str:
    """Return the tree with the partners of a species as SVG."""
    title = say(f"tree.title.{seen.role}", name=seen.species, flowers=seen.flowers)
    return draw_tree(tree_of(collection), title=title, note=seen.basis.words, **drawn(collection, seen))


def drawn(collection: Collection, seen: Partners) -> dict[str, Any]:
    """Return what a picture and a text share; a large tree is cut to the partners worth seeing.

    A hybrid, which is no tip that could be marked, raises `WrongUse`, as does a table of distances.
    """
    hybrid = collection.taxa.pedigree(seen.label)
    if hybrid.is_hybrid:
        raise WrongUse(say("tree.hybrid", name=seen.species, species=", ".join(map(correct_form, hybrid.shares))))
    tips, marks = tree_of(collection).tips, [_mark(partner) for partner in seen.partners]
    chosen = worth_drawing(tips, seen.label, marks)
    return {
        "focus": seen.label,
        "marks": marks,
        "direction": seen.role,
        "invented": seen.invented,
        "keep": None if chosen is None else [tip for tip in tips if tip in chosen],
    }


def tree_of(collection: Collection) -> Phylogeny:
    """Return the tree of a collection; a table of distances in its place raises `WrongUse`."""
    if isinstance(collection.distances, Phylogeny):
        return collection.distances
    raise WrongUse(say("tree.no_tree", file=collection.tree_name))


def _mark(partner: Partner) -> TipMark:
    mark = TipMark(partner.label, partner.species, took=partner.took, failed=partner.failed)
    chance = partner.chance
    if chance is None:
        return mark
    return replace(mark, chance=chance.mean, low=chance.low, high=chance.high, note="; ".join(partner.notes))
