"""A pairing and its odds, and the tree with the odds of all partners of one species."""

from __future__ import annotations

from flask import Blueprint, Response, render_template, request, url_for

from crosscompat.advice.ask import Answer, ask
from crosscompat.advice.partners import Partners, Role, drawn, partners, tree_of, tree_picture
from crosscompat.ground.errors import CrosscompatError
from crosscompat.ground.names import correct_form
from crosscompat.show.narrow_tree import Links, narrow_tree
from crosscompat.web.forms import Form
from crosscompat.web.nursery import nursery

PAGES = Blueprint("pairs", __name__)


def names() -> list[str]:
    """Return what a parent may be called: the plants, then the species of the tree."""
    here = nursery()

    def made() -> list[str]:
        species = sorted(correct_form(tip) for tip in here.collection.distances.tips)
        return [*here.collection.plants.by_name, *species]

    return here.remembered("names", made)


@PAGES.get("/ask")
def pairing() -> str | tuple[str, int]:
    """Answer whether a pairing is worth the flowers, both ways round."""
    form = Form(request.args)
    seed, pollen = form.text("seed"), form.text("pollen")
    answer, fault = None, ""
    try:
        if seed and pollen:
            answer = answer_to(seed, pollen, form.number("flowers"))
    except CrosscompatError as error:
        fault = str(error)
    page = render_template(
        "ask.html", seed=seed, pollen=pollen, flowers=form.text("flowers"), answer=answer, fault=fault, names=names()
    )
    return (page, 400) if fault else page


def answer_to(seed: str, pollen: str, flowers: int | None) -> Answer:
    """Return the answer about a pairing, remembered until something changes."""
    here = nursery()
    return here.remembered(("ask", seed, pollen, flowers), lambda: ask(here.collection, seed, pollen, flowers=flowers))


@PAGES.get("/tree")
def tree() -> str | tuple[str, int]:
    """Show the tree with the odds of all partners of a species: search it, fold it, tap a partner."""
    species, role = request.args.get("species", "").strip(), _role(request.args.get("role"))
    seen, fault = None, ""
    try:
        if species:
            seen = _partners(species, role)
    except CrosscompatError as error:
        fault = str(error)
    picture = _drawn(seen, role) if seen is not None else ""
    page = render_template(
        "tree.html",
        species=species,
        role=role,
        seen=seen,
        picture=picture,
        fault=fault,
        names=names(),
        best=_best(seen),
    )
    return (page, 400) if fault else page


@PAGES.get("/tree.svg")
def wide_tree() -> Response:
    """Return the wide picture of the tree, to keep or to print."""
    seen = _partners(request.args.get("species", ""), _role(request.args.get("role")))
    return Response(tree_picture(nursery().collection, seen), mimetype="image/svg+xml")


def _role(text: str | None) -> Role:
    return "pollen" if text == "pollen" else "seed"


def _partners(species: str, role: Role) -> Partners:
    here = nursery()
    return here.remembered(("tree", species, role), lambda: partners(here.collection, species, role=role))


def _best(seen: Partners | None) -> list[tuple[str, str]]:
    """Return the likeliest partners, with their chances in words, for those who see no picture."""
    known = [one for one in seen.partners if one.chance is not None] if seen is not None else []
    known.sort(key=lambda one: -(one.chance.mean if one.chance else 0.0))
    return [(one.species, one.chance.words) for one in known[:5] if one.chance is not None]


def _drawn(seen: Partners, role: Role) -> str:
    collection = nursery().collection
    folded = {int(text) for text in request.args.getlist("fold") if text.isdecimal()}
    marks = {mark.label: mark for mark in drawn(collection, seen)["marks"]}

    def of_species(label: str) -> str:
        seed, pollen = seen.species, correct_form(label)
        if role == "pollen":
            seed, pollen = pollen, seed
        return url_for("pairs.pairing", seed=seed, pollen=pollen)

    def of_fold(node: int) -> str:
        return url_for("pairs.tree", species=seen.species, role=role, fold=sorted(folded ^ {node}))

    return narrow_tree(tree_of(collection), marks, seen.label, Links(of_species, of_fold), folded)
