"""What to put on the brush tonight: which plants are in flower, their best pollen, and pollen to keep for later."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from crosscompat.advice.candidates import wanted_pairs
from crosscompat.advice.figures import Interval, Past, interval_at, past_crosses, usual_flowers
from crosscompat.advice.parents import Parent, find_parents, handling
from crosscompat.advice.predict import basis_of, chances_of, parents_of
from crosscompat.advice.rank import TELLS_APART
from crosscompat.book import records
from crosscompat.book.current_plants import Plant, Sighting, Window, latest, sightings_of, usual_window
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import NoPairing, UnknownName
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say

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
    """Return the plants of the collection, no friend's, that live on a day."""
    own = (plant for plant in collection.plants.by_name.values() if not plant.is_elsewhere)
    return [plant for plant in own if plant.died is None or plant.died > day]


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


_A_FORTNIGHT = 14
_UNASKED, _USUAL_WANT, _REPEAT = 1.0, 3.0, 0.5
"""Weight of a pairing that nobody wished for, of one wanted without saying how much, and the share of its worth that is
left once it has given a seedling: judgements."""


@dataclass(frozen=True, slots=True)
class Father:
    """Pollen for a seed plant that is in flower.

    Attributes
    ----------
    pollen_parent : str
        Species in correct form.
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
    """What can be pollinated on one day.

    Attributes
    ----------
    day : str
        ISO 8601.
    flowers : int
        Flowers for each pairing.
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
    [opening] = openings_on(collection, page, alive, [day])
    offers = list(_offers(collection, alive, opening, good_lots(page, day)))
    pairs = [(seed, pollen) for seed, pollen, _ in offers]
    chance = chances_of(collection, basis_of(collection).model, parents_of(pairs), n)
    wishes, past = _wishes_of(collection), past_crosses(collection)
    mothers: dict[str, list[Father]] = defaultdict(list)
    keep: list[Keep] = []
    for i, (seed, pollen, stored) in enumerate(offers):
        name = str(seed.own_name)
        father = _father(seed, pollen, stored, interval_at(chance, i), wishes, past)
        if opening[name].state == "open":
            mothers[name].append(father)
        elif (seed.label, pollen.label) in wishes:
            keep.append(_keep(seed, father, opening[name], day))
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


def _wishes_of(collection: Collection) -> dict[tuple[str, str], int | None]:
    """Return how much each pairing of species is wanted, by label; a wish for a dead plant is none."""
    wished, _ = wanted_pairs(collection, collection.wanted)
    return {(candidate.seed.label, candidate.pollen.label): candidate.want for candidate in wished}


def _father(
    seed: Parent,
    pollen: Parent,
    stored: Stored | None,
    chance: Interval,
    wishes: Mapping[tuple[str, str], int | None],
    past: Mapping[tuple[str, str], Sequence[Past]],
) -> Father:
    pair = (seed.label, pollen.label)
    outcomes = [cross.outcome for cross in past.get(pair, ())]
    want, took = wishes.get(pair), outcomes.count("took")
    return Father(
        pollen.name,
        [pollen.own_name] if pollen.own_name else [],
        stored.lot if stored else None,
        chance,
        want,
        took,
        outcomes.count("failed"),
        worth(chance.mean, want, wished=pair in wishes, took=took),
        stored.says if stored else "",
    )


def _keep(seed: Parent, father: Father, mother: Opening, day: date) -> Keep:
    opens, plant = date.fromisoformat(mother.opens or day.isoformat()), str(seed.own_name)
    days = (opens - day).days
    kept = "room" if days <= KEEPS["room"] else "fridge" if days <= _A_FORTNIGHT else "freezer"
    says = say(f"tonight.keep_{kept}", plant=plant, date=spoken_date(opens, day))
    return Keep(father.pollen_parent, father.plants, plant, seed.name, opens.isoformat(), father.chance.mean, says)


def _worthiest(father: Father) -> tuple[float, str, list[str]]:
    return (-round(father.worth, 12), father.pollen_parent, father.plants)


def _worthiest_first(fathers: Iterable[Father]) -> list[Father]:
    """Order pollen by its worth; fresh pollen of one species whose chances are equal stands together."""
    found: list[Father] = []
    for father in sorted(fathers, key=_worthiest):
        at = next((i for i, other in enumerate(found) if _alike(other, father)), None)
        if at is None:
            found.append(father)
        else:
            found[at] = replace(found[at], plants=found[at].plants + father.plants)
    return found


def _alike(one: Father, other: Father) -> bool:
    same = (one.pollen_parent, one.lot) == (other.pollen_parent, other.lot)
    return same and abs(one.chance.mean - other.chance.mean) <= TELLS_APART


def _together(keep: Iterable[Keep]) -> list[Keep]:
    """Order pollen to keep by the day on which its seed plant opens; that of one species stands together."""
    found: dict[tuple[str, str], Keep] = {}
    for each in sorted(keep, key=lambda each: (each.opens, each.for_plant, each.pollen_parent, each.plants)):
        same = found.get((each.for_plant, each.pollen_parent))
        found[each.for_plant, each.pollen_parent] = (
            each if same is None else replace(same, plants=same.plants + each.plants)
        )
    return list(found.values())
