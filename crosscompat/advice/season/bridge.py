"""A pairing that will not take: why a cross of it failed, and the way round.

That is its reverse, a form of another ploidy, or a bridge: one parent is crossed with a third species, the offspring
with the other parent. The best bridges, by the product of the chances of their crosses, are found by branch and bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from crosscompat.advice.figures import Interval, interval_at, outcome_of
from crosscompat.advice.forecast_record import units_of
from crosscompat.advice.parents import Parent, chromosomes_of, expected_chromosomes, find_parent, handling
from crosscompat.advice.predict import Basis, basis_of, chances_of, parents_of, prior_of
from crosscompat.advice.season.mating import alive_on
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.numbers_and_names import find_number
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import today
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import bracketed, correct_form
from crosscompat.ground.wording import say
from crosscompat.model.pairings import Parents
from crosscompat.model.training_set import no_pairing
from crosscompat.show.chances import percent
from crosscompat.stages import LAST, STAGES

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

_DAYS = 3
"""Crosses made so many days before or after share its weather: a judgement."""

_EXPECTED = 1.5
"""Seedlings expected from other crosses above which none of them is a sign: such luck is about 1 in 5."""

_CHECKED_WITH = 3
_OF_ONE = {"clear": "clear_one", "open": "open_one"}
"""What is said of a single other cross."""


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
    both = Parents([seed.label, pollen.label], [pollen.label, seed.label])
    chance = chances_of(collection, basis.model, both, flowers)
    forms = _forms(collection, basis, seed, pollen, flowers)
    lessons = [*(["direction", "doubling"] if forms else []), "rescue", "graft"]
    return WaysRound(
        seed.name, pollen.name, flowers, interval_at(chance, 0), interval_at(chance, 1), forms,
        best_bridges(collection, basis, seed.label, pollen.label, _between(collection, seed, pollen), flowers),
        [say(f"bridge.{lesson}.{group}") for lesson in lessons],
        " ".join(caution.says for caution in handling(collection)), collection.settings.invented,
    )  # fmt: skip


def _forms(collection: Collection, basis: Basis, seed: Parent, pollen: Parent, flowers: int) -> list[Form]:
    """Return forms of either parent with the chromosomes of the other: the grower's own, else the smaller doubled."""
    sides = [(parent, chromosomes_of(collection, parent)) for parent in (seed, pollen)]
    forms = []
    for (parent, own), (other, target) in (sides, sides[::-1]):
        if own is None or target is None or own == target:
            continue
        counted = [plant for plant in alive_on(collection, today()) if plant.chromosomes == target]
        plants = [plant for plant in counted if collection.index.find(plant.species) == parent.label]
        if not plants and 2 * own == target:
            plants = [Plant("", parent.label, "", chromosomes=target)]
        for plant in plants:
            known = replace(collection, plants=Plants.of([*collection.plants.by_name.values(), plant]))
            form = Parent(parent.label, plant)
            ways = chances_of(known, basis.model, parents_of([(form, other), (other, form)]), flowers)
            chance = interval_at(ways, int(np.argmax(ways.mean)))
            said = {"n": target, "own": own, "words": chance.words, "percent": percent(chance.mean)}
            key = "own_form" if plant.plant else "form"
            says = say(f"bridge.{key}", plant=plant.plant, species=parent.name, **said)
            forms.append(Form(parent.name, plant.plant or None, target, chance, says))
    return forms


def best_bridges(
    collection: Collection, basis: Basis, seed: str, pollen: str, between: Sequence[str], flowers: int
) -> list[Bridge]:
    """Return the best bridges of two and of three generations between two species, of those that are worth it.

    ``seed``, ``pollen`` and ``between``, the species that may serve as bridges, are labels. A path starts at either
    species and adds one species a generation, the other of the two last. A cross more can only lower its worth, so a
    path that is worth less than the best found so far is not followed.
    """
    years = _YEARS[collection.settings.group]
    others = [label for label in between if label not in {seed, pollen}]
    best: list[tuple[float, tuple[str, ...], tuple[Step, ...]]] = []
    for start, end in ((seed, pollen), (pollen, seed)):
        paths: list[_Path] = [((start,), ())]
        for generation in (2, 3):
            grown = _grown(collection, basis, paths, others, flowers)
            closing = _grown(collection, basis, grown, [end], flowers)
            late, later = (_A_YEAR ** (years * waits) for waits in (generation - 1, generation))
            best += [(_product(crosses) * late, path, crosses) for path, crosses in closing]
            best = sorted(best, key=lambda entry: (-entry[0], entry[1]))[:_MOST]
            floor = best[-1][0] if len(best) == _MOST else 0.0
            paths = [(path, crosses) for path, crosses in grown if _product(crosses) * later > floor]
    return [_bridge(collection, path, crosses, years) for _, path, crosses in best if _product(crosses) >= _LEAST]


_Path = tuple[tuple[str, ...], tuple[Step, ...]]


def _grown(
    collection: Collection, basis: Basis, paths: Sequence[_Path], species: Sequence[str], flowers: int
) -> list[_Path]:
    """Cross what each path has come to with each species that is not in it yet, the better way round."""
    reached = [_offspring(collection, crosses[-1]) if crosses else path[-1] for path, crosses in paths]
    starts = [(*path, one) for path, one in zip(paths, reached, strict=True)]
    ends = [(*start, new) for start in starts for new in species if new not in start[0]]
    if not ends:
        return []
    ones, news = [one for *_, one, _ in ends], [new for *_, new in ends]
    both = chances_of(collection, basis.model, Parents(ones + news, news + ones), flowers)
    grown = []
    for i, (path, crosses, one, new) in enumerate(ends):
        there = both.mean[i] >= both.mean[i + len(ends)]
        mother, father = (correct_form(side) for side in ((one, new) if there else (new, one)))
        step = Step(mother, father, interval_at(both, i if there else i + len(ends)))
        grown.append(((*path, new), (*crosses, step)))
    return grown


def _offspring(collection: Collection, step: Step) -> str:
    """Return the label of what comes of a cross."""
    return collection.index.match(f"{bracketed(step.seed_parent)} × {bracketed(step.pollen_parent)}").label


def _product(crosses: Sequence[Step]) -> float:
    return float(np.prod([cross.chance.mean for cross in crosses]))


def _bridge(collection: Collection, path: Sequence[str], crosses: Sequence[Step], years: float) -> Bridge:
    shares = collection.taxa.pedigree(_offspring(collection, crosses[-1])).shares
    first = _offspring(collection, crosses[0])
    count, parents = expected_chromosomes(collection, first), collection.taxa.pedigree(first).parents
    says = ""
    if count is not None and parents is not None:
        one, other = (collection.trait(label, "2n") for label in parents)
        says = say(f"bridge.{'even' if one == other else 'uneven'}", count=f"{count:g}", doubled=f"{2 * count:g}")
    return Bridge(
        [correct_form(label) for label in path[1:-1]], list(crosses), _product(crosses), years * (len(crosses) - 1),
        [Share(correct_form(label), shares[label]) for label in sorted(shares, key=lambda k: -shares[k])], count, says,
    )  # fmt: skip


def _between(collection: Collection, seed: Parent, pollen: Parent) -> list[str]:
    """Return the species that may serve: those that the grower has, or all; the nearest to both where they are many."""
    owned = {collection.index.find(plant.species) for plant in alive_on(collection, today())}
    tips = list(collection.distances.tips)
    labels = [label for label in tips if label in owned]
    labels = labels if len(labels) >= _FEWEST_SPECIES else tips
    apart = [collection.taxa.apart([side.label] * len(labels), labels) for side in (seed, pollen)]
    return [labels[i] for i in np.argsort(np.maximum(*apart), kind="stable")[:_MOST_SPECIES].tolist()]


@dataclass(frozen=True, slots=True)
class Suspect:
    """One thing that may have failed a cross, and what the other finished crosses with it say.

    It is ``clear`` if one of them took, ``suspect`` if none did where some should have, else ``open``. So many of them
    would be ``expected`` to give a seedling by the starting guess.
    """

    what: Literal["mother", "pollen", "days", "pair"]
    name: str
    verdict: Literal["clear", "suspect", "open"]
    took: int
    crosses: int
    expected: float
    says: str


@dataclass(frozen=True, slots=True)
class WhyFailed:
    """What may have failed a cross: where it stopped, each suspect, unlike chromosomes, and what would tell most."""

    cross: str
    seed_parent: str
    pollen_parent: str
    stopped: str
    suspects: list[Suspect]
    chromosomes: str
    check: str
    invented: bool
    schema: Literal["crosscompat.failed/1"] = "crosscompat.failed/1"


def why_failed(collection: Collection, number: str) -> WhyFailed:
    """Return what may have failed a cross, whose ``number`` is as a person types it.

    Raises
    ------
    WrongUse, UnknownName
        If the cross did not fail, or is no pairing; if there is no such cross, or a parent stands nowhere.
    """
    pairings = [cross for cross in collection.crosses if no_pairing(cross, collection.plants) is None]
    meant = find_number(number, [cross.cross for cross in pairings if cross.cross])
    cross = next(each for each in pairings if each.cross == meant)
    outcome = outcome_of(cross)
    if outcome != "failed":
        raise WrongUse(say(f"failed.not_failed.{outcome}", cross=meant, cause=cross.lost_to))
    seed, pollen = _sides(collection, cross)
    others = [each for each in pairings if each is not cross and outcome_of(each) in {"took", "failed"}]
    suspects = _suspects(collection, cross, others, seed, pollen)
    ours, theirs = (chromosomes_of(collection, parent) for parent in (seed, pollen))
    named = {"seed": seed.called, "pollen": pollen.called, "seed_n": ours, "pollen_n": theirs}
    unlike = say("failed.check.chromosomes", **named) if None not in {ours, theirs} and ours != theirs else ""
    check, invented = _check(collection, suspects, seed, pollen, others), collection.settings.invented
    return WhyFailed(meant, seed.name, pollen.name, _stopped(cross), suspects, unlike, check, invented)


def _suspects(
    collection: Collection, cross: Cross, others: Sequence[Cross], seed: Parent, pollen: Parent
) -> list[Suspect]:
    labels = [{collection.index.find(side or "") for side in (each.seed_parent, each.pollen_parent)} for each in others]
    return [
        _suspect(collection, "mother", seed.called, _same(collection, cross, others, "seed")),
        _suspect(collection, "pollen", pollen.called, _same(collection, cross, others, "pollen")),
        _suspect(collection, "days", "", [each for each in others if abs((each.date - cross.date).days) <= _DAYS]),
        _suspect(collection, "pair", f"{seed.name} × {pollen.name}",
                 [each for each, pair in zip(others, labels, strict=True) if pair == {seed.label, pollen.label}]),
    ]  # fmt: skip


def _sides(collection: Collection, cross: Cross) -> tuple[Parent, Parent]:
    seed = find_parent(collection, cross.seed_plant or cross.seed_parent)
    return seed, find_parent(collection, cross.pollen_plant or cross.pollen_parent or "")


def _same(collection: Collection, cross: Cross, others: Sequence[Cross], side: str) -> list[Cross]:
    """Return the other crosses with one parent: the very plant where it is known and was crossed, else its species."""
    plant = getattr(cross, f"{side}_plant")
    label = collection.index.find(getattr(cross, f"{side}_parent"))
    of_plant = [each for each in others if plant and collection.plants.one_clone(plant, getattr(each, f"{side}_plant"))]
    return of_plant or [each for each in others if collection.index.find(getattr(each, f"{side}_parent")) == label]


def _suspect(
    collection: Collection, what: Literal["mother", "pollen", "days", "pair"], name: str, others: Sequence[Cross]
) -> Suspect:
    took = sum(outcome_of(each) == "took" for each in others)
    expected = _expected(collection, others)
    blamed: Literal["suspect", "open"] = "suspect" if expected >= _EXPECTED else "open"
    verdict: Literal["clear", "suspect", "open"] = "clear" if took else blamed
    words = _OF_ONE.get(verdict, verdict) if len(others) == 1 else verdict
    key = words if others else "nothing"
    says = say(f"failed.{what}.{key}", name=name, took=took, n=len(others), expected=f"{expected:.0f}")
    return Suspect(what, name, verdict, took, len(others), expected, says)


def _expected(collection: Collection, crosses: Sequence[Cross]) -> float:
    """Return how many crosses would give a seedling by the starting guess; those without a place count for none."""
    placed = []
    for cross in crosses:
        with suppress(UnknownName):
            placed.append((_sides(collection, cross), units_of(cross)))
    if not placed:
        return 0.0
    parents = parents_of([sides for sides, _ in placed])
    return float(chances_of(collection, prior_of(collection), parents, [n for _, n in placed]).mean.sum())


def _stopped(cross: Cross) -> str:
    """Say at which stage it stopped: the first of which nothing was left, or the last if there was seed."""
    n = cross.tried or cross.units
    for name, stage in STAGES.items():
        if name != LAST and 0 in {getattr(cross, stage.tried), getattr(cross, stage.took)}:
            uncounted = stage.tried == "units" and not n
            return say("stages.stopped.uncounted" if uncounted else f"stages.stopped.{name}", n=n)
    return say(f"stages.stopped.{LAST if cross.seeds_sown or cross.seeds_filled or cross.seeds else 'unknown'}")


def _check(
    collection: Collection, suspects: Sequence[Suspect], seed: Parent, pollen: Parent, others: Sequence[Cross]
) -> str:
    """Say which cross would tell most: a proven pollen for a mother in doubt, a proven mother for such pollen."""
    clear = {suspect.what: suspect.verdict == "clear" for suspect in suspects}
    if clear["mother"] and clear["pollen"]:
        hopeless = any(suspect.what == "pair" and suspect.verdict == "suspect" for suspect in suspects)
        return say(f"failed.check.{'pair' if hopeless else 'repeat'}", seed=seed.called, pollen=pollen.called)
    if not clear["mother"]:
        fathers = [(seed, other) for other in _proven(collection, others, "pollen") if other.label != pollen.label]
        if best := _likeliest(collection, fathers):
            return say("failed.check.mother", plant=seed.called, other=best[1].called, n=_CHECKED_WITH)
    if not clear["pollen"]:
        mothers = [(other, pollen) for other in _proven(collection, others, "seed") if other.label != seed.label]
        if best := _likeliest(collection, mothers):
            return say("failed.check.pollen", plant=pollen.called, other=best[0].called, n=_CHECKED_WITH)
    return say("failed.check.nothing")


def _proven(collection: Collection, others: Sequence[Cross], side: str) -> list[Parent]:
    """Return the living plants that took on one side."""
    names = {getattr(each, f"{side}_plant"): None for each in others if outcome_of(each) == "took"}
    took = dict.fromkeys(filter(None, map(collection.plants.find, names)))
    alive = {plant.plant for plant in alive_on(collection, today())}
    labels = [(collection.index.find(plant.species), plant) for plant in took if plant.plant in alive]
    return [Parent(label, plant) for label, plant in labels if label is not None]


def _likeliest(collection: Collection, pairs: Sequence[tuple[Parent, Parent]]) -> tuple[Parent, Parent] | None:
    """Return the pairing of two species that is most likely to take; None if there is none."""
    fit = [(seed, pollen) for seed, pollen in pairs if seed.label != pollen.label]
    if not fit:
        return None
    chance = chances_of(collection, basis_of(collection).model, parents_of(fit)).mean
    return fit[int(np.argmax(chance))]
