"""Whether a pairing is worth the flowers, both ways round, and what is published of crosses near it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from crosscompat.advice.figures import (
    BasisFigures,
    Distance,
    Interval,
    Past,
    TreeFigures,
    basis_figures,
    distance_of,
    flowers_asked,
    how_sure,
    interval_at,
    past_crosses,
    tree_figures,
    verdict,
)
from crosscompat.advice.parents import Caution, Parent, cautions, find_parents, handling
from crosscompat.advice.predict import Basis, basis_of, parents_of, predict
from crosscompat.advice.reasoning import Reason, StageForecast, reasons_in_words, stage_forecasts
from crosscompat.book.crosses import find_label
from crosscompat.carried import KnownHybrid, known_hybrids
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances, flowers_for
from crosscompat.phylogeny.distances import Distances

_LEVEL = 1e-9


@dataclass(frozen=True, slots=True)
class PairForecast:
    """What is to be said of one directed pairing.

    Attributes
    ----------
    seed_parent, pollen_parent : str
        Species in correct form.
    seed_plant, pollen_plant : str or None
        The very plants, where named.
    flowers : int
        Flowers pollinated.
    chance : Interval
        Of at least one seedling from them.
    per_flower : Interval
        Of a seedling from one flower.
    verdict, verdict_words : str
        The chance as one of a few words.
    sure : str
        How well it is known: ``sure``, ``fairly`` or ``guess``.
    flowers_for_half, flowers_for_four_fifths : int or None
        Fewest flowers for that chance; None if more than 200.
    reasons : list of Reason
        Their logits add up to that of a seedling from one flower.
    stages : list of StageForecast
        The way to a seedling, stage by stage, then the whole.
    seeds_per_pod : float
        What a ripe pod is expected to hold.
    past : list of Past
        Earlier crosses of this pairing, this way round.
    """

    seed_parent: str
    pollen_parent: str
    seed_plant: str | None
    pollen_plant: str | None
    flowers: int
    chance: Interval
    per_flower: Interval
    verdict: str
    verdict_words: str
    sure: str
    flowers_for_half: int | None
    flowers_for_four_fifths: int | None
    distance: Distance
    reasons: list[Reason]
    stages: list[StageForecast]
    seeds_per_pod: float
    cautions: list[Caution]
    past: list[Past]


@dataclass(frozen=True, slots=True)
class KnownNear:
    """A published cross near a pairing.

    Attributes
    ----------
    seed_parent, pollen_parent : str
        Its parents in correct form.
    same : bool
        Whether it is the very pairing asked about (where its direction is known, this way round).
    farther : float
        How far the farther of its parents stands from the parent it is set against, in the unit of the tree.
    words : str
        All of it in a sentence.
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

    Raises
    ------
    UnknownName, NoPairing, WrongUse
        If either parent stands nowhere; if both are one plant; if ``flowers`` is below 1.
    """
    flowers = flowers_asked(collection, flowers)
    one, other = find_parents(collection, seed, pollen)
    basis, past = basis_of(collection), past_crosses(collection)
    notes = (*collection.notices, one.read_as, other.read_as)
    return Answer(
        _forecast(collection, basis, (one, other), flowers, past),
        _forecast(collection, basis, (other, one), flowers, past),
        _published_near(collection, one.label, other.label),
        basis_figures(collection, basis),
        tree_figures(collection, basis),
        collection.settings.invented,
        [note for note in dict.fromkeys(notes) if note],
        handling(collection),
    )


def _forecast(
    collection: Collection,
    basis: Basis,
    pair: tuple[Parent, Parent],
    flowers: int,
    past: Mapping[tuple[str, str], list[Past]],
) -> PairForecast:
    seed, pollen = pair
    asked = predict(collection, basis.model, parents_of([pair]), stages=True)
    distance = distance_of(collection, basis, seed.label, pollen.label)
    chance = interval_at(chances(asked.whole, flowers), 0)
    word = verdict(chance, known=bool(asked.known[0]))
    half, four_fifths = (int(flowers_for(asked.whole, target)[0]) or None for target in (0.5, 0.8))
    return PairForecast(
        seed_parent=seed.name,
        pollen_parent=pollen.name,
        seed_plant=seed.own_name,
        pollen_plant=pollen.own_name,
        flowers=flowers,
        chance=chance,
        per_flower=interval_at(chances(asked.whole), 0),
        verdict=word,
        verdict_words=say(f"verdict.{word}"),
        sure=how_sure(chance),
        flowers_for_half=half,
        flowers_for_four_fifths=four_fifths,
        distance=distance,
        reasons=reasons_in_words(basis.model, asked, distance.relative, _sources(collection, basis, seed, pollen)),
        stages=stage_forecasts(basis.model, asked),
        seeds_per_pod=basis.model.seeds.mean,
        cautions=cautions(collection, basis.model, seed, pollen, asked.rows[0]),
        past=past.get((seed.label, pollen.label), []),
    )


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
        near = [one for pair in made for one in known_near(*pair, collection.distances)]
        own = {one.words: replace(one, same=False) for one in near if one.same and one.outcome == "hybrid"}
        return list(own.values())
    found = known_near(seed, pollen, collection.distances)
    turned = known_near(pollen, seed, collection.distances)
    said = {near.words for near in found}
    return found + [near for near in turned if near.same and near.words not in said]


def known_near(
    seed: str, pollen: str, distances: Distances, known: Sequence[KnownHybrid] | None = None, *, most: int = 3
) -> list[KnownNear]:
    """Return published crosses near a pairing of two labels of the tree, the nearest first, so many at ``most``.

    A published cross a × b is near s × p if both bridge the same gap: a stands nearer to s, and b nearer to p, than a
    to b; or as near, where s and p are as far apart as a and b, as in a group that is not resolved. Which of its
    parents was the mother does not matter for that. A failure is near only if it is the very pairing: one failure says
    little of relatives. The rule is a judgement of this project. Published crosses (``known``, by default those of the
    package) without a place, or with a gap in a table of distances, are passed over.

    Raises
    ------
    UnknownName
        If the pairing's own parents have no place.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(((Aloe_ferox:1,Aloe_africana:1):1,Aloe_vera:2):3,Aloe_dichotoma:5);")
    >>> made = KnownHybrid("Aloe ×nova", "Aloe ferox", "Aloe vera", False, "hybrid", "by hand", "", "invented")
    >>> [(near.hybrid, near.same, near.farther) for near in known_near("Aloe_vera", "Aloe_africana", tree, [made])]
    [('Aloe ×nova', False, 2.0)]
    """
    found = []
    for entry in known_hybrids() if known is None else known:
        parents = [find_label(distances.index, name) for name in (entry.seed_parent, entry.pollen_parent)]
        if parents[0] is None or parents[1] is None:
            continue
        near = _nearness(entry, (seed, pollen), (parents[0], parents[1]), distances)
        if near is not None:
            found.append(near)
    return sorted(found, key=lambda near: (not near.same, near.farther, near.words))[:most]


def _nearness(
    entry: KnownHybrid, asked: tuple[str, str], parents: tuple[str, str], distances: Distances
) -> KnownNear | None:
    """Set a published cross against a pairing, either way round."""
    between = distances.patristic_matrix([*asked, *parents])
    gap, own_gap = between[2, 3], between[0, 1]
    ways = [max(between[0, 2], between[1, 3]), max(between[0, 3], between[1, 2])]
    farther = float(np.fmin(*ways))
    same = ways[0] == 0 or (ways[1] == 0 and not entry.direction_known)
    nearer = farther < gap * (1 - _LEVEL) or (farther <= gap * (1 + _LEVEL) and own_gap >= gap * (1 - _LEVEL))
    if not same and (entry.outcome == "failure" or not nearer):
        return None
    seed, pollen = (correct_form(name) for name in (entry.seed_parent, entry.pollen_parent))
    name = correct_form(entry.hybrid) if entry.hybrid else None
    what = say("known_hybrids.between").join(filter(None, (f"{seed} × {pollen}", name, entry.how)))
    note = say("known_hybrids.note", note=entry.note) if entry.note else ""
    words = say(f"known_hybrids.{entry.outcome}", what=what, note=note, source=entry.source)
    return KnownNear(name, seed, pollen, entry.outcome, bool(same), farther, entry.source, words)
