"""What the forecasts of the ledger were worth, once it is known what came of the crosses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from crosscompat.advice.ledger import in_force, over_by
from crosscompat.book.records import GivenForecast
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.likelihood import Floats
from crosscompat.model.scoring import CameOf, ForecastScore, calibration, pair_numbers, scores, verdict_on
from crosscompat.model.training_set import TrainingSet
from crosscompat.show.chances import one_in, percent

FEWEST = 5
"""Fewer crosses than this are no ground for a verdict."""


@dataclass(frozen=True, slots=True)
class ScoredForecast:
    """A forecast as it was given, and what became of the cross.

    Attributes
    ----------
    cross : str
        The grower's number.
    seed_parent, pollen_parent : str
        Species in correct form.
    given : str
        ISO date of the forecast.
    under_way : bool
        Whether it was given while the cross was under way, and not before the flowers were pollinated.
    mean, low, high : float
        The chance that was given, and its 90% interval.
    base_rate : float
        How often the grower's crosses had given a seedling until then.
    took : bool
        Whether this one did.
    """

    cross: str
    seed_parent: str
    pollen_parent: str
    given: str
    under_way: bool
    flowers: int
    mean: float
    low: float
    high: float
    base_rate: float
    took: bool


@dataclass(frozen=True, slots=True)
class CameTrue:
    """What came of forecasts of about one size.

    Attributes
    ----------
    chance : float
        Their mean.
    low, high : float
        90% interval of the share that took.
    says : str
        In plain words.
    """

    chance: float
    crosses: int
    took: int
    low: float
    high: float
    says: str


@dataclass(frozen=True, slots=True)
class TrackRecord:
    """How the forecasts did that were written before the outcome was known.

    Attributes
    ----------
    crosses, took : int
        Finished crosses with such a forecast, and those of them that gave a seedling.
    under_way : int
        Forecasts that were given while the cross was under way.
    log_loss, base_log_loss, brier, base_brier : float
        Of the forecasts, and of the grower's own base rate on the day of each; the smaller the better.
    skill : float or None
        Share of the base rate's Brier score that is saved; None where all outcomes are alike.
    skill_low, skill_high : float or None
        90% interval of the skill, from leaving out pair after pair; None where it cannot be told.
    auc : float or None
        How often a cross with a seedling had the larger chance than one without; None where all outcomes are alike.
    verdict : str
        ``better``, ``perhaps``, ``no_better`` or ``worse`` than the base rate; ``alike`` or ``few`` if that cannot be
        told.
    says : list of str
        The same in plain words.
    forecasts : list of ScoredForecast
        Oldest cross first.
    """

    crosses: int
    took: int
    under_way: int
    log_loss: float
    base_log_loss: float
    brier: float
    base_brier: float
    skill: float | None
    skill_low: float | None
    skill_high: float | None
    auc: float | None
    verdict: str
    says: list[str]
    calibration: list[CameTrue]
    forecasts: list[ScoredForecast]


def track_record(collection: Collection, given: Sequence[GivenForecast], evidence: TrainingSet) -> TrackRecord | None:
    """Score the forecasts that were written before the outcome was known, beside the grower's own base rate.

    `in_force` says which of those given count. Every cross counts once and alike. It is None if no cross that was
    forecast has finished yet by the evidence.
    """
    in_time = in_force(collection, given, evidence)
    if not in_time:
        return None
    at, forecasts = np.array(list(in_time)), list(in_time.values())
    took = evidence.outcomes.fruitful[at].astype(np.float64)
    said = np.array([forecast.mean for forecast in forecasts])
    base = base_rates(collection, evidence, [forecast.date for forecast in forecasts])
    weight, pair = np.ones(len(in_time)), pair_numbers(evidence.seed, evidence.pollen)[at]
    ours, theirs = (scores(chance, took, weight, base, pair) for chance in (said, base))
    verdict = "few" if len(in_time) < FEWEST else verdict_on(ours)
    under_way = sum(forecast.cross is not None for forecast in forecasts)
    oldest_first = sorted(range(len(at)), key=lambda i: evidence.crosses[at[i]].date)
    return TrackRecord(
        crosses=len(in_time),
        took=int(took.sum()),
        under_way=under_way,
        log_loss=ours.log_loss,
        base_log_loss=theirs.log_loss,
        brier=ours.brier,
        base_brier=theirs.brier,
        skill=ours.skill,
        skill_low=ours.skill_low,
        skill_high=ours.skill_high,
        auc=ours.auc,
        verdict=verdict,
        says=_in_words(ours, theirs, verdict, took, under_way),
        calibration=[_came_true(entry) for entry in calibration(said, took, weight)],
        forecasts=[_scored(evidence, at[i], forecasts[i], float(base[i])) for i in oldest_first],
    )


def base_rates(collection: Collection, evidence: TrainingSet, days: Sequence[date]) -> Floats:
    """Return how often the grower's crosses had given a seedling by each day, shape (n_days,).

    Counted are the crosses that were finished and in the book by then, with half a seedling and half a failure
    beforehand: six that all took do not make the seventh certain.
    """
    window = max(collection.settings.windows.values())
    took, rates = evidence.outcomes.fruitful, {}
    for day in dict.fromkeys(days):
        counted = [
            i
            for i, cross in enumerate(evidence.crosses)
            if evidence.outcomes.known[i] and (day - cross.date).days >= window and over_by(cross, day)
        ]
        rates[day] = (took[counted].sum() + 0.5) / (len(counted) + 1.0)
    return np.array([rates[day] for day in days], dtype=np.float64)


def _in_words(ours: ForecastScore, theirs: ForecastScore, verdict: str, took: Floats, under_way: int) -> list[str]:
    words = [say("ledger.came", n=len(took), took=int(took.sum()))]
    if under_way:
        words.append(say("ledger.under_way", n=under_way))
    if verdict == "few":
        return [*words, say("ledger.verdicts.few", least=FEWEST)]
    if verdict == "alike":
        return [*words, say(f"ledger.verdicts.alike_{'took' if took[0] else 'failed'}")]
    numbers = {
        "brier": f"{ours.brier:.2f}",
        "base_brier": f"{theirs.brier:.2f}",
        "log_loss": f"{ours.log_loss:.2f}",
        "base_log_loss": f"{theirs.log_loss:.2f}",
        "auc": percent(ours.auc or 0.0),
    }
    return [*words, say(f"ledger.verdicts.{verdict}"), say("ledger.scores", **numbers)]


def _came_true(entry: CameOf) -> CameTrue:
    crosses, took = round(entry.crosses), round(entry.crosses * entry.took)
    how = "more" if entry.chance < entry.low else "less" if entry.chance > entry.high else "as_said"
    chance = {"words": one_in(entry.chance), "percent": percent(entry.chance)}
    says = say("ledger.bin", n=crosses, took=took, how=say(f"ledger.how.{how}"), **chance)
    return CameTrue(entry.chance, crosses, took, entry.low, entry.high, says)


def _scored(evidence: TrainingSet, at: int, given: GivenForecast, base_rate: float) -> ScoredForecast:
    return ScoredForecast(
        cross=evidence.crosses[at].number,
        seed_parent=correct_form(evidence.seed[at]),
        pollen_parent=correct_form(evidence.pollen[at]),
        given=given.date.isoformat(),
        under_way=given.cross is not None,
        flowers=given.flowers,
        mean=given.mean,
        low=given.low,
        high=given.high,
        base_rate=base_rate,
        took=bool(evidence.outcomes.fruitful[at]),
    )
