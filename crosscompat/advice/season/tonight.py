"""What to put on the brush tonight: which plants are in flower, their best pollen, and pollen to keep for later."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from typing import Literal

from crosscompat.advice.figures import Interval, interval_at, past_crosses, usual_flowers
from crosscompat.advice.parents import Parent, find_parent, handling
from crosscompat.advice.predict import basis_of, chances_of, parents_of
from crosscompat.advice.rank import wanted_pairs
from crosscompat.advice.season.mating import Opening, Stored, alive_on, bars, good_lots, openings_on
from crosscompat.book.current_plants import Plant
from crosscompat.book.store import Reading
from crosscompat.book.timelines import pollen_keeps
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import correct_form, genus_of
from crosscompat.ground.wording import say
from crosscompat.show.chances import TELLS_APART

_A_FORTNIGHT = 14
"""Days ahead for which pollen need not be frozen: a judgement."""

_UNASKED, _USUAL_WANT, _REPEAT = 1.0, 3.0, 0.5
"""Weight of a pairing that nobody wished for, of one wanted without saying how much, and the share of its worth that is
left once it has given a seedling: judgements."""


@dataclass(frozen=True, slots=True)
class Father:
    """Pollen for a seed plant that is in flower: fresh, or of a stored ``lot``, and how that was kept.

    ``plants`` are those whose pollen is as good as one another's. The ``chance`` is of a seedling from the flowers; so
    many crosses of the pairing ``took`` and ``failed``. The list is ordered by ``worth``: how much it is wanted times
    the chance.
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
    """What can be pollinated on one day, so many flowers for each pairing, the worthiest first.

    ``closed`` are not in flower; of those ``unknown`` nobody knows when they flower.
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
    offers = list(_offers(collection, alive, opening, good_lots(page, day), day))
    mothers: dict[str, list[Father]] = defaultdict(list)
    keep: list[Keep] = []
    for (seed, _, _), father, wished in zip(offers, *_fathers(collection, offers, n), strict=True):
        opens = opening[seed.called].opens
        if opens is None:
            mothers[seed.called].append(father)
        elif wished:
            keep.append(_keep(seed, father, date.fromisoformat(opens), day))
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


_Offer = tuple[Parent, Parent, Stored | None]


def _offers(
    collection: Collection, alive: Sequence[Plant], opening: Mapping[str, Opening], lots: Sequence[Stored], day: date
) -> Iterator[_Offer]:
    """Every seed plant that is in flower or soon will be, with all fresh pollen; stored pollen where it is open."""
    fresh: list[tuple[str, Stored | None]]
    fresh = [(plant.plant, None) for plant in alive if opening[plant.plant].state == "open"]

    @cache
    def parent(name: str, genus: str | None = None) -> Parent | None:
        with suppress(UnknownName):
            return find_parent(collection, name, genus)
        return None

    for mother in alive:
        seed = parent(mother.plant)
        if seed is None:
            continue
        offered = {"open": [*fresh, *((lot.parent, lot) for lot in lots)], "soon": fresh}
        for name, lot in offered.get(opening[mother.plant].state, ()):
            pollen = parent(name, genus_of(seed.label))
            if pollen is not None and pollen.label != seed.label and not any(bars(mother, pollen.plant, day)):
                yield seed, pollen, lot


def _fathers(collection: Collection, offers: Sequence[_Offer], flowers: int) -> tuple[list[Father], list[bool]]:
    """Return the pollen of each offer with its chance, what came of it before and its worth; and which are wanted."""
    wanted, _ = wanted_pairs(collection, collection.wanted)
    wishes = {(wish.seed.label, wish.pollen.label): wish.want for wish in wanted}
    pairs = [(seed, pollen) for seed, pollen, _ in offers]
    chances = chances_of(collection, basis_of(collection).model, parents_of(pairs), flowers)
    past, fathers = past_crosses(collection), []
    for i, (seed, pollen, lot) in enumerate(offers):
        pair, chance = (seed.label, pollen.label), interval_at(chances, i)
        outcomes = [cross.outcome for cross in past.get(pair, ())]
        took, failed, want = outcomes.count("took"), outcomes.count("failed"), wishes.get(pair)
        fathers.append(Father(
            pollen.name, [pollen.own_name] if pollen.own_name else [], lot.lot if lot else None, chance, want, took,
            failed, worth(chance.mean, want, wished=pair in wishes, took=took), lot.says if lot else "",
        ))  # fmt: skip
    return fathers, [(seed.label, pollen.label) in wishes for seed, pollen in pairs]


def _keep(seed: Parent, father: Father, opens: date, day: date) -> Keep:
    days = (opens - day).days
    kept = "room" if days <= (pollen_keeps("room") or 0) else "fridge" if days <= _A_FORTNIGHT else "freezer"
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
