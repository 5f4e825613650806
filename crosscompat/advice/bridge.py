"""The way round, where a pairing will not take: its reverse, a form of another ploidy, a bridge through other species.

A bridge crosses one parent with a third species and the offspring with the other parent. Its chance is the product of
those of its crosses; the best bridges are found exactly, by branch and bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.mating import alive_on
from crosscompat.advice.parents import Parent, chromosomes_of, expected_chromosomes, handling
from crosscompat.advice.predict import Basis, Prediction, basis_of, chances_of, parents_of, predict
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import today
from crosscompat.ground.names import bracketed, correct_form
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Parents
from crosscompat.show.chances import percent

_MOST = 3
_FEWEST_SPECIES, _MOST_SPECIES = 4, 16
"""Species that are tried as bridges: the nearest, of those that the grower has, or of all where these are few."""

_LEAST = 0.05
"""A bridge less likely than this is not worth its years: a judgement."""

_A_YEAR = 0.9
"""What an outcome is worth that comes a year later: a judgement."""

_YEARS = {"cactus": 4.0, "spurge": 3.0, "": 3.0}
"""Seed to flower. Hedgehog cacti: about 4 years (*Echinocereus × lloydii*, Plant Systematics and Evolution, doi
10.1007/BF00985335); the others are judgements."""

_GENERATIONS = (2, 3)


@dataclass(frozen=True, slots=True)
class Step:
    """One cross of a bridge, the better way round, with the chance of at least one seedling."""

    seed_parent: str
    pollen_parent: str
    chance: Interval


@dataclass(frozen=True, slots=True)
class Share:
    """How much of a plant one species makes up."""

    species: str
    share: float


@dataclass(frozen=True, slots=True)
class Bridge:
    """A way to bring two species together ``through`` others, one cross a generation.

    The ``chance`` that all crosses take is the product of theirs; so many ``years`` later than at once the last can be
    made. ``shares`` are what its offspring holds of each species, ``chromosomes`` the 2n that the first offspring
    should have.
    """

    through: list[str]
    steps: list[Step]
    chance: float
    years: float
    shares: list[Share]
    chromosomes: float | None
    says: str


@dataclass(frozen=True, slots=True)
class Form:
    """A form of one parent with as many chromosomes as the other: one of the grower's plants, or one to find or double.

    The chance is of a seedling with the other parent, the better way round.
    """

    species: str
    plant: str | None
    chromosomes: int
    chance: Interval
    says: str


@dataclass(frozen=True, slots=True)
class WaysRound:
    """What could be done where a pairing will not take, with so many flowers for each cross.

    ``forms`` are of another ploidy; of the ``bridges`` the first is worth most with a year of waiting counted;
    ``advice`` is what else could be tried, with its source.
    """

    seed_parent: str
    pollen_parent: str
    flowers: int
    direct: Interval
    reverse: Interval
    forms: list[Form]
    bridges: list[Bridge]
    advice: list[str]
    caution: str
    invented: bool
    schema: Literal["crosscompat.bridge/1"] = "crosscompat.bridge/1"


def ways_round(collection: Collection, seed: Parent, pollen: Parent, flowers: int) -> WaysRound:
    """Return the reverse of a pairing, forms of another ploidy, and the best bridges; ``flowers`` for each cross."""
    basis, group = basis_of(collection), collection.settings.group or "other"
    chance = chances(_asked(collection, basis, [(seed.label, pollen.label), (pollen.label, seed.label)]).whole, flowers)
    forms = _forms(collection, basis, seed, pollen, flowers)
    lessons = [*(["direction", "doubling"] if forms else []), "rescue"]
    return WaysRound(
        seed.name, pollen.name, flowers, interval_at(chance, 0), interval_at(chance, 1), forms,
        best_bridges(collection, basis, seed.label, pollen.label, _between(collection, seed, pollen), flowers),
        [*(say(f"bridge.{lesson}.{group}") for lesson in lessons), say(f"bridge.graft.{group}")],
        " ".join(caution.says for caution in handling(collection)), collection.settings.invented,
    )  # fmt: skip


def _forms(collection: Collection, basis: Basis, seed: Parent, pollen: Parent, flowers: int) -> list[Form]:
    """Return forms of either parent with the chromosomes of the other: the grower's own, else the smaller doubled."""
    sides = [(parent, chromosomes_of(collection, parent)) for parent in (seed, pollen)]
    forms = []
    for (parent, own), (other, target) in (sides, sides[::-1]):
        if own is None or target is None or own == target:
            continue
        plants = [
            plant
            for plant in alive_on(collection, today())
            if plant.chromosomes == target and collection.index.find(plant.species) == parent.label
        ]
        if not plants and 2 * own == target:
            plants = [Plant("", parent.label, "", chromosomes=target)]
        for plant in plants:
            known = replace(collection, plants=Plants.of([*collection.plants.by_name.values(), plant]))
            form = Parent(parent.label, plant)
            found = chances_of(known, basis.model, parents_of([(form, other), (other, form)]), flowers)
            chance = interval_at(found, int(np.argmax(found.mean)))
            says = say(f"bridge.{'own_form' if plant.plant else 'form'}", plant=plant.plant, species=parent.name,
                       n=target, own=own, words=chance.words, percent=percent(chance.mean))  # fmt: skip
            forms.append(Form(parent.name, plant.plant or None, target, chance, says))
    return forms


def best_bridges(
    collection: Collection, basis: Basis, seed: str, pollen: str, between: Sequence[str], flowers: int
) -> list[Bridge]:
    """Return the best bridges of two and of three generations between two species, of those that are worth it.

    ``seed``, ``pollen`` and ``between``, the species that may serve as bridges, are labels.

    Notes
    -----
    A path starts at either species and adds one species a generation, the other of the two last. A cross more can only
    lower its worth, so a path that is worth less than the best found so far is not followed.
    """
    years = _YEARS[collection.settings.group]
    others = [label for label in between if label not in {seed, pollen}]
    best: list[tuple[float, tuple[str, ...], tuple[Step, ...]]] = []
    for start, end in ((seed, pollen), (pollen, seed)):
        paths: list[_Path] = [((start,), ())]
        for generation in _GENERATIONS:
            grown = _grown(collection, basis, paths, others, flowers)
            closing = _grown(collection, basis, grown, [end], flowers)
            best += [(_worth(crosses, years), path, crosses) for path, crosses in closing]
            best = sorted(best, key=lambda entry: (-entry[0], entry[1]))[:_MOST]
            floor = best[-1][0] if len(best) == _MOST else 0.0
            late = _A_YEAR ** (years * generation)
            paths = [(path, crosses) for path, crosses in grown if _product(crosses) * late > floor]
    return [_bridge(collection, path, crosses, years) for _, path, crosses in best if _product(crosses) >= _LEAST]


_Path = tuple[tuple[str, ...], tuple[Step, ...]]


def _grown(
    collection: Collection, basis: Basis, paths: Sequence[_Path], species: Sequence[str], flowers: int
) -> list[_Path]:
    """Cross what each path has come to with each species that is not in it yet, the better way round."""
    reached = [_offspring(collection, crosses[-1]) if crosses else path[-1] for path, crosses in paths]
    ends = [
        (path, crosses, one, new)
        for (path, crosses), one in zip(paths, reached, strict=True)
        for new in species
        if new not in path
    ]
    if not ends:
        return []
    pairs = [(one, new) for _, _, one, new in ends]
    both = _asked(collection, basis, pairs + [(new, one) for one, new in pairs]).whole
    found, result = chances(both, flowers), []
    for i, (path, crosses, one, new) in enumerate(ends):
        there = found.mean[i] >= found.mean[i + len(ends)]
        mother, father = (correct_form(side) for side in ((one, new) if there else (new, one)))
        step = Step(mother, father, interval_at(found, i if there else i + len(ends)))
        result.append(((*path, new), (*crosses, step)))
    return result


def _offspring(collection: Collection, step: Step) -> str:
    """Return the label of what comes of a cross."""
    return collection.index.match(f"{bracketed(step.seed_parent)} × {bracketed(step.pollen_parent)}").label


def _asked(collection: Collection, basis: Basis, pairs: Sequence[tuple[str, str]]) -> Prediction:
    return predict(collection, basis.model, Parents([one for one, _ in pairs], [other for _, other in pairs]))


def _product(crosses: Sequence[Step]) -> float:
    return float(np.prod([cross.chance.mean for cross in crosses]))


def _worth(crosses: Sequence[Step], years: float) -> float:
    return _product(crosses) * float(_A_YEAR ** (years * (len(crosses) - 1)))


def _bridge(collection: Collection, path: Sequence[str], crosses: Sequence[Step], years: float) -> Bridge:
    shares = collection.taxa.pedigree(_offspring(collection, crosses[-1])).shares
    first = _offspring(collection, crosses[0])
    return Bridge(
        [correct_form(label) for label in path[1:-1]], list(crosses), _product(crosses), years * (len(crosses) - 1),
        [Share(correct_form(label), shares[label]) for label in sorted(shares, key=lambda k: -shares[k])],
        expected_chromosomes(collection, first), _of_chromosomes(collection, first),
    )  # fmt: skip


def _of_chromosomes(collection: Collection, hybrid: str) -> str:
    """Say what the first offspring should have, and what doubling would make of an uneven set."""
    count, parents = expected_chromosomes(collection, hybrid), collection.taxa.pedigree(hybrid).parents
    if count is None or parents is None:
        return ""
    one, other = (collection.trait(label, "2n") for label in parents)
    return say(f"bridge.{'even' if one == other else 'uneven'}", count=f"{count:g}", doubled=f"{2 * count:g}")


def _between(collection: Collection, seed: Parent, pollen: Parent) -> list[str]:
    """Return the species that may serve: those that the grower has, or all; the nearest to both where they are many."""
    owned = {collection.index.find(plant.species) for plant in alive_on(collection, today())}
    tips = list(collection.distances.tips)
    labels = [label for label in tips if label in owned]
    labels = labels if len(labels) >= _FEWEST_SPECIES else tips
    apart: Floats = np.maximum(
        collection.taxa.apart([seed.label] * len(labels), labels),
        collection.taxa.apart([pollen.label] * len(labels), labels),
    )
    return [labels[i] for i in np.argsort(apart, kind="stable")[:_MOST_SPECIES].tolist()]
