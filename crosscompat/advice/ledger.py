"""The forecasts that are written down: on the day of a retraining, and when pollen is brought."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from crosscompat.advice.cautions import Caution, cautions
from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.made_crosses import crosses_made, over_by, units_of
from crosscompat.advice.parents import Parent
from crosscompat.advice.predict import (
    asked_of,
    basis_of,
    chances_of,
    clones_on_both_sides,
    parents_of,
    training_set_of,
)
from crosscompat.advice.rank import wanted_pairs
from crosscompat.book.crosses import Cross
from crosscompat.book.placing import findable_name
from crosscompat.book.records import GivenForecast
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import NameIndex
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import chances
from crosscompat.model.pairings import Parents

PRIOR = "prior"
"""What a forecast names in place of a model where nothing was learned yet."""

_MOST_USUAL = 3
_DIGITS = 12
_ABOUT_THE_PAIR = ("sex", "ploidy", "flowering")


@dataclass(frozen=True, slots=True)
class _Asked:
    """A pairing to be forecast: labels, the plants as written and the flowers; the cross if it is made already."""

    seed: str
    pollen: str
    seed_plant: str | None
    pollen_plant: str | None
    flowers: int
    cross: str | None = None


def forecasts_due(collection: Collection, model: FittedModel, fingerprint: str, as_of: date) -> list[GivenForecast]:
    """Return the forecasts to be written on some day.

    Parameters
    ----------
    collection : Collection
    model : FittedModel
        That of the day.
    fingerprint : str
        Of the saved model; twelve digits of it are written.
    as_of : date
        The day.

    Returns
    -------
    list of GivenForecast
        The crosses wanted, for each number of `usual_flowers`; then the crosses under way, each for its own plants and
        flowers: made by that day, younger than the last window, and neither over nor lost by what the book knew that
        day. One that has no identifier and no number cannot be found again and is left out. Chances have six digits.
    """
    wanted = dict.fromkeys(_wanted(collection, usual_flowers(collection.crosses, as_of)))
    asked = [*wanted, *_under_way(collection, as_of)]
    if not asked:
        return []
    clones = clones_on_both_sides(collection.plants, asked)
    parents = Parents([one.seed for one in asked], [one.pollen for one in asked], *clones)
    found = chances_of(collection, model, parents, [one.flowers for one in asked])
    return [
        _written(collection.index, one, interval_at(found, i), fingerprint[:_DIGITS], as_of)
        for i, one in enumerate(asked)
    ]


def usual_flowers(crosses: Iterable[Cross], as_of: date) -> list[int]:
    """Return one, and the numbers of flowers that most crosses made by some day had, at most three.

    A chance for one number of flowers cannot be turned into that for another: the mean of 1 - (1 - p)^N is not to be
    had from the mean and the interval of p. So a cross wanted is forecast for all that it is likely to be made on.

    Examples
    --------
    >>> usual_flowers([Cross(date(2024, 5, 1), "A", "B", units=n) for n in (6, 4, 4)], date(2024, 5, 1))
    [1, 4, 6]
    """
    counted = Counter(units_of(cross) for cross in crosses if cross.date <= as_of)
    most = sorted(counted, key=lambda n: (-counted[n], n))[:_MOST_USUAL]
    return sorted({1, *most})


def _wanted(collection: Collection, flowers: Sequence[int]) -> Iterator[_Asked]:
    candidates, _ = wanted_pairs(collection, collection.wanted)
    for one in candidates:
        for n in flowers:
            yield _asked(one.seed, one.pollen, n)


def _under_way(collection: Collection, as_of: date) -> Iterator[_Asked]:
    last = max(collection.settings.windows.values())
    for one in crosses_made(collection, training_set_of(collection, as_of)):
        cross, identifier = one.cross, one.cross.id or one.cross.cross
        if identifier and 0 <= (as_of - cross.date).days < last and not over_by(cross, as_of):
            yield _Asked(one.seed, one.pollen, cross.seed_plant, cross.pollen_plant, units_of(cross), identifier)


def _asked(seed: Parent, pollen: Parent, flowers: int, cross: str | None = None) -> _Asked:
    seed_plant, pollen_plant = (side.plant.plant if side.plant else None for side in (seed, pollen))
    return _Asked(seed.label, pollen.label, seed_plant, pollen_plant, flowers, cross)


def _written(index: NameIndex, asked: _Asked, chance: Interval, model: str, day: date) -> GivenForecast:
    """Return a forecast as it is written down: six digits, the very plants where they are known."""
    mean, low, high = (float(f"{value:.6g}") for value in (chance.mean, chance.low, chance.high))
    return GivenForecast(
        date=day,
        model=model,
        seed_parent=findable_name(index, asked.seed),
        pollen_parent=findable_name(index, asked.pollen),
        flowers=asked.flowers,
        mean=mean,
        low=low,
        high=high,
        cross=asked.cross,
        seed_plant=asked.seed_plant,
        pollen_plant=asked.pollen_plant,
    )


@dataclass(frozen=True, slots=True)
class ForecastNow:
    """What is forecast of a pairing for so many flowers, and what to mind of the two.

    Attributes
    ----------
    chance : Interval
        Of at least one seedling.
    flowers : int
    model : str
        Fingerprint of the model, or ``prior``.
    cautions : list of Caution
        On sexes, chromosome numbers and flowering months.
    """

    chance: Interval
    flowers: int
    model: str
    cautions: list[Caution]

    def record(self, index: NameIndex, pair: tuple[Parent, Parent], cross: str, day: date) -> GivenForecast:
        """Return the forecast as it is written down with a visit to a cross."""
        return _written(index, _asked(*pair, self.flowers, cross), self.chance, self.model, day)


def forecast_now(collection: Collection, pair: tuple[Parent, Parent], flowers: int) -> ForecastNow:
    """Forecast a pairing for so many flowers by all that is on record."""
    basis = basis_of(collection)
    asked = asked_of(collection, basis.model, parents_of([pair]))
    return ForecastNow(
        interval_at(chances(asked.whole, flowers), 0),
        flowers,
        PRIOR if basis.fingerprint is None else basis.fingerprint[:_DIGITS],
        [one for one in cautions(collection, basis.model, *pair, asked.rows[0]) if one.kind in _ABOUT_THE_PAIR],
    )
