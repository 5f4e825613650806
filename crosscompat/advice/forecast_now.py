"""The chances of the moment in which pollen is brought."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from crosscompat.advice.cautions import Caution, cautions
from crosscompat.advice.figures import Interval, interval_at
from crosscompat.advice.parents import Parent
from crosscompat.advice.predict import asked_of, basis_of, parents_of
from crosscompat.book import records
from crosscompat.book.placing import findable_name
from crosscompat.collection.opening import Collection
from crosscompat.ground.names import NameIndex
from crosscompat.model.forecast import chances

__all__ = ["PRIOR", "ForecastNow", "forecast_now"]

PRIOR = "prior"
"""What a forecast names in place of a model where nothing was learned yet."""

_DIGITS = 12
_ABOUT_THE_PAIR = ("sex", "ploidy", "flowering")


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

    def record(self, index: NameIndex, pair: tuple[Parent, Parent], cross: str, day: date) -> records.GivenForecast:
        """Return the forecast as it is written down: six digits, the very plants where they are known."""
        seed, pollen = pair
        return records.GivenForecast(
            date=day,
            model=self.model,
            seed_parent=findable_name(index, seed.label),
            pollen_parent=findable_name(index, pollen.label),
            flowers=self.flowers,
            mean=_short(self.chance.mean),
            low=_short(self.chance.low),
            high=_short(self.chance.high),
            cross=cross,
            seed_plant=seed.plant.plant if seed.plant else None,
            pollen_plant=pollen.plant.plant if pollen.plant else None,
        )


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


def _short(chance: float) -> float:
    return float(f"{chance:.6g}")
