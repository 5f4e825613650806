"""Which plants can be mated on a day: sex, clone and death, who is in flower, and what stored pollen is still good."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crosscompat.book import records
from crosscompat.book.current_plants import Plant, Sighting, Window, latest, sightings_of, usual_window
from crosscompat.book.store import Reading
from crosscompat.book.timelines import pollen_keeps
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import MONTHS, spoken_date
from crosscompat.ground.wording import say

Days = NDArray[np.bool_]

MALE_SEED, FEMALE_POLLEN = "male as seed parent", "female as pollen parent"
ONE_CLONE = "selfing within a clone"
DEAD_SEED, DEAD_POLLEN = "dead seed parent", "dead pollen parent"

_SOON = 60
"""Days ahead for which pollen is worth collecting: a judgement."""

_A_YEAR = [date(2024, 1, 1) + timedelta(days=n) for n in range(366)]


def bars(seed: Plant | None, pollen: Plant | None, day: date, given: date | None = None) -> Iterator[str]:
    """Yield what bars a mating on a day, the gravest first; what is not known of a plant bars nothing.

    Of stored pollen it is no matter whether its parent lives: ``given`` is the day on which pollen left it, if known.

    Examples
    --------
    >>> king, queen = Plant("K", "Aus bus", "K", sex="male"), Plant("Q", "Aus bus", "Q", died=date(2026, 1, 1))
    >>> list(bars(queen, king, date(2025, 5, 1))), list(bars(king, queen, date(2026, 5, 1), date(2026, 5, 1)))
    ([], ['male as seed parent', 'dead pollen parent'])
    """
    if seed is not None and seed.sex == "male":
        yield MALE_SEED
    if seed is not None and seed.died is not None and seed.died < day:
        yield DEAD_SEED
    if pollen is not None and pollen.sex == "female":
        yield FEMALE_POLLEN
    if seed is not None and pollen is not None and seed.clone == pollen.clone:
        yield ONE_CLONE
    if pollen is not None and pollen.died is not None and given is not None and pollen.died < given:
        yield DEAD_POLLEN


def alive_on(collection: Collection, day: date) -> list[Plant]:
    """Return the plants of the collection, no friend's, that live on a day."""
    own = (plant for plant in collection.plants.by_name.values() if not plant.is_elsewhere)
    return [plant for plant in own if plant.died is None or plant.died > day]


@dataclass(frozen=True, slots=True)
class Opening:
    """Whether a plant is in flower, and ``how`` that is known: ``seen``, ``own years``, ``species``, or not at all.

    ``flowers`` were open when it was last seen; where it is closed, it ``opens`` next on that day, ISO 8601.
    """

    state: Literal["open", "soon", "closed", "unknown"]
    how: str
    says: str
    flowers: int | None = None
    opens: str | None = None


_Season = Window | tuple[int, ...]
"""A plant's own season, or the months of its species."""


@lru_cache(maxsize=1000)
def _days(season: _Season) -> frozenset[str]:
    """Return the days of a season as ``MM-DD``."""
    days = [day for day in _A_YEAR if (day.month in season if isinstance(season, tuple) else season.away(day) == 0)]
    return frozenset(day.isoformat()[5:] for day in days)


def _holds(season: _Season, day: date) -> bool:
    return day.isoformat()[5:] in _days(season)


def _known_on(
    sightings: Sequence[Sighting], months: Iterable[int], day: date
) -> tuple[Sighting | None, _Season | None]:
    """Return the look at a plant that still tells of a day, and its season as far as it was known by then."""
    past = [seen for seen in sightings if seen.date <= day]
    window = usual_window(seen.date for seen in past if seen.flowers != 0)
    season = window if window is not None and window.trusted else tuple(sorted(months))
    return latest(past, day), season or None


def opening_of(sightings: Sequence[Sighting], months: Iterable[int], day: date) -> Opening:
    """Return whether a plant is in flower on some day.

    A look within the last week decides. Else the plant's own past years do, if it was seen open on three days or more;
    a single sighting is no season. Else the ``months``, 1 to 12, in which its species flowers here; none if unknown.

    Examples
    --------
    >>> opening_of([Sighting(date(2026, 4, 20), 4)], (), date(2026, 4, 22)).state
    'open'
    >>> opening_of([], (10, 11), date(2026, 4, 22)).opens
    '2026-10-01'
    """
    look, season = _known_on(sightings, months, day)
    if look is not None:
        key = "over" if look.flowers == 0 else "seen" if look.flowers is None else "seen_count"
        says = say(f"tonight.{key}", n=look.flowers or 0, date=spoken_date(look.date, day))
        return Opening("closed" if look.flowers == 0 else "open", "seen", says, look.flowers)
    if season is None:
        return Opening("unknown", "", say("tonight.unknown"))
    if isinstance(season, Window):
        how, says = "own years", say("tonight.own_years", words=season.words)
    else:
        first = next((m for m in season if (m - 2) % 12 + 1 not in season), season[0])
        last = next((m for m in reversed(season) if m % 12 + 1 not in season), season[-1])
        words = say("tonight.and").join(MONTHS[month - 1] for month in dict.fromkeys((first, last)))
        how, says = "species", say("tonight.species", words=words)
    if _holds(season, day):
        return Opening("open", how, says)
    ahead = next(n for n in range(1, 8 * 366) if _holds(season, day + timedelta(days=n)))
    opens = (day + timedelta(days=ahead)).isoformat()
    return Opening("soon" if ahead <= _SOON else "closed", how, says, None, opens)


def _flowering(
    collection: Collection, page: Reading, plants: Sequence[Plant]
) -> Mapping[str, tuple[Sequence[Sighting], Sequence[int]]]:
    """Return when each plant was seen, and in which months its species flowers: half a year later in the south."""
    ids = {name: id_ for id_, name in page.columns(records.Plant, "id", "name")}
    sightings, later = sightings_of(page), 6 if collection.settings.hemisphere == "south" else 0
    known = {}
    for plant in plants:
        label = collection.index.find(plant.species)
        months = collection.trait(label, "flowering") if label else None
        here = [(month - 1 + later) % 12 + 1 for month in months] if isinstance(months, frozenset) else []
        known[plant.plant] = (sightings.get(ids.get(plant.plant, ""), ()), here)
    return known


def openings_on(collection: Collection, page: Reading, plants: Sequence[Plant], day: date) -> dict[str, Opening]:
    """Return whether each plant is in flower, by its name."""
    return {name: opening_of(*known, day) for name, known in _flowering(collection, page, plants).items()}


def open_days(collection: Collection, page: Reading, plants: Sequence[Plant], days: Sequence[date]) -> dict[str, Days]:
    """Return on which days each plant is in flower, shape (n_days,), by its name; where nothing is known, on none."""

    def is_open(look: Sighting | None, season: _Season | None, day: date) -> bool:
        return look.flowers != 0 if look is not None else season is not None and _holds(season, day)

    known = _flowering(collection, page, plants)
    return {name: np.array([is_open(*_known_on(*seen, day), day) for day in days]) for name, seen in known.items()}


@dataclass(frozen=True, slots=True)
class Stored:
    """A lot of pollen that is still good, and for how many days more; None where that is not known."""

    lot: str
    parent: str
    left: int | None
    says: str


def pollen_age(lot: records.PollenLot, day: date) -> int | None:
    """Return how many days before some day pollen was collected, or last tested; None where neither has a day by then.

    Examples
    --------
    >>> pollen_age(records.PollenLot(name="L", collected=date(2026, 1, 1), tested=date(2026, 5, 1)), date(2026, 5, 3))
    2
    """
    known = [each for each in (lot.collected, lot.tested) if each is not None and each <= day]
    return (day - max(known)).days if known else None


def good_lots(page: Reading, day: date) -> list[Stored]:
    """Return the stored pollen that is there and still good on a day, of a plant or of a species."""
    names, good = dict(page.columns(records.Plant, "id", "name")), []
    for lot in page.current(records.PollenLot):
        of, keeps, age = names.get(lot.plant or "", lot.species), pollen_keeps(lot.kept), pollen_age(lot, day)
        left = None if keeps is None or age is None else keeps - age
        if of and (left is None or left >= 0) and (lot.collected is None or lot.collected <= day):
            key = "tonight.stored" if left is not None else "tonight.stored_unknown"
            good.append(Stored(lot.name, of, left, say(key, lot=lot.name, kept=lot.kept or "", n=left)))
    return good
