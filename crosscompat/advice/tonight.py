"""What to put on the brush tonight: which plants are in flower, their best pollen, and pollen to keep for later."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crosscompat.advice.figures import Interval, interval_at, past_crosses, usual_flowers
from crosscompat.advice.parents import Parent, find_parents, handling
from crosscompat.advice.predict import basis_of, chances_of, parents_of
from crosscompat.advice.rank import wanted_pairs
from crosscompat.book import records
from crosscompat.book.current_plants import Plant, Sighting, Window, latest, sightings_of, usual_window
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import NoPairing, UnknownName
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.show.chances import TELLS_APART

KEEPS = {"freezer": 270, "fridge": 30, "room": 3}
"""Days that dried pollen keeps. Frozen: cactus pollen of 9 months did as well as of 3, with fruits as heavy as those of
fresh pollen (Metz, Nerd & Mizrahi 2000, HortScience 35:199-201); in a refrigerator it did worse, how soon is common
practice, no source."""

_SOON, _A_FORTNIGHT = 60, 14
"""Days ahead for which pollen is worth collecting, and for which it need not be frozen: judgements."""

_UNASKED, _USUAL_WANT, _REPEAT = 1.0, 3.0, 0.5
"""Weight of a pairing that nobody wished for, of one wanted without saying how much, and the share of its worth that is
left once it has given a seedling: judgements."""


@dataclass(frozen=True, slots=True)
class Opening:
    """Whether a plant is in flower, and how that is known.

    Attributes
    ----------
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


@dataclass(frozen=True, slots=True)
class _Season:
    """The days of the year on which a plant flowers, as ``MM-DD``, and how that is known."""

    how: str
    says: str
    days: frozenset[str]

    def holds(self, day: date) -> bool:
        return day.isoformat()[5:] in self.days


_A_YEAR = [date(2024, 1, 1) + timedelta(days=n) for n in range(366)]


@lru_cache(maxsize=1000)
def _season(when: Window | tuple[int, ...]) -> _Season:
    """Return a plant's own season, or that of its species in months."""
    if isinstance(when, Window):
        days = frozenset(day.isoformat()[5:] for day in _A_YEAR if when.away(day) == 0)
        return _Season("own years", say("tonight.own_years", words=when.words), days)
    first = next((m for m in when if (m - 2) % 12 + 1 not in when), when[0])
    last = next((m for m in reversed(when) if m % 12 + 1 not in when), when[-1])
    words = say("tonight.and").join(date(2024, month, 1).strftime("%B") for month in dict.fromkeys((first, last)))
    days = frozenset(day.isoformat()[5:] for day in _A_YEAR if day.month in when)
    return _Season("species", say("tonight.species", words=words), days)


def _known_on(
    sightings: Sequence[Sighting], months: Iterable[int], day: date
) -> tuple[Sighting | None, _Season | None]:
    """Return the look at a plant that still tells of a day, and its season as far as it was known by then."""
    past = [seen for seen in sightings if seen.date <= day]
    window = usual_window(seen.date for seen in past if seen.flowers != 0)
    when = window if window is not None and window.trusted else tuple(sorted(months))
    return latest(past, day), _season(when) if when else None


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
        state: Literal["open", "closed"] = "closed" if look.flowers == 0 else "open"
        key = "over" if look.flowers == 0 else "seen" if look.flowers is None else "seen_count"
        says = say(f"tonight.{key}", n=look.flowers or 0, date=spoken_date(look.date, day))
        return Opening(state, "seen", says, look.flowers)
    if season is None:
        return Opening("unknown", "", say("tonight.unknown"))
    if season.holds(day):
        return Opening("open", season.how, season.says)
    ahead = next(n for n in range(1, 8 * 366) if season.holds(day + timedelta(days=n)))
    opens = (day + timedelta(days=ahead)).isoformat()
    return Opening("soon" if ahead <= _SOON else "closed", season.how, season.says, None, opens)


def alive_on(collection: Collection, day: date) -> list[Plant]:
    """Return the plants of the collection, no friend's, that live on a day."""
    own = (plant for plant in collection.plants.by_name.values() if not plant.is_elsewhere)
    return [plant for plant in own if plant.died is None or plant.died > day]


_Flowering = Mapping[str, tuple[Sequence[Sighting], Sequence[int]]]


def _flowering(collection: Collection, page: Reading, plants: Sequence[Plant]) -> _Flowering:
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
    known = _flowering(collection, page, plants)
    return {name: opening_of(seen, months, day) for name, (seen, months) in known.items()}


def open_days(
    collection: Collection, page: Reading, plants: Sequence[Plant], days: Sequence[date]
) -> dict[str, NDArray[np.bool_]]:
    """Return on which days each plant is in flower, shape (n_days,), by its name; where nothing is known, on none."""

    def is_open(look: Sighting | None, season: _Season | None, day: date) -> bool:
        return look.flowers != 0 if look is not None else season is not None and season.holds(day)

    known = _flowering(collection, page, plants)
    return {
        name: np.array([is_open(*_known_on(seen, months, day), day) for day in days])
        for name, (seen, months) in known.items()
    }


def good_lots(page: Reading, day: date) -> list[Stored]:
    """Return the stored pollen that is still good, of a plant or of a species."""
    names, good = dict(page.columns(records.Plant, "id", "name")), []
    for lot in page.current(records.PollenLot):
        of, keeps = names.get(lot.plant or "", lot.species), KEEPS.get((lot.kept or "").strip().casefold())
        left = None if keeps is None or lot.collected is None else keeps - (day - lot.collected).days
        if of and (left is None or left >= 0):
            key = "tonight.stored" if left is not None else "tonight.stored_unknown"
            good.append(Stored(lot.name, of, left, say(key, lot=lot.name, kept=lot.kept or "", n=left)))
    return good


@dataclass(frozen=True, slots=True)
class Father:
    """Pollen for a seed plant that is in flower.

    Attributes
    ----------
    plants : list of str
        Those whose fresh pollen is as good as one another's; of stored pollen the plant it is of, if that is known.
    lot : str or None
        The name of the stored lot; fresh pollen has none.
    chance : Interval
        Of at least one seedling from the flowers.
    took, failed : int
        Crosses of this pairing so far.
    worth : float
        What orders the list: how much it is wanted times the chance, half of it once it has given a seedling.
    says : str
        How the pollen was kept, in plain words; blank where it is fresh.
    """

    pollen_parent: str
    plants: list[str]
    lot: str | None
    chance: Interval
    want: int | None
    took: int
    failed: int
    worth: float
    says: str


@dataclass(frozen=True, slots=True)
class Mother:
    """A seed plant in flower, with its pollen, the worthiest first."""

    seed_parent: str
    seed_plant: str
    opening: Opening
    fathers: list[Father]


@dataclass(frozen=True, slots=True)
class Keep:
    """Pollen to collect now, since a seed plant that it is wanted for opens later."""

    pollen_parent: str
    plants: list[str]
    for_plant: str
    for_species: str
    opens: str
    chance: float
    says: str


@dataclass(frozen=True, slots=True)
class Tonight:
    """What can be pollinated on one day, so many flowers for each pairing.

    Attributes
    ----------
    mothers : list of Mother
        The worthiest pairing first.
    closed, unknown : list of str
        Plants that are not in flower, and plants of which nobody knows when they flower.
    caution : str
        Of handling; blank where nothing can be done tonight.
    """

    day: str
    flowers: int
    mothers: list[Mother]
    keep: list[Keep]
    closed: list[str]
    unknown: list[str]
    caution: str
    invented: bool
    schema: Literal["crosscompat.tonight/1"] = "crosscompat.tonight/1"


def worth(chance: float, want: int | None, *, wished: bool, took: int) -> float:
    """Return what a pairing is worth: how much it is wanted times its chance, half once it has given a seedling.

    Examples
    --------
    >>> worth(0.5, 4, wished=True, took=0), worth(0.5, None, wished=True, took=2)
    (2.0, 0.75)
    """
    weight = (_USUAL_WANT if want is None else float(want)) if wished else _UNASKED
    return weight * chance * (_REPEAT if took else 1.0)


def tonight(collection: Collection, page: Reading, day: date, *, flowers: int | None = None) -> Tonight:
    """Return what can be pollinated on a day, with fresh or stored pollen, and what pollen to keep.

    ``page`` is of the collection's cross book; ``flowers`` are for each pairing, by default as many as usual.
    """
    n = usual_flowers(collection) if flowers is None else flowers
    alive = alive_on(collection, day)
    opening = openings_on(collection, page, alive, day)
    wanted, _ = wanted_pairs(collection, collection.wanted)
    wishes = {(wish.seed.label, wish.pollen.label): wish.want for wish in wanted}
    offers = list(_offers(collection, alive, opening, good_lots(page, day)))
    pairs = [(seed, pollen) for seed, pollen, _ in offers]
    chance = chances_of(collection, basis_of(collection).model, parents_of(pairs), n)
    past = past_crosses(collection)
    mothers: dict[str, list[Father]] = defaultdict(list)
    keep: list[Keep] = []
    for i, (seed, pollen, stored) in enumerate(offers):
        pair, now = (seed.label, pollen.label), opening[seed.called]
        outcomes = [cross.outcome for cross in past.get(pair, ())]
        father = _father(pollen, stored, interval_at(chance, i), outcomes, wishes.get(pair), wished=pair in wishes)
        if now.opens is None:
            mothers[seed.called].append(father)
        elif pair in wishes:
            keep.append(_keep(seed, father, date.fromisoformat(now.opens), day))
    ready = [
        Mother(correct_form(collection.plants.species(name)), name, opening[name], _worthiest_first(fathers))
        for name, fathers in mothers.items()
    ]
    return Tonight(
        day.isoformat(),
        n,
        sorted(ready, key=lambda mother: _worthiest(mother.fathers[0])),
        _together(keep),
        [name for name, each in opening.items() if each.state in {"closed", "soon"}],
        [name for name, each in opening.items() if each.state == "unknown"],
        " ".join(caution.says for caution in handling(collection)) if ready or keep else "",
        collection.settings.invented,
    )


def _offers(
    collection: Collection, alive: Sequence[Plant], opening: Mapping[str, Opening], lots: Sequence[Stored]
) -> Iterator[tuple[Parent, Parent, Stored | None]]:
    """Every seed plant that is in flower or soon will be, with all fresh pollen; stored pollen where it is open."""
    fresh = [plant.plant for plant in alive if plant.sex != "female" and opening[plant.plant].state == "open"]
    for mother in alive:
        state = opening[mother.plant].state
        if mother.sex == "male" or state not in {"open", "soon"}:
            continue
        pollen: list[tuple[str, Stored | None]] = [(name, None) for name in fresh if name != mother.plant]
        pollen += [(lot.parent, lot) for lot in lots if state == "open"]
        for name, stored in pollen:
            with suppress(NoPairing, UnknownName):
                seed, father = find_parents(collection, mother.plant, name)
                if seed.label != father.label:
                    yield seed, father, stored


def _father(
    pollen: Parent, stored: Stored | None, chance: Interval, outcomes: Sequence[str], want: int | None, *, wished: bool
) -> Father:
    took, failed = outcomes.count("took"), outcomes.count("failed")
    plants, lot, says = [pollen.own_name] if pollen.own_name else [], None, ""
    if stored is not None:
        lot, says = stored.lot, stored.says
    value = worth(chance.mean, want, wished=wished, took=took)
    return Father(pollen.name, plants, lot, chance, want, took, failed, value, says)


def _keep(seed: Parent, father: Father, opens: date, day: date) -> Keep:
    days = (opens - day).days
    kept = "room" if days <= KEEPS["room"] else "fridge" if days <= _A_FORTNIGHT else "freezer"
    says = say(f"tonight.keep_{kept}", plant=seed.called, date=spoken_date(opens, day))
    return Keep(
        father.pollen_parent, father.plants, seed.called, seed.name, opens.isoformat(), father.chance.mean, says
    )


def _worthiest(father: Father) -> tuple[float, str, list[str]]:
    return (-round(father.worth, 12), father.pollen_parent, father.plants)


def _worthiest_first(fathers: Iterable[Father]) -> list[Father]:
    """Order pollen by its worth; fresh pollen of one species whose chances are equal stands together."""
    ordered: list[Father] = []
    for father in sorted(fathers, key=_worthiest):
        for i, other in enumerate(ordered):
            same = (other.pollen_parent, other.lot) == (father.pollen_parent, father.lot)
            if same and abs(other.chance.mean - father.chance.mean) <= TELLS_APART:
                ordered[i] = replace(other, plants=other.plants + father.plants)
                break
        else:
            ordered.append(father)
    return ordered


def _together(keep: Iterable[Keep]) -> list[Keep]:
    """Order pollen to keep by the day on which its seed plant opens; that of one species stands together."""
    found: dict[tuple[str, str], Keep] = {}
    for each in sorted(keep, key=lambda each: (each.opens, each.for_plant, each.pollen_parent, each.plants)):
        same = found.get((each.for_plant, each.pollen_parent))
        found[each.for_plant, each.pollen_parent] = replace(same, plants=same.plants + each.plants) if same else each
    return list(found.values())
