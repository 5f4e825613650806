"""Whether a pairing is worth the flowers, both ways round."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crosscompat.advice.cautions import Caution, cautions, handling
from crosscompat.advice.figures import (
    BasisFigures,
    Distance,
    Interval,
    Past,
    TreeFigures,
    basis_figures,
    distance_of,
    interval_at,
    past_crosses,
    tree_figures,
    usual_flowers,
)
from crosscompat.advice.known_hybrids import KnownNear, known_near, published_of
from crosscompat.advice.parents import Parent, find_parents
from crosscompat.advice.predict import Basis, asked_of, basis_of, parents_of
from crosscompat.advice.reasoning import Reason, reasons_in_words
from crosscompat.advice.stages import StageForecast, stage_forecasts
from crosscompat.advice.verdict import how_sure, verdict, verdict_words
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances, flowers_for

__all__ = ["Answer", "PairForecast", "ask"]


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
    distance : Distance
    reasons : list of Reason
        Their logits add up to that of a seedling from one flower.
    stages : list of StageForecast
        The way to a seedling, stage by stage, then the whole.
    seeds_per_pod : float
        What a ripe pod is expected to hold.
    cautions : list of Caution
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
    """Answer whether a pairing is worth the flowers.

    Parameters
    ----------
    collection : Collection
        Whose tree, traits, records and model are asked.
    seed, pollen : str
        Species or plants.
    flowers : int, optional
        Flowers that would be pollinated, at least 1; by default as many as the grower usually takes.

    Raises
    ------
    UnknownName
        If either parent stands nowhere.
    NoPairing
        If both are one plant.
    WrongUse
        If ``flowers`` is below 1.
    """
    flowers = usual_flowers(collection) if flowers is None else flowers
    if flowers < 1:
        raise WrongUse(say("take.flowers", got=flowers))
    seed_parent, pollen_parent = find_parents(collection, seed, pollen)
    basis = basis_of(collection)
    return Answer(
        _forecast(collection, basis, seed_parent, pollen_parent, flowers),
        _forecast(collection, basis, pollen_parent, seed_parent, flowers),
        _known_hybrids(collection, seed_parent.label, pollen_parent.label),
        basis_figures(collection, basis),
        tree_figures(collection, basis),
        collection.settings.invented,
        [note for note in dict.fromkeys((*collection.notices, seed_parent.read_as, pollen_parent.read_as)) if note],
        handling(collection),
    )


def _forecast(collection: Collection, basis: Basis, seed: Parent, pollen: Parent, flowers: int) -> PairForecast:
    asked = asked_of(collection, basis.model, parents_of([(seed, pollen)]), stages=True)
    distance = distance_of(collection, basis, seed.label, pollen.label)
    row = asked.rows[0]
    all_flowers = chances(asked.whole, flowers)
    chance = interval_at(all_flowers, 0)
    seen = {seed.label, pollen.label} & set(basis.model.seen.species)
    word = verdict(chance.mean, chance.low, chance.high, known=bool(seen) or asked.published[0] != 0)
    half, four_fifths = (int(flowers_for(asked.whole, target)[0]) or None for target in (0.5, 0.8))
    return PairForecast(
        seed_parent=seed.name,
        pollen_parent=pollen.name,
        seed_plant=seed.plant.plant if seed.plant else None,
        pollen_plant=pollen.plant.plant if pollen.plant else None,
        flowers=flowers,
        chance=chance,
        per_flower=interval_at(chances(asked.whole), 0),
        verdict=word,
        verdict_words=verdict_words(word),
        sure=how_sure(chance.low, chance.high),
        flowers_for_half=half,
        flowers_for_four_fifths=four_fifths,
        distance=distance,
        reasons=reasons_in_words(basis.model, asked, 0, distance.relative, _sources(collection, basis, seed, pollen)),
        stages=stage_forecasts(basis.model, asked, 0),
        seeds_per_pod=basis.model.seeds.mean,
        cautions=cautions(collection, basis.model, seed, pollen, row),
        past=past_crosses(collection).get((seed.label, pollen.label), []),
    )


def _sources(collection: Collection, basis: Basis, seed: Parent, pollen: Parent) -> dict[str, str]:
    """Return where both parents' values of each trait that counts are from."""
    found: dict[str, str] = {}
    for column in dict.fromkeys(f.column for f in basis.model.recipe.features if f.column is not None):
        named = [collection.source_of(parent.label, column) for parent in (seed, pollen)]
        told = "; ".join(dict.fromkeys(source for source in named if source))
        if told:
            found[column] = told
    return found


def _known_hybrids(collection: Collection, seed: str, pollen: str) -> list[KnownNear]:
    """Return published crosses near a pairing; of the other way round only those of that very pairing.

    A hybrid has no place of its own, so that nothing is near it; if it is published itself, that is told.
    """
    hybrids = [plant for label in (seed, pollen) if (plant := collection.taxa.pedigree(label)).parents]
    if hybrids:
        return published_of(hybrids, collection.distances)
    found = known_near(seed, pollen, collection.distances)
    turned = known_near(pollen, seed, collection.distances)
    told = {near.words for near in found}
    return found + [near for near in turned if near.same and near.words not in told]
