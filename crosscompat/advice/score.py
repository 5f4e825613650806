"""How far the forecasts of a collection can be trusted: its own finished crosses, held out and forecast."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crosscompat.advice.blind import FORECASTS, Blind, Work, blind_forecasts, gave_a_seedling
from crosscompat.advice.predict import training_set_of
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.likelihood import Floats
from crosscompat.model.scoring import (
    Fold,
    by_pair,
    by_season,
    by_species,
    calibration,
    known,
    pair_numbers,
    scores,
    skill_interval,
    verdict_on,
)
from crosscompat.model.training_set import TrainingSet

__all__ = ["LEAST", "WAYS", "CameOf", "ForecastScore", "Scorecard", "WayScore", "score"]

WAYS = ("pairs", "species", "seasons")
LEAST = 5


@dataclass(frozen=True, slots=True)
class ForecastScore:
    """The scores of one forecast of the crosses held out.

    Attributes
    ----------
    forecast : str
        ``crosscompat``, ``distance`` or ``traits`` alone, or ``base_rate``: how often the crosses learned from gave a
        seedling.
    log_loss, brier : float
        The smaller the better.
    skill : float or None
        Share of the base rate's Brier score that is saved; below 0 it is worse than that. None where all outcomes are
        alike.
    skill_low, skill_high : float or None
        90% interval of the skill, from leaving out pair after pair; None where it cannot be told.
    auc : float or None
        How often a cross with a seedling had the larger chance than one without; 0.5 tells nothing. None where all
        outcomes are alike, and for the base rate, which says the same of all.
    """

    forecast: str
    log_loss: float
    brier: float
    skill: float | None
    skill_low: float | None
    skill_high: float | None
    auc: float | None


@dataclass(frozen=True, slots=True)
class CameOf:
    """What came of chances of about one size.

    Attributes
    ----------
    chance : float
        Mean of the chances given.
    took : float
        Share of the crosses that gave a seedling.
    low, high : float
        90% interval of that share.
    crosses : float
        How many stand behind it; one that is held out with each of two species counts half each time, and doubtful
        evidence less.
    """

    chance: float
    took: float
    low: float
    high: float
    crosses: float


@dataclass(frozen=True, slots=True)
class WayScore:
    """One way of holding out crosses, and how the forecasts did.

    Attributes
    ----------
    way : str
        ``pairs``: pair after pair, both ways round together. ``species``: species after species with every cross that
        has it as a parent; a cross of two species is forecast twice, and each counts half. ``seasons``: each season
        from the seasons before; the first is not forecast.
    crosses, pairs : int
        That were held out and forecast.
    folds : int
        How many times some were held out: as many models were fitted.
    forecasts : list of ForecastScore
        Empty if no cross could be forecast.
    calibration : list of CameOf
        Of ``crosscompat``.
    verdict : str
        ``better``, ``perhaps``, ``no_better`` or ``worse`` than the base rate; ``alike`` if all outcomes are;
        ``nothing`` if no cross could be forecast.
    says : str
        In plain words.
    """

    way: str
    crosses: int
    pairs: int
    folds: int
    forecasts: list[ForecastScore]
    calibration: list[CameOf]
    verdict: str
    says: str


@dataclass(frozen=True, slots=True)
class Scorecard:
    """How far the forecasts can be trusted.

    Attributes
    ----------
    as_of : str
        ISO date on which the season was read.
    crosses, took, pairs : int
        Finished crosses, those with a seedling, and how many pairs they are of.
    ways : list of WayScore
        Empty if the crosses are too few.
    says : str
        What stands behind it, in plain words.
    invented : bool
        Whether the outcomes are invented.
    """

    as_of: str
    crosses: int
    took: int
    pairs: int
    ways: list[WayScore]
    says: str
    invented: bool
    schema: Literal["crosscompat.score/1"] = "crosscompat.score/1"


def score(collection: Collection, *, as_of: date, ways: Sequence[str] = WAYS, work: Work = map) -> Scorecard:
    """Hold out a collection's finished crosses and score forecasts of them.

    What is forecast is the outcome of a cross as a whole, at least one seedling from the units it used, against the
    chance for just so many units; a cross whose units were not counted is taken as one. So "k of n units" and "some of
    n" count alike, one outcome a cross, and a cross on ten flowers weighs no more than one on two: flowers of one cross
    share their fate. Doubtful evidence weighs as little here as in a fit, all other crosses 1.

    Parameters
    ----------
    collection : Collection
    as_of : date
        The day on which the season is read.
    ways : sequence of str
        Any of ``WAYS``.
    work : callable
        As for `blind_forecasts`.

    Raises
    ------
    WrongUse
        If a way is none of them.

    Notes
    -----
    Fewer than five crosses, or a single pair, are too few, and no way is scored. Intervals of the skill take pairs as
    independent, though pairs that share a species are not quite.
    """
    for way in ways:
        if way not in WAYS:
            raise WrongUse(say("score.which_way", got=way, ways=", ".join(WAYS)))
    evidence = training_set_of(collection, as_of)
    finished, pair = evidence.outcomes.known, pair_numbers(evidence.seed, evidence.pollen)
    crosses, pairs, took = int(finished.sum()), len(set(pair[finished])), int(evidence.outcomes.fruitful.sum())
    enough = crosses >= LEAST and pairs > 1
    words = say("score.intro", n=crosses, pairs=pairs, took=took) if enough else _too_few(crosses, pairs)
    folds = _folds(collection, evidence, ways) if enough else {}
    blind = blind_forecasts(collection, evidence, folds, work)
    scored = [_way_score(evidence, pair, way, blind[way]) for way in folds]
    return Scorecard(as_of.isoformat(), crosses, took, pairs, scored, words, collection.settings.invented)


def _too_few(crosses: int, pairs: int) -> str:
    return say("score.too_few", n=crosses, pairs=pairs, least=LEAST)


def _folds(collection: Collection, evidence: TrainingSet, ways: Sequence[str]) -> dict[str, list[Fold]]:
    season = [season_of(cross.date, collection.settings.season_start) for cross in evidence.crosses]
    plants = map(collection.taxa.pedigree, {*evidence.seed, *evidence.pollen})
    comes_of = {plant.label: plant.shares.keys() for plant in plants if plant.is_hybrid}
    split = {
        "pairs": lambda: by_pair(evidence.seed, evidence.pollen),
        "species": lambda: by_species(evidence.seed, evidence.pollen, comes_of=comes_of),
        "seasons": lambda: by_season(season),
    }
    return {way: split[way]() for way in WAYS if way in ways}


def _way_score(evidence: TrainingSet, pair: NDArray[np.int64], way: str, blind: Blind) -> WayScore:
    if not blind.at.size:
        return WayScore(way, 0, 0, 0, [], [], "nothing", say("score.verdicts.nothing"))
    took, group = gave_a_seedling(evidence)[blind.at], pair[blind.at]
    weight = evidence.weight[blind.at] / np.bincount(blind.at)[blind.at]
    found = [_score_of(name, blind.chances, took, weight, group) for name in FORECASTS if name in blind.chances]
    pairs = len(set(group))
    verdict = _verdict(found[0])
    return WayScore(
        way,
        len(set(blind.at)),
        pairs,
        blind.folds,
        found,
        _came_of(blind.chances["crosscompat"], took, weight),
        verdict,
        _in_words(way, verdict, found, pairs, took),
    )


def _score_of(
    name: str, said: Mapping[str, Floats], took: Floats, weight: Floats, group: NDArray[np.int64]
) -> ForecastScore:
    chance, base_rate = said[name], said["base_rate"]
    found = scores(chance, took, weight, base_rate)
    alike, reference = len(set(took)) == 1, name == "base_rate"
    low, high = skill_interval(chance, took, weight, base_rate, group)
    return ForecastScore(
        name,
        found.log_loss,
        found.brier,
        None if alike else found.skill,
        None if alike or reference else known(low),
        None if alike or reference else known(high),
        None if reference else known(found.auc),
    )


def _came_of(chance: Floats, took: Floats, weight: Floats) -> list[CameOf]:
    return [CameOf(b.forecast, b.took, b.low, b.high, b.outcomes) for b in calibration(chance, took, weight)]


def _verdict(whole: ForecastScore) -> str:
    return "alike" if whole.skill is None else verdict_on(whole.skill, whole.skill_low, whole.skill_high)


def _in_words(way: str, verdict: str, found: Sequence[ForecastScore], pairs: int, took: Floats) -> str:
    everything = say("score.all.took" if took[0] else "score.all.failed")
    words = [say(f"score.verdicts.{verdict}", what=say(f"score.for.{way}"), pairs=pairs, all=everything)]
    alone = [entry for entry in found if entry.forecast in {"distance", "traits"}]
    best = min(alone, key=lambda entry: entry.brier)
    if verdict != "alike" and best.brier <= found[0].brier:
        words.append(say(f"score.as_good.{best.forecast}"))
    return " ".join(words)
