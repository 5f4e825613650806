"""When plants are in flower, and what stored pollen is still good."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from crosscompat.book import records
from crosscompat.book.current_plants import Plant, Sighting, Window, latest, sightings_of, usual_window
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.wording import say

__all__ = ["KEEPS", "Opening", "Stored", "alive_on", "good_lots", "opening_of", "openings_on"]

KEEPS = {"freezer": 270, "fridge": 30, "room": 3}
"""Days that dried pollen keeps. Frozen: cactus pollen of 3 and of 9 months set fruit as fresh pollen did (Metz, Nerd &
Mizrahi 2000, HortScience 35:199-201); in a refrigerator it did worse, how soon is common practice, no source."""

_SOON = 60
"""Days ahead for which pollen is worth collecting: a judgement."""


@dataclass(frozen=True, slots=True)
class Opening:
    """Whether a plant is in flower, and how that is known.

    Attributes
    ----------
    state : str
        ``open``, ``soon``, ``closed`` or ``unknown``.
    how : str
        ``seen``, ``own years``, ``species``; blank where nothing is known.
    says : str
        In plain words.
    flowers : int or None
        Open when last seen, where they were counted.
    opens : str or None
        The next day on which it is expected to open, ISO 8601, where it is not open.
    """

    state: Literal["open", "soon", "closed", "unknown"]
    how: str
    says: str
    flowers: int | None = None
    opens: str | None = None


@dataclass(frozen=True, slots=True)
class Stored:
    """A lot of pollen that is still good, and for how many days more; None where nobody wrote down how it is kept."""

    lot: str
    parent: str
    left: int | None
    says: str


def opening_of(sightings: Sequence[Sighting], months: Iterable[int], day: date, *, southern: bool = False) -> Opening:
    """Return whether a plant is in flower on some day.

    A look within the last week decides. Else the plant's own past years do, if it was seen open on three days or more;
    a single sighting is no season. Else the months of its species in the wild, half a year later in the south.

    ``months``, 1 to 12, are those in which the species flowers in the northern half of the world; none if unknown.

    Examples
    --------
    >>> opening_of([Sighting(date(2026, 4, 20), 4)], (), date(2026, 4, 22)).state
    'open'
    >>> opening_of([], (4, 5), date(2026, 4, 22)).how, opening_of([], (4, 5), date(2026, 4, 22), southern=True).opens
    ('species', '2026-10-01')
    """
    seen = latest([one for one in sightings if one.date <= day], day)
    window = usual_window(one.date for one in sightings if one.flowers != 0 and one.date <= day)
    if seen is not None:
        when = spoken_date(seen.date, day)
        if seen.flowers != 0:
            key = "tonight.seen" if seen.flowers is None else "tonight.seen_count"
            return Opening("open", "seen", say(key, n=seen.flowers or 0, date=when), seen.flowers)
        return Opening("closed", "seen", say("tonight.over", date=when), 0)
    if window is not None and window.trusted:
        return _in_own_years(window, day)
    turned = sorted({(month + 5) % 12 + 1 if southern else month for month in months})
    if not turned:
        return Opening("unknown", "", say("tonight.unknown"))
    return _by_months(turned, day)


def _in_own_years(window: Window, day: date) -> Opening:
    says = say("tonight.own_years", words=window.words)
    if window.away(day) == 0:
        return Opening("open", "own years", says)
    opens = next(d for d in (day + timedelta(days=n) for n in range(1, 367)) if window.away(d) == 0)
    return _later("own years", opens, says, day)


def _by_months(months: Sequence[int], day: date) -> Opening:
    names = say("tonight.and").join(date(day.year, month, 1).strftime("%B") for month in _ends(months))
    if day.month in months:
        return Opening("open", "species", say("tonight.species", words=names))
    ahead = min((month - day.month) % 12 for month in months)
    at = day.month - 1 + ahead
    return _later("species", date(day.year + at // 12, at % 12 + 1, 1), say("tonight.species", words=names), day)


def _ends(months: Sequence[int]) -> list[int]:
    """Return the first and last month of the season, which may run over the new year; one if it has only one."""
    first = next((m for m in months if (m - 2) % 12 + 1 not in months), months[0])
    last = next((m for m in reversed(months) if m % 12 + 1 not in months), months[-1])
    return list(dict.fromkeys((first, last)))


def _later(how: str, opens: date, says: str, day: date) -> Opening:
    near = (opens - day).days <= _SOON
    return Opening("soon" if near else "closed", how, says, None, opens.isoformat())


def alive_on(collection: Collection, day: date) -> list[Plant]:
    """Return the plants that live on a day."""
    return [plant for plant in collection.plants.by_name.values() if plant.died is None or plant.died > day]


def openings_on(
    collection: Collection, page: Reading, plants: Sequence[Plant], days: Sequence[date]
) -> list[dict[str, Opening]]:
    """Return for each day whether each plant is in flower, by its name."""
    ids = {name: id_ for id_, name in page.columns(records.Plant, "id", "name")}
    sightings, southern = sightings_of(page), collection.settings.hemisphere == "south"
    known = []
    for plant in plants:
        label = collection.index.find(plant.species)
        months = collection.trait(label, "flowering") if label else None
        seen = sightings.get(ids.get(plant.plant, ""), ())
        known.append((plant.plant, seen, months if isinstance(months, frozenset) else ()))
    return [{name: opening_of(seen, months, day, southern=southern) for name, seen, months in known} for day in days]


def good_lots(page: Reading, day: date) -> list[Stored]:
    """Return the stored pollen that is still good, of a plant or of a species."""
    names = dict(page.columns(records.Plant, "id", "name"))
    found = []
    for lot in page.current(records.PollenLot):
        of = names.get(lot.plant or "", lot.species)
        keeps = KEEPS.get((lot.kept or "").strip().casefold())
        left = None
        if keeps is not None and lot.collected is not None:
            left = keeps - (day - lot.collected).days
        if of and (left is None or left >= 0):
            key = "tonight.stored" if left is not None else "tonight.stored_unknown"
            found.append(Stored(lot.name, of, left, say(key, lot=lot.name, kept=lot.kept or "", n=left)))
    return found
