"""What is written into the ledger of forecasts on the day of a retraining."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from crosscompat.advice.made_crosses import crosses_made, identifier_of, over_by, units_of
from crosscompat.advice.predict import chances_of, clones_on_both_sides, training_set_of
from crosscompat.advice.rank import wanted_pairs
from crosscompat.book.crosses import Cross
from crosscompat.book.placing import findable_name
from crosscompat.book.records import GivenForecast
from crosscompat.collection.opening import Collection
from crosscompat.model.fitted import FittedModel
from crosscompat.model.pairings import Parents

__all__ = ["forecasts_due", "usual_flowers"]

_MOST_USUAL = 3
_DIGITS = 12


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
        GivenForecast(
            date=as_of,
            model=fingerprint[:_DIGITS],
            seed_parent=findable_name(collection.index, one.seed),
            pollen_parent=findable_name(collection.index, one.pollen),
            flowers=one.flowers,
            mean=_short(found.mean[i]),
            low=_short(found.low[i]),
            high=_short(found.high[i]),
            cross=one.cross,
            seed_plant=one.seed_plant,
            pollen_plant=one.pollen_plant,
        )
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
        seed_plant, pollen_plant = (side.plant.plant if side.plant else None for side in (one.seed, one.pollen))
        for n in flowers:
            yield _Asked(one.seed.label, one.pollen.label, seed_plant, pollen_plant, n)


def _under_way(collection: Collection, as_of: date) -> Iterator[_Asked]:
    last = max(collection.settings.windows.values())
    for one in crosses_made(collection, training_set_of(collection, as_of)):
        cross, identifier = one.cross, identifier_of(one.cross)
        if identifier and 0 <= (as_of - cross.date).days < last and not over_by(cross, as_of):
            yield _Asked(one.seed, one.pollen, cross.seed_plant, cross.pollen_plant, units_of(cross), identifier)


def _short(chance: float) -> float:
    return float(f"{chance:.6g}")
