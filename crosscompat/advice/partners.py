"""All partners of one species at once, for a picture of the tree."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

from crosscompat.advice.figures import (
    BasisFigures,
    Interval,
    TreeFigures,
    flowers_or_usual,
    grounds,
    pair_figures,
)
from crosscompat.advice.parents import Parent, find_parent
from crosscompat.advice.predict import basis_of, parents_of, predict
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.show.picture import TipMark, worth_drawing
from crosscompat.show.tree_svg import draw_tree

_SHORT = ("ploidy", "flowering", "outside")
"""Cautions that are told of a partner; those on the focus itself would be the same in every row."""

Role = Literal["seed", "pollen"]


@dataclass(frozen=True, slots=True)
class Partner:
    """One species of the tree beside the one asked about.

    Attributes
    ----------
    chance : Interval or None
        Of at least one seedling; None for the species itself.
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


def partners(collection: Collection, species: str, *, role: Role, flowers: int | None = None) -> Partners:
    """Return the chances of one species or plant, as seed or pollen parent, with every species on the tree.

    If it stands nowhere it raises `UnknownName`, with ``flowers``, by default as many as usual, below 1 `WrongUse`.
    """
    flowers, basis = flowers_or_usual(collection, flowers), basis_of(collection)
    focus, others = find_parent(collection, species), [Parent(tip) for tip in collection.distances.tips]
    pairs = [(focus, other) if role == "seed" else (other, focus) for other in others]
    predicted = predict(collection, basis.model, parents_of(pairs))
    figures = pair_figures(collection, basis, predicted, pairs, flowers, range(len(pairs)))
    marked = [_partner(other, each, other.label == focus.label) for other, each in zip(others, figures, strict=True)]
    return Partners(focus.label, focus.name, role, flowers, marked, *grounds(collection, basis))


def _partner(other: Parent, figures: dict[str, Any], itself: bool) -> Partner:  # noqa: FBT001 - the focus is no partner
    outcomes = [cross.outcome for cross in figures["past"]]
    grave = dict.fromkeys(caution.kind for caution in figures["cautions"] if caution.kind in _SHORT)
    notes = [] if itself else [say(f"tree.notes.{kind}") for kind in grave]
    chance = None if itself else figures["chance"]
    return Partner(other.label, other.name, chance, outcomes.count("took"), outcomes.count("failed"), notes)


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
