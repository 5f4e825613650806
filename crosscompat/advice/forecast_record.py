"""The record of forecasts: what is written into it, which line speaks for a cross, and what the lines were worth.

The forecast that counts is the one in force when the flowers were pollinated: the last that was written on or before
that day for the same directed pair and as many flowers, naming no other plant where both name one. A forecast of a
pairing speaks for the first cross that is made of it from its day on, and for no later one. Of one day the first line
counts, so that a day that is replayed later never outdoes what was said on it.

For want of such, it is the first that was written while that very cross was under way, provided that nothing of the
cross could have taught the model yet, for the shortest window of a stage had not passed, and that its outcome was not
in the book yet. By then crosses that fail early may be over, so that those left do better than was said of them all.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.parents import Caution, Parent, cautions
from crosscompat.advice.predict import basis_of, chances_of, clones_on_both_sides, parents_of, predict, training_set_of
from crosscompat.advice.rank import wanted_pairs
from crosscompat.book.crosses import Cross, findable_name, placed, recorded_by
from crosscompat.book.records import SELFED, GivenForecast
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Parents
from crosscompat.model.scoring import CameOf, ForecastScore, calibration, pair_numbers, scores, verdict_on
from crosscompat.model.training_set import TrainingSet, fruitful
from crosscompat.show.chances import one_in, percent

PRIOR = "prior"
"""What a forecast names in place of a model where nothing was learned yet."""

FEWEST = 5
"""Fewer crosses than this are no ground for a verdict."""

_Pair = tuple[str | None, str | None]
_MOST_USUAL = 3
_DIGITS = 12
_ABOUT_THE_PAIR = ("sex", "ploidy", "flowering")
_ALSO_MADE = ("selfed", "not_recorded", "not_finished", "lost", "unknown_outcome")
"""Left out of a fit, and yet crosses of their pairing."""


@dataclass(frozen=True, slots=True)
class _Made:
    """A cross by the plain brush: its parents, and its place among the evidence; None without an outcome there."""

    cross: Cross
    seed: str
    pollen: str
    at: int | None
    clones: _Pair


def _crosses_made(collection: Collection, evidence: TrainingSet) -> list[_Made]:
    """Return the crosses that were made of two parents with a place on the tree, oldest first.

    The evidence is that of all crosses of the collection.
    """
    known = evidence.outcomes.known.tolist()
    entered = zip(evidence.crosses, evidence.seed, evidence.pollen, strict=True)
    made = [(*each, at if known[at] else None) for at, each in enumerate(entered)]
    others = [left.cross for left in evidence.left_out if left.reason in _ALSO_MADE]
    places = placed(collection.index, [(cross.seed_parent, cross.pollen_parent) for cross in others])
    made += [(cross, str(seed), str(pollen), None) for cross, (seed, pollen) in zip(others, places, strict=True)]
    clones = zip(*clones_on_both_sides(collection.plants, [cross for cross, *_ in made]), strict=True)
    crosses = [_Made(*each, both) for each, both in zip(made, clones, strict=True)]
    return sorted(crosses, key=lambda each: (each.cross.date, each.cross.row))


def units_of(cross: Cross) -> int:
    """Return how many flowers a cross had; one for want of a count, as in a fit."""
    return cross.tried or cross.units or 1


def _over_by(cross: Cross, day: date) -> bool:
    """Tell whether the book knew on some day how a cross had ended; without a date of recording it always did."""
    ended = fruitful(cross) is not None or cross.lost_to is not None or cross.proof == SELFED
    return ended and recorded_by(cross, day)


def forecasts_due(collection: Collection, model: FittedModel, fingerprint: str, as_of: date) -> list[GivenForecast]:
    """Return the forecasts to be written on some day, by its model; twelve digits of the fingerprint go along.

    These are the crosses wanted, for each number of `flowers_to_forecast`; then the crosses under way, each for its own
    plants and flowers: made by that day, younger than the last window, and neither over nor lost by what the book knew
    that day. One that has no identifier and no number cannot be found again and is left out. Chances have six digits.
    """
    due = [*dict.fromkeys(_wanted(collection, as_of)), *_under_way(collection, as_of)]
    if not due:
        return []
    clones = clones_on_both_sides(collection.plants, due)
    places = placed(collection.index, [(line.seed_parent, line.pollen_parent) for line in due])
    seed, pollen = ([str(label) for label in side] for side in zip(*places, strict=True))
    chance = chances_of(collection, model, Parents(seed, pollen, *clones), [line.flowers for line in due])
    return [_written(line, fingerprint[:_DIGITS], interval_at(chance, i)) for i, line in enumerate(due)]


def flowers_to_forecast(crosses: Iterable[Cross], as_of: date) -> list[int]:
    """Return one, and the numbers of flowers that most crosses made by some day had, at most three.

    A chance for one number of flowers cannot be turned into that for another: the mean of 1 - (1 - p)^N is not to be
    had from the mean and the interval of p. So a cross wanted is forecast for all that it is likely to be made on.

    Examples
    --------
    >>> flowers_to_forecast([Cross(date(2024, 5, 1), "A", "B", units=n) for n in (6, 4, 4)], date(2024, 5, 1))
    [1, 4, 6]
    """
    counted = Counter(units_of(cross) for cross in crosses if cross.date <= as_of)
    most = sorted(counted, key=lambda n: (-counted[n], n))[:_MOST_USUAL]
    return sorted({1, *most})


def _wanted(collection: Collection, day: date) -> Iterator[GivenForecast]:
    flowers = flowers_to_forecast(collection.crosses, day)
    for wish in wanted_pairs(collection, collection.wanted)[0]:
        for n in flowers:
            yield _blank(collection, (wish.seed, wish.pollen), n, day)


def _under_way(collection: Collection, day: date) -> Iterator[GivenForecast]:
    last = max(collection.settings.windows.values())
    for made in _crosses_made(collection, training_set_of(collection, day)):
        cross, name = made.cross, made.cross.id or made.cross.cross
        if name and 0 <= (day - cross.date).days < last and not _over_by(cross, day):
            blank = _blank(collection, (Parent(made.seed), Parent(made.pollen)), units_of(cross), day, name)
            yield replace(blank, seed_plant=cross.seed_plant, pollen_plant=cross.pollen_plant)


def _blank(
    collection: Collection, pair: tuple[Parent, Parent], flowers: int, day: date, cross: str | None = None
) -> GivenForecast:
    """Return a forecast that says nothing yet: the species by names that are found again, and the very plants."""
    seed, pollen = (findable_name(collection.index, side.label) for side in pair)
    return GivenForecast(day, PRIOR, seed, pollen, flowers, 0.0, 0.0, 0.0, cross, pair[0].own_name, pair[1].own_name)


def _written(blank: GivenForecast, model: str, chance: Interval) -> GivenForecast:
    """Return a forecast as it is written down, with six digits."""
    mean, low, high = (float(f"{value:.6g}") for value in (chance.mean, chance.low, chance.high))
    return replace(blank, model=model, mean=mean, low=low, high=high)


@dataclass(frozen=True, slots=True)
class ForecastNow:
    """The chance of a pairing for so many flowers, by a model of some fingerprint, and what to mind of the two."""

    chance: Interval
    flowers: int
    model: str
    cautions: list[Caution]

    def record(self, collection: Collection, pair: tuple[Parent, Parent], cross: str, day: date) -> GivenForecast:
        """Return the forecast as it is written down with a visit to a cross."""
        return _written(_blank(collection, pair, self.flowers, day, cross), self.model, self.chance)


def forecast_now(collection: Collection, pair: tuple[Parent, Parent], flowers: int) -> ForecastNow:
    """Forecast a pairing for so many flowers by all that is on record; cautions are on sex, ploidy and flowering."""
    basis = basis_of(collection)
    predicted = predict(collection, basis.model, parents_of([pair]))
    return ForecastNow(
        interval_at(predicted.chance(flowers), 0),
        flowers,
        PRIOR if basis.fingerprint is None else basis.fingerprint[:_DIGITS],
        [c for c in cautions(collection, basis.model, *pair, predicted.rows[0]) if c.kind in _ABOUT_THE_PAIR],
    )


def in_force(collection: Collection, given: Sequence[GivenForecast], evidence: TrainingSet) -> dict[int, GivenForecast]:
    """Return the finished crosses that were forecast, each with the forecast that counts for it.

    ``given`` is the ledger in the order in which it was written, the evidence what the book knows now. The crosses are
    named by their place among the evidence, and stand in its order.
    """
    made: dict[_Pair, list[_Made]] = defaultdict(list)
    for each in _crosses_made(collection, evidence):
        made[each.seed, each.pollen].append(each)
    windows = collection.settings.windows.values()
    teaches = min(windows) if evidence.counts.counted else max(windows)
    places = placed(collection.index, [(line.seed_parent, line.pollen_parent) for line in given])
    clones = zip(*clones_on_both_sides(collection.plants, given), strict=True)
    lines = sorted(zip(given, places, clones, strict=True), key=_order)
    counts: dict[int, GivenForecast] = {}
    for line, pair, plants in lines:
        if line.cross is None:
            cross = _first_made(line, plants, made.get(pair, []))
        else:
            cross = _so_called(line, made.get(pair, []), teaches)
        if cross is not None and cross.at is not None and units_of(cross.cross) == line.flowers:
            counts.setdefault(cross.at, line)
    return dict(sorted(counts.items()))


def _order(entry: tuple[GivenForecast, _Pair, _Pair]) -> tuple[bool, int, int]:
    """Order lines as they count: before a cross the last day, and on it what names more plants; then the first."""
    line, _, plants = entry
    day = line.date.toordinal()
    return (True, day, 0) if line.cross is not None else (False, -day, plants.count(None))


def _first_made(line: GivenForecast, clones: _Pair, made: Sequence[_Made]) -> _Made | None:
    """Return the first cross of a pairing from the day of its forecast on, of the very plants where both name one."""

    def agree(theirs: _Pair) -> bool:
        return all(a is None or b is None or a == b for a, b in zip(clones, theirs, strict=True))

    return next((each for each in made if each.cross.date >= line.date and agree(each.clones)), None)


def _so_called(line: GivenForecast, made: Sequence[_Made], teaches: float) -> _Made | None:
    """Return the cross that was under way by that identifier or number; None if there is not just one.

    Nor if a model could have learned of it by then, or the book knew its outcome.
    """
    named = [each for each in made if line.cross in {each.cross.id, each.cross.cross} and each.cross.date <= line.date]
    if len(named) != 1:
        return None
    cross = named[0].cross
    known = cross.recorded_at is not None and recorded_by(cross, line.date)
    return None if known or (line.date - cross.date).days >= teaches else named[0]


@dataclass(frozen=True, slots=True)
class ScoredForecast:
    """A forecast as it was given, and what became of the cross.

    Attributes
    ----------
    under_way : bool
        Whether it was given while the cross was under way, and not before the flowers were pollinated.
    base_rate : float
        How often the grower's crosses had given a seedling until then.
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
    """What came of forecasts of about one size: their mean, and the share that took, in words with a 90% interval."""

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
    under_way : int
        Forecasts that were given while the cross was under way.
    log_loss, base_log_loss, brier, base_brier : float
        Of the forecasts, and of the grower's own base rate on the day of each; the smaller the better.
    skill, skill_low, skill_high, auc : float or None
        As of a `ForecastScore`.
    verdict : str
        ``better``, ``perhaps``, ``no_better`` or ``worse`` than the base rate; ``alike`` or ``few`` if that cannot be
        told.
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
        base_log_loss=theirs.log_loss,
        base_brier=theirs.brier,
        verdict=verdict,
        says=_in_words(ours, theirs, verdict, took, under_way),
        calibration=[_came_true(entry) for entry in calibration(said, took, weight)],
        forecasts=[_scored(evidence, at[i], forecasts[i], float(base[i])) for i in oldest_first],
        **{name: getattr(ours, name) for name in ("log_loss", "brier", "skill", "skill_low", "skill_high", "auc")},
    )


def base_rates(collection: Collection, evidence: TrainingSet, days: Sequence[date]) -> Floats:
    """Return how often the grower's crosses had given a seedling by each day, shape (n_days,).

    Counted are the crosses that were finished and in the book by then, with half a seedling and half a failure
    beforehand: six that all took do not make the seventh certain.
    """
    window, took = max(collection.settings.windows.values()), evidence.outcomes.fruitful
    finished = [(i, evidence.crosses[i]) for i in np.flatnonzero(evidence.outcomes.known).tolist()]

    def rate(day: date) -> float:
        counted = [i for i, cross in finished if (day - cross.date).days >= window and _over_by(cross, day)]
        return float((took[counted].sum() + 0.5) / (len(counted) + 1.0))

    rates = {day: rate(day) for day in set(days)}
    return np.array([rates[day] for day in days], dtype=np.float64)


def _in_words(ours: ForecastScore, theirs: ForecastScore, verdict: str, took: Floats, under_way: int) -> list[str]:
    words = [say("ledger.came", n=len(took), took=int(took.sum()))]
    if under_way:
        words.append(say("ledger.under_way", n=under_way))
    if verdict == "few":
        return [*words, say("ledger.verdicts.few", least=FEWEST)]
    if verdict == "alike":
        return [*words, say(f"ledger.verdicts.alike_{'took' if took[0] else 'failed'}")]
    figures = {"brier": ours.brier, "base_brier": theirs.brier, "log_loss": ours.log_loss}
    numbers = {name: f"{value:.2f}" for name, value in (figures | {"base_log_loss": theirs.log_loss}).items()}
    return [*words, say(f"ledger.verdicts.{verdict}"), say("ledger.scores", **numbers, auc=percent(ours.auc or 0.0))]


def _came_true(entry: CameOf) -> CameTrue:
    crosses, took = round(entry.crosses), round(entry.crosses * entry.took)
    how = "more" if entry.chance < entry.low else "less" if entry.chance > entry.high else "as_said"
    chance = {"words": one_in(entry.chance), "percent": percent(entry.chance)}
    says = say("ledger.bin", n=crosses, took=took, how=say(f"ledger.how.{how}"), **chance)
    return CameTrue(entry.chance, crosses, took, entry.low, entry.high, says)


def _scored(evidence: TrainingSet, at: int, given: GivenForecast, base_rate: float) -> ScoredForecast:
    seed, pollen = (correct_form(side[at]) for side in (evidence.seed, evidence.pollen))
    said = given.date.isoformat(), given.cross is not None, given.flowers, given.mean, given.low, given.high
    number, took = evidence.crosses[at].number, bool(evidence.outcomes.fruitful[at])
    return ScoredForecast(number, seed, pollen, *said, base_rate, took)
