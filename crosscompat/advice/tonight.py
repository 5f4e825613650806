"""What to put on the brush tonight: the seed plants in flower, their best pollen, and pollen to keep for later."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from crosscompat.advice.candidates import wanted_pairs
from crosscompat.advice.figures import Interval, interval_at, past_crosses, usual_flowers
from crosscompat.advice.flowering import KEEPS, Opening, Stored, alive_on, good_lots, openings_on
from crosscompat.advice.parents import Parent, find_parents, handling
from crosscompat.advice.predict import basis_of, chances_of, parents_of
from crosscompat.advice.rank import TELLS_APART
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import NoPairing, UnknownName
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say

__all__ = ["Father", "Keep", "Mother", "Tonight", "tonight", "wishes_of", "worth"]

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
    want : int or None
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
    keep : list of Keep
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
    chance = chances_of(collection, basis_of(collection).model, parents_of([(o.seed, o.pollen) for o in offers]), n)
    wishes, past = wishes_of(collection), past_crosses(collection)
    mothers: dict[str, list[Father]] = defaultdict(list)
    keep: list[Keep] = []
    for i, offer in enumerate(offers):
        outcomes = [cross.outcome for cross in past.get((offer.seed.label, offer.pollen.label), ())]
        father = _father(offer, interval_at(chance, i), outcomes, wishes)
        name = offer.mother.plant
        if opening[name].state == "open":
            mothers[name].append(father)
        elif (offer.seed.label, offer.pollen.label) in wishes:
            keep.append(_keep(offer, father, opening[name], day))
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


@dataclass(frozen=True, slots=True)
class _Offer:
    """Pollen for a seed plant; ``stored`` is None where it is fresh."""

    mother: Plant
    seed: Parent
    pollen: Parent
    stored: Stored | None


def _offers(
    collection: Collection, alive: Sequence[Plant], opening: Mapping[str, Opening], lots: Sequence[Stored]
) -> Iterator[_Offer]:
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
                    yield _Offer(mother, seed, father, stored)


def wishes_of(collection: Collection) -> dict[tuple[str, str], int | None]:
    """Return how much each pairing of species is wanted, by label; a wish for a dead plant is none."""
    wished, _ = wanted_pairs(collection, collection.wanted)
    return {(candidate.seed.label, candidate.pollen.label): candidate.want for candidate in wished}


def _father(
    offer: _Offer, chance: Interval, outcomes: Sequence[str], wishes: Mapping[tuple[str, str], int | None]
) -> Father:
    pair, took = (offer.seed.label, offer.pollen.label), outcomes.count("took")
    want = wishes.get(pair)
    return Father(
        offer.pollen.name,
        [offer.pollen.plant.plant] if offer.pollen.plant else [],
        offer.stored.lot if offer.stored else None,
        chance,
        want,
        took,
        outcomes.count("failed"),
        worth(chance.mean, want, wished=pair in wishes, took=took),
        offer.stored.says if offer.stored else "",
    )


def _keep(offer: _Offer, father: Father, mother: Opening, day: date) -> Keep:
    opens = date.fromisoformat(mother.opens or day.isoformat())
    kept = (
        "room" if (opens - day).days <= KEEPS["room"] else "fridge" if (opens - day).days <= _A_FORTNIGHT else "freezer"
    )
    return Keep(
        father.pollen_parent,
        father.plants,
        offer.mother.plant,
        offer.seed.name,
        opens.isoformat(),
        father.chance.mean,
        say(f"tonight.keep_{kept}", plant=offer.mother.plant, date=spoken_date(opens, day)),
    )


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
