"""The ledger of forecasts: what is written into it, and which line speaks for a cross.

The forecast that counts is the one in force when the flowers were pollinated: the last that was written on or before
that day for the same directed pair and as many flowers, naming no other plant where both name one. A forecast of a
pairing speaks for the first cross that is made of it from its day on, and for no later one. Of one day the first line
counts, so that a day that is replayed later never outdoes what was said on it.

For want of such, it is the first that was written while that very cross was under way, provided that nothing of the
cross could have taught the model yet, for the shortest window of a stage had not passed, and that its outcome was not
in the book yet. By then crosses that fail early may be over, so that those left do better than was said of them all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.parents import Caution, Parent, cautions
from crosscompat.advice.predict import (
    basis_of,
    chances_of,
    clones_on_both_sides,
    parents_of,
    predict,
    training_set_of,
)
from crosscompat.advice.rank import wanted_pairs
from crosscompat.book.crosses import Cross, findable_name, placed, recorded_by
from crosscompat.book.records import SELFED, GivenForecast
from crosscompat.collection.opening import Collection
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import chances
from crosscompat.model.pairings import Parents
from crosscompat.model.training_set import TrainingSet, fruitful

PRIOR = "prior"
"""What a forecast names in place of a model where nothing was learned yet."""

_Clones = tuple[str | None, str | None]
_MOST_USUAL = 3
_DIGITS = 12
_ABOUT_THE_PAIR = ("sex", "ploidy", "flowering")
_ALSO_MADE = ("selfed", "not_recorded", "not_finished", "lost", "unknown_outcome")
"""Left out of a fit, and yet crosses of their pairing."""


@dataclass(frozen=True, slots=True)
class _Made:
    """A cross of two parents by the plain brush: labels and clones of both, seed parent first.

    ``at`` is its place among the evidence; None if its outcome is not known there.
    """

    cross: Cross
    seed: str
    pollen: str
    at: int | None
    clones: _Clones


def _crosses_made(collection: Collection, evidence: TrainingSet) -> list[_Made]:
    """Return the crosses that were made of two parents with a place on the tree, oldest first.

    The evidence is that of all crosses of the collection.
    """
    outcomes = evidence.outcomes.known.tolist()
    entered = zip(evidence.crosses, evidence.seed, evidence.pollen, outcomes, strict=True)
    found = [(cross, seed, pollen, at if known else None) for at, (cross, seed, pollen, known) in enumerate(entered)]
    others = [left.cross for left in evidence.left_out if left.reason in _ALSO_MADE]
    places = placed(collection.index, [(cross.seed_parent, cross.pollen_parent) for cross in others])
    found += [(cross, str(seed), str(pollen), None) for cross, (seed, pollen) in zip(others, places, strict=True)]
    clones = clones_on_both_sides(collection.plants, [entry[0] for entry in found])
    made = [_Made(*entry, both) for entry, both in zip(found, zip(*clones, strict=True), strict=True)]
    return sorted(made, key=lambda one: (one.cross.date, one.cross.row))


def _agree(ours: _Clones, theirs: _Clones) -> bool:
    """Tell whether two pairs of clones may be the same, one that is not named being any."""
    return all(a is None or b is None or a == b for a, b in zip(ours, theirs, strict=True))


def units_of(cross: Cross) -> int:
    """Return how many flowers a cross had; one for want of a count, as in a fit."""
    return cross.tried or cross.units or 1


def over_by(cross: Cross, day: date) -> bool:
    """Tell whether the book knew on some day how a cross had ended; without a date of recording it always did.

    Examples
    --------
    >>> from datetime import datetime
    >>> none_held = Cross(date(2024, 5, 1), "A", "B", pods_held=0, recorded_at=datetime(2024, 8, 2))
    >>> over_by(none_held, date(2024, 7, 31)), over_by(none_held, date(2024, 8, 2))
    (False, True)
    """
    ended = fruitful(cross) is not None or cross.lost_to is not None or cross.proof == SELFED
    return ended and recorded_by(cross, day)


def forecasts_due(collection: Collection, model: FittedModel, fingerprint: str, as_of: date) -> list[GivenForecast]:
    """Return the forecasts to be written on some day, by its model; twelve digits of the fingerprint go along.

    These are the crosses wanted, for each number of `flowers_to_forecast`; then the crosses under way, each for its own
    plants and flowers: made by that day, younger than the last window, and neither over nor lost by what the book knew
    that day. One that has no identifier and no number cannot be found again and is left out. Chances have six digits.
    """
    asked = [*dict.fromkeys(_wanted(collection, as_of)), *_under_way(collection, as_of)]
    if not asked:
        return []
    clones = clones_on_both_sides(collection.plants, asked)
    places = placed(collection.index, [(one.seed_parent, one.pollen_parent) for one in asked])
    seed, pollen = ([str(label) for label in side] for side in zip(*places, strict=True))
    found = chances_of(collection, model, Parents(seed, pollen, *clones), [one.flowers for one in asked])
    return [_written(one, fingerprint[:_DIGITS], interval_at(found, i)) for i, one in enumerate(asked)]


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
    candidates, _ = wanted_pairs(collection, collection.wanted)
    flowers = flowers_to_forecast(collection.crosses, day)
    return (_blank(collection, (one.seed, one.pollen), n, day) for one in candidates for n in flowers)


def _under_way(collection: Collection, day: date) -> Iterator[GivenForecast]:
    last = max(collection.settings.windows.values())
    for one in _crosses_made(collection, training_set_of(collection, day)):
        cross, name = one.cross, one.cross.id or one.cross.cross
        if name and 0 <= (day - cross.date).days < last and not over_by(cross, day):
            blank = _blank(collection, (Parent(one.seed), Parent(one.pollen)), units_of(cross), day, name)
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
    """What is forecast of a pairing for so many flowers, and what to mind of the two.

    Attributes
    ----------
    chance : Interval
        Of at least one seedling.
    model : str
        Fingerprint of the model, or ``prior``.
    cautions : list of Caution
        On sexes, chromosome numbers and flowering months.
    """

    chance: Interval
    flowers: int
    model: str
    cautions: list[Caution]

    def record(self, collection: Collection, pair: tuple[Parent, Parent], cross: str, day: date) -> GivenForecast:
        """Return the forecast as it is written down with a visit to a cross."""
        return _written(_blank(collection, pair, self.flowers, day, cross), self.model, self.chance)


def forecast_now(collection: Collection, pair: tuple[Parent, Parent], flowers: int) -> ForecastNow:
    """Forecast a pairing for so many flowers by all that is on record."""
    basis = basis_of(collection)
    asked = predict(collection, basis.model, parents_of([pair]))
    return ForecastNow(
        interval_at(chances(asked.whole, flowers), 0),
        flowers,
        PRIOR if basis.fingerprint is None else basis.fingerprint[:_DIGITS],
        [one for one in cautions(collection, basis.model, *pair, asked.rows[0]) if one.kind in _ABOUT_THE_PAIR],
    )


def in_force(collection: Collection, given: Sequence[GivenForecast], evidence: TrainingSet) -> dict[int, GivenForecast]:
    """Return the finished crosses that were forecast, each with the forecast that counts for it.

    ``given`` is the ledger in the order in which it was written, the evidence what the book knows now. The crosses are
    named by their place among the evidence, and stand in its order.
    """
    made: dict[tuple[str, str], list[_Made]] = {}
    for each in _crosses_made(collection, evidence):
        made.setdefault((each.seed, each.pollen), []).append(each)
    windows = collection.settings.windows
    teaches = min(windows.values()) if evidence.counts.counted else max(windows.values())
    places = placed(collection.index, [(line.seed_parent, line.pollen_parent) for line in given])
    clones = zip(*clones_on_both_sides(collection.plants, given), strict=True)
    before: dict[int, tuple[tuple[date, int], GivenForecast]] = {}
    during: dict[int, GivenForecast] = {}
    for line, (seed, pollen), plants in zip(given, places, clones, strict=True):
        of_pair = made.get((seed, pollen), []) if seed is not None and pollen is not None else []
        one = _first_made(line, plants, of_pair) if line.cross is None else _so_called(line, of_pair)
        if one is None or one.at is None or units_of(one.cross) != line.flowers:
            continue
        if line.cross is None:
            # Of the last day what names more plants, and of those the first in the ledger.
            rank = (line.date, -plants.count(None))
            if one.at not in before or rank > before[one.at][0]:
                before[one.at] = (rank, line)
        elif _blind(line.date, one.cross, teaches) and (one.at not in during or line.date < during[one.at].date):
            during[one.at] = line
    return dict(sorted({**during, **{at: line for at, (_, line) in before.items()}}.items()))


def _first_made(line: GivenForecast, clones: _Clones, made: Sequence[_Made]) -> _Made | None:
    """Return the first cross of a pairing from the day of its forecast on, of the very plants where both name one."""
    return next((one for one in made if one.cross.date >= line.date and _agree(clones, one.clones)), None)


def _so_called(line: GivenForecast, made: Sequence[_Made]) -> _Made | None:
    """Return the cross that was under way by that identifier or number; None if there is not just one."""
    named = [one for one in made if line.cross in {one.cross.id, one.cross.cross} and one.cross.date <= line.date]
    return named[0] if len(named) == 1 else None


def _blind(day: date, cross: Cross, teaches: float) -> bool:
    """Tell whether on some day a model could have learned nothing of a cross, and the book did not know its outcome."""
    recorded_later = cross.recorded_at is None or not recorded_by(cross, day)
    return recorded_later and (day - cross.date).days < teaches
