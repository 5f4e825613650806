"""Which pairings first: the crosses wanted, all partners of a species, or all pairs among some."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import permutations
from typing import Any, Literal

from crosscompat.advice.figures import (
    BasisFigures,
    Interval,
    Past,
    TreeFigures,
    basis_figures,
    flowers_asked,
    interval_at,
    past_crosses,
    tree_figures,
    verdict,
)
from crosscompat.advice.parents import Caution, Parent, cautions, find_parents
from crosscompat.advice.predict import Basis, asked_of, basis_of, parents_of
from crosscompat.book.crosses import Wanted
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import NoPairing, UnknownName, WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances
from crosscompat.model.pairings import Parents

__all__ = [
    "TELLS_APART",
    "Candidate",
    "RankRow",
    "Ranking",
    "Refused",
    "among_species",
    "chosen_pairs",
    "likeliest",
    "partners_of",
    "rank",
    "records",
    "wanted_pairs",
]


_AT_ONCE = 20_000

TELLS_APART = 0.02
"""Chances nearer than this are equal: the figures are no finer."""


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


@dataclass(frozen=True, slots=True)
class RankRow:
    """One ranked pairing.

    Attributes
    ----------
    place : int
        From 1; pairings that cannot be told apart share one.
    equal : int
        How many share it.
    seed_parent, pollen_parent : str
        Species in correct form.
    seed_plant, pollen_plant : str or None
    chance, per_flower : Interval
        Of at least one seedling from the flowers, and from one.
    verdict, verdict_words : str
    relative_distance : float
    want : int or None
    note : str or None
    past : list of Past
        Earlier crosses this way round.
    cautions : list of Caution
    """

    place: int
    equal: int
    seed_parent: str
    pollen_parent: str
    seed_plant: str | None
    pollen_plant: str | None
    chance: Interval
    per_flower: Interval
    verdict: str
    verdict_words: str
    relative_distance: float
    want: int | None
    note: str | None
    past: list[Past]
    cautions: list[Caution]


@dataclass(frozen=True, slots=True)
class Ranking:
    """Pairings by chance, best first; of those that cannot be told apart the more wanted first, then by name."""

    flowers: int
    rows: list[RankRow]
    refused: list[Refused]
    basis: BasisFigures
    tree: TreeFigures
    invented: bool
    notes: list[str]
    schema: Literal["crosscompat.rank/2"] = "crosscompat.rank/2"


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

    Parameters
    ----------
    collection : Collection
    species : str
        A species or a plant.
    among : sequence of str
        The others; the whole tree if there are none.

    Raises
    ------
    UnknownName
        If a name stands nowhere.
    """
    found = []
    for other in among or collection.distances.tips:
        try:
            one, two = _alive(*find_parents(collection, species, other))
        except NoPairing:
            continue
        if one.label != two.label:
            found += [Candidate(one, two), Candidate(two, one)]
    return found


def among_species(collection: Collection, species: Sequence[str]) -> list[Candidate]:
    """Return every directed pairing among some species or plants; two offsets of one plant, or a dead one, make none.

    Raises
    ------
    UnknownName
        If a name stands nowhere.
    """
    found = []
    for seed, pollen in permutations(species, 2):
        with suppress(NoPairing):
            found.append(Candidate(*_alive(*find_parents(collection, seed, pollen))))
    return found


def chosen_pairs(collection: Collection, species: str | None, among: Sequence[str]) -> list[Candidate]:
    """Return the pairings of one species with others, or, where none is named, those among the others.

    Raises
    ------
    WrongUse
        If that makes no pairing.
    UnknownName
        If a name stands nowhere.
    """
    if species is None:
        if len(among) == 1:
            raise WrongUse(say("rank.one_alone", name=among[0]))
        return among_species(collection, among)
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
    """Return the likeliest of all directed pairings among the species of a tree, in bounded memory.

    Parameters
    ----------
    collection : Collection
    flowers : int
        Flowers for each pairing.
    most : int
        How many to keep.
    watch : callable
        Passes on the numbers of the seed parents as they are worked through, a few at a time.
    basis : Basis, optional
        As `basis_of` gives it, where it is at hand: a book that has changed is fitted for it.
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
    """Return both sides of a pairing that can still be made.

    Raises
    ------
    NoPairing
        If a plant of them is dead.
    """
    for parent in (seed, pollen):
        if parent.plant is not None and parent.plant.died is not None:
            raise NoPairing(say("rank.dead", plant=parent.plant.plant, date=spoken_date(parent.plant.died, today())))
    return seed, pollen


def rank(
    collection: Collection,
    candidates: Sequence[Candidate],
    *,
    flowers: int | None = None,
    refused: Sequence[Refused] = (),
    watch: Callable[[Sequence[int]], Iterable[int]] = iter,
    basis: Basis | None = None,
) -> Ranking:
    """Rank pairings by the chance of at least one seedling.

    Parameters
    ----------
    collection : Collection
    candidates : sequence of Candidate
    flowers : int, optional
        Flowers for each pairing, at least 1; by default as many as the grower usually takes.
    refused : sequence of Refused
        To be told beside the ranking.
    watch : callable
        Passes on the numbers of the candidates as they are worked through, for a progress bar.
    basis : Basis, optional
        As for `likeliest`.

    Raises
    ------
    WrongUse
        If ``flowers`` is below 1.
    """
    flowers = flowers_asked(collection, flowers)
    basis = basis or basis_of(collection)
    placed = _placed(sorted(_rows(collection, basis, candidates, flowers, watch), key=_best_first))
    notes = [*collection.notices, *(parent.read_as for c in candidates for parent in (c.seed, c.pollen))]
    return Ranking(
        flowers,
        placed,
        list(refused),
        basis_figures(collection, basis),
        tree_figures(collection, basis),
        collection.settings.invented,
        [note for note in dict.fromkeys(notes) if note],
    )


def records(ranking: Ranking) -> list[dict[str, Any]]:
    """Return a ranking as rows of plain values, for other programs."""
    return [
        {
            "place": row.place,
            "equal": row.equal,
            "seed_parent": row.seed_parent,
            "pollen_parent": row.pollen_parent,
            "seed_plant": row.seed_plant,
            "pollen_plant": row.pollen_plant,
            "flowers": ranking.flowers,
            "chance": row.chance.mean,
            "chance_low": row.chance.low,
            "chance_high": row.chance.high,
            "per_flower": row.per_flower.mean,
            "per_flower_low": row.per_flower.low,
            "per_flower_high": row.per_flower.high,
            "verdict": row.verdict,
            "relative_distance": row.relative_distance,
            "want": row.want,
            "note": row.note,
            "took": sum(cross.outcome == "took" for cross in row.past),
            "failed": sum(cross.outcome == "failed" for cross in row.past),
            "cautions": " ".join(caution.says for caution in row.cautions),
            "outcomes_invented": ranking.invented,
        }
        for row in ranking.rows
    ]


def _rows(
    collection: Collection,
    basis: Basis,
    candidates: Sequence[Candidate],
    flowers: int,
    watch: Callable[[Sequence[int]], Iterable[int]],
) -> Iterator[RankRow]:
    if not candidates:
        return
    asked = asked_of(collection, basis.model, parents_of([(c.seed, c.pollen) for c in candidates]))
    all_flowers, one_flower = chances(asked.whole, flowers), chances(asked.whole)
    past = past_crosses(collection)
    usual = basis.model.recipe.scale.width
    apart = collection.taxa.apart([c.seed.label for c in candidates], [c.pollen.label for c in candidates])
    for i in watch(range(len(candidates))):
        candidate = candidates[i]
        chance = interval_at(all_flowers, i)
        word = verdict(chance, known=bool(asked.known[i]))
        yield RankRow(
            place=0,
            equal=1,
            seed_parent=candidate.seed.name,
            pollen_parent=candidate.pollen.name,
            seed_plant=candidate.seed.own_name,
            pollen_plant=candidate.pollen.own_name,
            chance=chance,
            per_flower=interval_at(one_flower, i),
            verdict=word,
            verdict_words=say(f"verdict.{word}"),
            relative_distance=float(apart[i]) / usual,
            want=candidate.want,
            note=candidate.note,
            past=past.get((candidate.seed.label, candidate.pollen.label), []),
            cautions=cautions(collection, basis.model, candidate.seed, candidate.pollen, asked.rows[i]),
        )


def _placed(rows: Sequence[RankRow]) -> list[RankRow]:
    """Give each row its place; chances as near as no figure here is finer share one, the more wanted first."""
    placed: list[RankRow] = []
    while len(placed) < len(rows):
        best = rows[len(placed)]
        rest = rows[len(placed) :]
        equal = next((i for i, row in enumerate(rest) if best.chance.mean - row.chance.mean > TELLS_APART), len(rest))
        group = sorted(rest[:equal], key=lambda row: (-(row.want or 0), _best_first(row)))
        placed += [replace(row, place=len(rows) - len(rest) + 1, equal=equal) for row in group]
    return placed


def _best_first(row: RankRow) -> tuple[float, int, str, str, str, str]:
    names = (row.seed_parent, row.pollen_parent, row.seed_plant or "", row.pollen_plant or "")
    return (-round(row.chance.mean, 12), -(row.want or 0), *names)
