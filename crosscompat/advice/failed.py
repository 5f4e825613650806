"""Why a cross failed: what the records say of its mother, its pollen, its days and the pair, and what would tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from crosscompat.advice.figures import outcome_of
from crosscompat.advice.forecast_record import units_of
from crosscompat.advice.mating import alive_on
from crosscompat.advice.parents import Parent, chromosomes_of, find_parent
from crosscompat.advice.predict import basis_of, chances_of, parents_of, prior_of
from crosscompat.book.crosses import Cross
from crosscompat.book.find_records import find_number
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import today
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel
from crosscompat.model.training_set import no_pairing
from crosscompat.stages import LAST, STAGES

_DAYS = 3
"""Crosses made so many days before or after share its weather: a judgement."""

_EXPECTED = 1.5
"""Seedlings expected from other crosses above which none of them is a sign: such luck is about 1 in 5."""

_CHECKED_WITH = 3
_OF_ONE = {"clear": "clear_one", "open": "open_one"}
"""What is said of a single other cross."""


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
    WrongUse
        If the cross did not fail, or is no pairing.
    UnknownName
        If there is no such cross, or a parent stands nowhere.
    """
    pairings = [cross for cross in collection.crosses if no_pairing(cross, collection.plants) is None]
    known = [cross.cross for cross in pairings if cross.cross]
    meant = find_number(number, known)
    cross = next(each for each in pairings if each.cross == meant)
    outcome = outcome_of(cross)
    if outcome != "failed":
        raise WrongUse(say(f"failed.not_failed.{outcome}", cross=meant, cause=cross.lost_to))
    seed, pollen = _sides(collection, cross)
    others = [each for each in pairings if each is not cross and outcome_of(each) in {"took", "failed"}]
    suspects = [
        _suspect(collection, "mother", seed.called, _same(collection, cross, others, "seed")),
        _suspect(collection, "pollen", pollen.called, _same(collection, cross, others, "pollen")),
        _suspect(collection, "days", "", [each for each in others if abs((each.date - cross.date).days) <= _DAYS]),
        _suspect(collection, "pair", f"{seed.name} × {pollen.name}", _of_pair(collection, cross, others)),
    ]
    return WhyFailed(
        meant, seed.name, pollen.name, _stopped(cross), suspects, _chromosomes(collection, seed, pollen),
        _check(collection, suspects, seed, pollen, others), collection.settings.invented,
    )  # fmt: skip


def _chromosomes(collection: Collection, seed: Parent, pollen: Parent) -> str:
    ours, theirs = (chromosomes_of(collection, parent) for parent in (seed, pollen))
    if ours is None or theirs is None or ours == theirs:
        return ""
    return say("failed.check.chromosomes", seed=seed.called, pollen=pollen.called, seed_n=ours, pollen_n=theirs)


def _sides(collection: Collection, cross: Cross) -> tuple[Parent, Parent]:
    seed = find_parent(collection, cross.seed_plant or cross.seed_parent)
    return seed, find_parent(collection, cross.pollen_plant or cross.pollen_parent or "")


def _same(collection: Collection, cross: Cross, others: Sequence[Cross], side: str) -> list[Cross]:
    """Return the other crosses with one parent: the very plant where it is known and was crossed, else its species."""
    plant = getattr(cross, f"{side}_plant")
    label = collection.index.find(getattr(cross, f"{side}_parent"))
    of_plant = [each for each in others if plant and collection.plants.one_clone(plant, getattr(each, f"{side}_plant"))]
    return of_plant or [each for each in others if collection.index.find(getattr(each, f"{side}_parent")) == label]


def _of_pair(collection: Collection, cross: Cross, others: Sequence[Cross]) -> list[Cross]:
    def pair(each: Cross) -> set[str | None]:
        return {collection.index.find(each.seed_parent), collection.index.find(each.pollen_parent or "")}

    asked = pair(cross)
    return [each for each in others if pair(each) == asked]


def _suspect(
    collection: Collection, what: Literal["mother", "pollen", "days", "pair"], name: str, others: Sequence[Cross]
) -> Suspect:
    took = sum(outcome_of(each) == "took" for each in others)
    expected = _expected(collection, others)
    verdict: Literal["clear", "suspect", "open"] = "open"
    if took:
        verdict = "clear"
    elif expected >= _EXPECTED:
        verdict = "suspect"
    words = _OF_ONE.get(verdict, verdict) if len(others) == 1 else verdict
    key = words if others else "nothing"
    says = say(f"failed.{what}.{key}", name=name, took=took, n=len(others), expected=f"{expected:.0f}")
    return Suspect(what, name, verdict, took, len(others), expected, says)


def _expected(collection: Collection, crosses: Sequence[Cross]) -> float:
    """Return how many crosses would give a seedling by the starting guess; those without a place count for none."""
    sides, flowers = [], []
    for cross in crosses:
        try:
            sides.append(_sides(collection, cross))
        except UnknownName:
            continue
        flowers.append(units_of(cross))
    if not sides:
        return 0.0
    return float(chances_of(collection, prior_of(collection), parents_of(sides), flowers).mean.sum())


def _stopped(cross: Cross) -> str:
    """Say at which stage it stopped: the first of which nothing was left, or the last if there was seed."""
    n = cross.tried or cross.units
    for name, stage in STAGES.items():
        if name != LAST and 0 in {getattr(cross, stage.tried), getattr(cross, stage.took)}:
            uncounted = stage.tried == "units" and not n
            return say("stages.stopped.uncounted" if uncounted else f"stages.stopped.{name}", n=n)
    any_seed = cross.seeds_sown or cross.seeds_filled or cross.seeds
    return say(f"stages.stopped.{LAST}" if any_seed else "stages.stopped.unknown")


def _check(
    collection: Collection, suspects: Sequence[Suspect], seed: Parent, pollen: Parent, others: Sequence[Cross]
) -> str:
    """Say which cross would tell most: a proven pollen for a mother in doubt, a proven mother for such pollen."""
    clear = {suspect.what: suspect.verdict == "clear" for suspect in suspects}
    if clear["mother"] and clear["pollen"]:
        hopeless = any(suspect.what == "pair" and suspect.verdict == "suspect" for suspect in suspects)
        return say(f"failed.check.{'pair' if hopeless else 'repeat'}", seed=seed.called, pollen=pollen.called)
    model = basis_of(collection).model
    if not clear["mother"]:
        fathers = [(seed, other) for other in _proven(collection, others, "pollen") if other.label != pollen.label]
        if best := _likeliest(collection, model, fathers):
            return say("failed.check.mother", plant=seed.called, other=best[1].called, n=_CHECKED_WITH)
    if not clear["pollen"]:
        mothers = [(other, pollen) for other in _proven(collection, others, "seed") if other.label != seed.label]
        if best := _likeliest(collection, model, mothers):
            return say("failed.check.pollen", plant=pollen.called, other=best[0].called, n=_CHECKED_WITH)
    return say("failed.check.nothing")


def _proven(collection: Collection, others: Sequence[Cross], side: str) -> list[Parent]:
    """Return the living plants that took on one side."""
    names = [getattr(each, f"{side}_plant") for each in others if outcome_of(each) == "took"]
    took = dict.fromkeys(plant.plant for name in names if name and (plant := collection.plants.find(name)))
    alive = {plant.plant: plant for plant in alive_on(collection, today())}
    labels = [(collection.index.find(alive[name].species), alive[name]) for name in took if name in alive]
    return [Parent(label, plant) for label, plant in labels if label is not None]


def _likeliest(
    collection: Collection, model: FittedModel, pairs: Sequence[tuple[Parent, Parent]]
) -> tuple[Parent, Parent] | None:
    """Return the pairing of two species that is most likely to take; None if there is none."""
    fit = [(seed, pollen) for seed, pollen in pairs if seed.label != pollen.label]
    if not fit:
        return None
    chance = chances_of(collection, model, parents_of(fit)).mean
    return fit[int(np.argmax(chance))]
