"""Show the tree with the likely partners of one species."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from crosscompat.advice.parents import find_parent
from crosscompat.advice.partners import Partner, Partners, partners
from crosscompat.cli.locate import collection_or_carried
from crosscompat.cli.output import deliver, line, paragraph, print_json, screen_width, speaks_unicode
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.show.tip_marks import Direction, TipMark, worth_drawing
from crosscompat.show.tree_svg import draw_tree
from crosscompat.show.tree_text import text_tree

__all__ = ["picture", "run"]

_ROLES = ("seed", "pollen")


def run(
    folder: Path | None, species: str, output: Path | None, *, role: str, flowers: int | None, as_json: bool
) -> None:
    """Show the tree: as text on the screen, or as a picture in a file."""
    if role not in _ROLES:
        raise WrongUse(say("tree.role", got=role))
    direction = cast("Direction", role)
    collection = collection_or_carried(folder, (species,))
    if not as_json:
        _worth_a_picture(collection, species)
    if as_json:
        print_json(partners(collection, species, role=direction, flowers=flowers), output)
    elif output is None:
        _print_text(collection, partners(collection, species, role=direction, flowers=flowers), direction)
    else:
        deliver(picture(collection, species, role=direction, flowers=flowers), output)


def picture(collection: Collection, species: str, *, role: Direction, flowers: int | None) -> str:
    """Return the tree with the partners of a species as SVG."""
    tree = _tree(collection)
    seen = partners(collection, species, role=role, flowers=flowers)
    marks = [_mark(partner) for partner in seen.partners]
    return draw_tree(
        tree,
        focus=seen.label,
        marks=marks,
        title=say(f"tree.title.{role}", name=seen.species, flowers=seen.flowers),
        note=seen.basis.words,
        direction=role,
        invented=seen.invented,
        keep=_kept(tree, seen.label, marks),
    )


def _print_text(collection: Collection, seen: Partners, role: Direction) -> None:
    tree = _tree(collection)
    marks = [_mark(partner) for partner in seen.partners]
    text = text_tree(
        tree,
        focus=seen.label,
        marks=marks,
        width=screen_width(),
        unicode=speaks_unicode(),
        direction=role,
        invented=seen.invented,
        keep=_kept(tree, seen.label, marks),
    )
    line(text)
    line()
    paragraph(seen.basis.words)


def _worth_a_picture(collection: Collection, species: str) -> None:
    """Refuse a hybrid, which is no tip of the tree that could be marked."""
    parent = find_parent(collection, species)
    hybrid = collection.taxa.pedigree(parent.label)
    if hybrid.is_hybrid:
        species = ", ".join(map(correct_form, hybrid.shares))
        raise WrongUse(say("tree.hybrid", name=parent.name, species=species))


def _tree(collection: Collection) -> Phylogeny:
    if isinstance(collection.distances, Phylogeny):
        return collection.distances
    raise WrongUse(say("tree.no_tree", file=collection.tree_name))


def _kept(tree: Phylogeny, focus: str, marks: list[TipMark]) -> list[str] | None:
    """Return the tips to draw, or None for all of them: a large tree is cut to the partners worth seeing."""
    chosen = worth_drawing(tree.tips, focus, marks)
    return None if chosen is None else [tip for tip in tree.tips if tip in chosen]


def _mark(partner: Partner) -> TipMark:
    chance = partner.chance
    if chance is None:
        return TipMark(partner.label, partner.species, took=partner.took, failed=partner.failed)
    return TipMark(
        partner.label,
        partner.species,
        chance.mean,
        chance.low,
        chance.high,
        partner.took,
        partner.failed,
        "; ".join(partner.notes),
    )
