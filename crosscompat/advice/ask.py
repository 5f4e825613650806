"""Whether a pairing is worth the flowers, both ways round, and what is published of crosses near it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from crosscompat.advice.figures import (
    BasisFigures,
    Distance,
    PairFigures,
    TreeFigures,
    distance_of,
    flowers_or_usual,
    grounds,
    how_sure,
    pair_figures,
)
from crosscompat.advice.parents import Caution, Parent, find_parents, handling
from crosscompat.advice.predict import Basis, basis_of, parents_of, predict
from crosscompat.advice.reasoning import Reason, StageForecast, reasons_in_words, stage_forecasts
from crosscompat.book.crosses import find_label
from crosscompat.carried import KnownHybrid, known_hybrids
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.forecast import flowers_for
from crosscompat.phylogeny.distances import Distances

_LEVEL = 1e-9


@dataclass(frozen=True, slots=True)
class PairForecast(PairFigures):
    """What is to be said of one directed pairing.

    Attributes
    ----------
    sure : str
        How well the chance is known: ``sure``, ``fairly`` or ``guess``.
    flowers_for_half, flowers_for_four_fifths : int or None
        Fewest flowers for that chance; None if more than 200.
    reasons : list of Reason
        Their logits add up to that of a seedling from one flower.
    stages : list of StageForecast
        The way to a seedling, stage by stage, then the whole.
    """

    flowers: int
    sure: str
    flowers_for_half: int | None
    flowers_for_four_fifths: int | None
    distance: Distance
    reasons: list[Reason]
    stages: list[StageForecast]
    seeds_per_pod: float


@dataclass(frozen=True, slots=True)
class KnownNear:
    """A published cross near a pairing.

    Attributes
    ----------
    same : bool
        Whether it is the very pairing asked about (where its direction is known, this way round).
    farther : float
        How far the farther of its parents stands from the parent it is set against, in the unit of the tree.
    """

    hybrid: str | None
    seed_parent: str
    pollen_parent: str
    outcome: Literal["hybrid", "failure"]
    same: bool
    farther: float
    source: str
    words: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to one question, both ways round, with the published crosses near it."""

    pairing: PairForecast
    reciprocal: PairForecast
    known_hybrids: list[KnownNear]
    basis: BasisFigures
    tree: TreeFigures
    invented: bool
    notes: list[str]
    handling: list[Caution]
    schema: Literal["crosscompat.ask/3"] = "crosscompat.ask/3"


def ask(collection: Collection, seed: str, pollen: str, *, flowers: int | None = None) -> Answer:
    """Answer whether a pairing of species or plants is worth the flowers, by default as many as usual.

    A parent that stands nowhere raises `UnknownName`, two of one plant `NoPairing`, no flowers `WrongUse`.
    """
    flowers = flowers_or_usual(collection, flowers)
    mother, father = find_parents(collection, seed, pollen)
    basis = basis_of(collection)
    pairing, reciprocal = _both_ways(collection, basis, [(mother, father), (father, mother)], flowers)
    near = _published_near(collection, mother.label, father.label)
    notes = [note for note in dict.fromkeys((*collection.notices, mother.read_as, father.read_as)) if note]
    return Answer(pairing, reciprocal, near, *grounds(collection, basis), notes, handling(collection))


def _both_ways(
    collection: Collection, basis: Basis, pairs: Sequence[tuple[Parent, Parent]], flowers: int
) -> list[PairForecast]:
    both, model = predict(collection, basis.model, parents_of(pairs), stages=True), basis.model
    half, four_fifths = (flowers_for(both.whole, target).tolist() for target in (0.5, 0.8))
    forecasts = []
    for i, figures in enumerate(pair_figures(collection, basis, both, pairs, flowers, range(len(pairs)))):
        (seed, pollen), predicted = pairs[i], both.at(i)
        distance = distance_of(collection, basis, seed.label, pollen.label)
        forecasts.append(
            PairForecast(
                **figures,
                flowers=flowers,
                sure=how_sure(figures["chance"]),
                flowers_for_half=half[i] or None,
                flowers_for_four_fifths=four_fifths[i] or None,
                distance=distance,
                reasons=reasons_in_words(model, predicted, distance.relative, _sources(collection, basis, *pairs[i])),
                stages=stage_forecasts(model, predicted),
                seeds_per_pod=model.seeds.mean,
            )
        )
    return forecasts


def _sources(collection: Collection, basis: Basis, seed: Parent, pollen: Parent) -> dict[str, str]:
    """Return where both parents' values of each trait that counts are from."""
    sources = {}
    for column in dict.fromkeys(f.column for f in basis.model.recipe.features if f.column is not None):
        keys = [collection.source_of(parent.label, column) for parent in (seed, pollen)]
        sources[column] = "; ".join(dict.fromkeys(key for key in keys if key))
    return sources


def _published_near(collection: Collection, seed: str, pollen: str) -> list[KnownNear]:
    """Return published crosses near a pairing; of the other way round only those of that very pairing.

    A hybrid has no place of its own, so that nothing is near it; the published crosses that it came of are told.
    """
    pedigrees = [collection.taxa.pedigree(label) for label in (seed, pollen)]
    if any(plant.is_hybrid for plant in pedigrees):
        tips = set(collection.distances.tips)
        made = [plant.parents for plant in pedigrees if plant.parents is not None and tips.issuperset(plant.parents)]
        near = [cross for pair in made for cross in known_near(*pair, collection.distances)]
        own = {cross.words: replace(cross, same=False) for cross in near if cross.same and cross.outcome == "hybrid"}
        return list(own.values())
    near, turned = (known_near(*pair, collection.distances) for pair in ((seed, pollen), (pollen, seed)))
    said = {cross.words for cross in near}
    return near + [cross for cross in turned if cross.same and cross.words not in said]


def known_near(
    seed: str, pollen: str, distances: Distances, known: Sequence[KnownHybrid] | None = None, *, most: int = 3
) -> list[KnownNear]:
    """Return published crosses near a pairing of two labels of the tree, the nearest first, so many at ``most``.

    A published cross a × b is near s × p if both bridge the same gap: a stands nearer to s, and b nearer to p, than a
    to b; or as near, where s and p are as far apart as a and b, as in a group that is not resolved. Which of its
    parents was the mother does not matter for that. A failure is near only if it is the very pairing: one failure says
    little of relatives. The rule is a judgement of this project. Published crosses (``known``, by default those of the
    package) without a place, or with a gap in a table of distances, are passed over; if the pairing's own parents have
    no place, it raises `UnknownName`.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(((Aloe_ferox:1,Aloe_africana:1):1,Aloe_vera:2):3,Aloe_dichotoma:5);")
    >>> made = KnownHybrid("Aloe ×nova", "Aloe ferox", "Aloe vera", False, "hybrid", "by hand", "", "invented")
    >>> [(near.hybrid, near.same, near.farther) for near in known_near("Aloe_vera", "Aloe_africana", tree, [made])]
    [('Aloe ×nova', False, 2.0)]
    """
    near = []
    for entry in known_hybrids() if known is None else known:
        mother, father = (find_label(distances.index, name) for name in (entry.seed_parent, entry.pollen_parent))
        if mother is not None and father is not None:
            near += _nearness(entry, distances, seed, pollen, mother, father)
    return sorted(near, key=lambda cross: (not cross.same, cross.farther, cross.words))[:most]


def _nearness(entry: KnownHybrid, distances: Distances, *labels: str) -> list[KnownNear]:
    """Set a published cross against a pairing, either way round; the ``labels`` are of the pairing, then the cross."""
    between = distances.patristic_matrix(labels)
    gap, own_gap = between[2, 3], between[0, 1]
    ways = [max(between[0, 2], between[1, 3]), max(between[0, 3], between[1, 2])]
    farther = float(np.fmin(*ways))
    same = ways[0] == 0 or (ways[1] == 0 and not entry.direction_known)
    nearer = farther < gap * (1 - _LEVEL) or (farther <= gap * (1 + _LEVEL) and own_gap >= gap * (1 - _LEVEL))
    if not same and (entry.outcome == "failure" or not nearer):
        return []
    seed, pollen = (correct_form(name) for name in (entry.seed_parent, entry.pollen_parent))
    name = correct_form(entry.hybrid) if entry.hybrid else None
    what = say("known_hybrids.between").join(filter(None, (f"{seed} × {pollen}", name, entry.how)))
    note = say("known_hybrids.note", note=entry.note) if entry.note else ""
    words = say(f"known_hybrids.{entry.outcome}", what=what, note=note, source=entry.source)
    return [KnownNear(name, seed, pollen, entry.outcome, bool(same), farther, entry.source, words)]
