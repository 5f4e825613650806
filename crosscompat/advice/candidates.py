"""Which pairings are asked about: the crosses wanted, the partners of a species, those among some, or all."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import permutations

from crosscompat.advice.parents import Parent, find_parents
from crosscompat.advice.predict import Basis, asked_of, basis_of
from crosscompat.book.crosses import Wanted
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import NoPairing, UnknownName, WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances
from crosscompat.model.pairings import Parents

_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True)
class Candidate:
    """A directed pairing to be ranked, with how much it is wanted (1 to 5) if that is known."""

    seed: Parent
    pollen: Parent
    want: int | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Refused:
    """A row of the crosses wanted that can be no pairing, and why."""

    row: int
    seed_parent: str
    pollen_parent: str
    why: str


def wanted_pairs(collection: Collection, wanted: Sequence[Wanted]) -> tuple[list[Candidate], list[Refused]]:
    """Return the pairings of the crosses wanted, and the rows that can be none."""
    candidates, refused = [], []
    for row in wanted:
        try:
            seed, pollen = _alive(*find_parents(collection, row.seed_parent, row.pollen_parent))
            candidates.append(Candidate(seed, pollen, row.want, row.note))
        except (NoPairing, UnknownName) as error:
            refused.append(Refused(row.row, row.seed_parent, row.pollen_parent, str(error)))
    return candidates, refused


def partners_of(collection: Collection, species: str, among: Sequence[str] = ()) -> list[Candidate]:
    """Return every pairing of one species or plant with others, both ways round; dead plants make none.

    The others are some named, or the whole tree if there are none; a name that stands nowhere raises `UnknownName`.
    """
    found = []
    for other in among or collection.distances.tips:
        try:
            one, two = _alive(*find_parents(collection, species, other))
        except NoPairing:
            continue
        if one.label != two.label:
            found += [Candidate(one, two), Candidate(two, one)]
    return _distinct(found)


def among_species(collection: Collection, species: Sequence[str]) -> list[Candidate]:
    """Return every directed pairing among some species or plants; offsets of one plant, or a dead one, make none."""
    found = []
    for seed, pollen in permutations(species, 2):
        with suppress(NoPairing):
            found.append(Candidate(*_alive(*find_parents(collection, seed, pollen))))
    return _distinct(found)


def _distinct(found: Sequence[Candidate]) -> list[Candidate]:
    """Return each pairing once, however often and in whatever spelling its parents were named."""
    by_names = {(each.seed.called, each.pollen.called): each for each in found}
    return [each for (seed, pollen), each in by_names.items() if seed != pollen]


def chosen_pairs(collection: Collection, species: str | None, among: Sequence[str]) -> list[Candidate]:
    """Return the pairings of one species with others, or, where none is named, those among the others.

    Raises
    ------
    WrongUse, UnknownName
        If that makes no pairing; if a name stands nowhere.
    """
    if species is None:
        candidates = among_species(collection, among)
        if not candidates and len(set(among)) == 1:
            raise WrongUse(say("rank.one_alone", name=among[0]))
        return candidates
    partners = partners_of(collection, species, among)
    if not partners:
        raise WrongUse(say("rank.no_partner", name=species))
    return partners


def likeliest(
    collection: Collection,
    *,
    flowers: int,
    most: int,
    watch: Callable[[Sequence[int]], Iterable[int]] = iter,
    basis: Basis | None = None,
) -> list[Candidate]:
    """Return the likeliest of all directed pairings of a tree's species, so many at ``most``, in bounded memory.

    ``watch`` passes on the numbers of the seed parents as they are worked through, a few at a time; ``basis`` is that
    of `basis_of`, where it is at hand: a book that has changed is fitted for it.
    """
    model, tips = (basis or basis_of(collection)).model, list(collection.distances.tips)
    best: list[tuple[float, str, str]] = []
    step = max(1, _AT_ONCE // max(len(tips), 1))
    for begin in watch(range(0, len(tips), step)):
        pairs = [(seed, pollen) for seed in tips[begin : begin + step] for pollen in tips if seed != pollen]
        if not pairs:
            continue
        parents = Parents([seed for seed, _ in pairs], [pollen for _, pollen in pairs])
        chance = chances(asked_of(collection, model, parents).whole, flowers).mean.tolist()
        found = sorted((-round(mean, 12), *pair) for mean, pair in zip(chance, pairs, strict=True))
        best = sorted([*best, *found[:most]])[:most]
    return [Candidate(Parent(seed), Parent(pollen)) for _, seed, pollen in best]


def _alive(seed: Parent, pollen: Parent) -> tuple[Parent, Parent]:
    """Return both sides of a pairing that can still be made; a dead plant raises `NoPairing`."""
    for parent in (seed, pollen):
        if parent.plant is not None and parent.plant.died is not None:
            raise NoPairing(say("rank.dead", plant=parent.plant.plant, date=spoken_date(parent.plant.died, today())))
    return seed, pollen
