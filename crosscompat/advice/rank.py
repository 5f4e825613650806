"""Which pairings first: those meant, by the chance of a seedling, by what they would teach, or by both."""

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
from crosscompat.advice.predict import Basis, basis_of, parents_of, predict
from crosscompat.advice.teaching import Teaching, teaching
from crosscompat.book.crosses import Wanted
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import NoPairing, UnknownName, WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.forecast import chances
from crosscompat.model.pairings import Parents
from crosscompat.show.chances import ties

By = Literal["chance", "teach", "both"]
_Watch = Callable[[Sequence[int]], Iterable[int]]

_TEACHING = 0.2
"""What teaching weighs beside the chance. In six seasons of invented growers a fifth cost 3 in 100 of the seedlings and
took a seventh off the error of the forecasts; half cost 14 in 100 (``tests/benchmarks/seasons.py``)."""

_AT_ONCE = 20_000
_NAMES = ("place", "equal", "seed_parent", "pollen_parent", "seed_plant", "pollen_plant")
_Pair = tuple[Parent, Parent]


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
    names = ((species, other) for other in among or collection.distances.tips)
    pairs = [(one, other) for one, other in _living_pairs(collection, names) if one.label != other.label]
    return _distinct(sides for one, other in pairs for sides in ((one, other), (other, one)))


def among_species(collection: Collection, species: Sequence[str]) -> list[Candidate]:
    """Return every directed pairing among some species or plants; offsets of one plant, or a dead one, make none."""
    return _distinct(_living_pairs(collection, permutations(species, 2)))


def _distinct(pairs: Iterable[_Pair]) -> list[Candidate]:
    """Return each pairing once, however often and in whatever spelling its parents were named."""
    by_names = {(seed.called, pollen.called): Candidate(seed, pollen) for seed, pollen in pairs}
    return [each for (seed, pollen), each in by_names.items() if seed != pollen]


def _living_pairs(collection: Collection, names: Iterable[tuple[str, str]]) -> Iterator[_Pair]:
    for seed, pollen in names:
        with suppress(NoPairing):
            yield _alive(*find_parents(collection, seed, pollen))


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
    watch: _Watch = iter,
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
        chance = chances(predict(collection, model, parents).whole, flowers).mean.tolist()
        found = sorted((-round(mean, 12), *pair) for mean, pair in zip(chance, pairs, strict=True))
        best = sorted([*best, *found[:most]])[:most]
    return [Candidate(Parent(seed), Parent(pollen)) for _, seed, pollen in best]


def _alive(seed: Parent, pollen: Parent) -> tuple[Parent, Parent]:
    """Return both sides of a pairing that can still be made; a dead plant raises `NoPairing`."""
    for parent in (seed, pollen):
        if parent.plant is not None and parent.plant.died is not None:
            raise NoPairing(say("rank.dead", plant=parent.plant.plant, date=spoken_date(parent.plant.died, today())))
    return seed, pollen


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
    chance, per_flower : Interval
        Of at least one seedling from the flowers, and from one.
    past : list of Past
        Earlier crosses this way round.
    teaches : Teaching or None
        None where the ranking goes by chance alone.
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
    teaches: Teaching | None = None


@dataclass(frozen=True, slots=True)
class Ranking:
    """Pairings, best first; of those that cannot be told apart the more wanted first, then by name.

    What is best ``by`` says: ``chance``, ``teach`` (what it would teach), or ``both``, which leans to the chance.
    """

    by: By
    flowers: int
    rows: list[RankRow]
    refused: list[Refused]
    basis: BasisFigures
    tree: TreeFigures
    invented: bool
    notes: list[str]
    schema: Literal["crosscompat.rank/2"] = "crosscompat.rank/2"


def rank(
    collection: Collection,
    candidates: Sequence[Candidate],
    *,
    flowers: int | None = None,
    refused: Sequence[Refused] = (),
    watch: _Watch = iter,
    basis: Basis | None = None,
    by: By = "chance",
) -> Ranking:
    """Rank pairings by the chance of at least one seedling, or by what they would teach of the crosses wanted.

    ``flowers`` are for each pairing, by default as many as usual. Those ``refused`` are told beside the ranking.
    ``watch`` passes on the numbers of the candidates as they are worked through; ``basis`` is as for `likeliest`,
    ``by`` as in `Ranking`.

    Raises
    ------
    WrongUse
        If ``flowers`` is below 1.
    """
    flowers = flowers_asked(collection, flowers)
    basis = basis or basis_of(collection)
    wanted = wanted_pairs(collection, collection.wanted)[0] if by != "chance" else []
    rows = list(_rows(collection, basis, candidates, wanted, flowers, watch, by)) if candidates else []
    notes = [*collection.notices, *(parent.read_as for c in candidates for parent in (c.seed, c.pollen))]
    return Ranking(
        by,
        flowers,
        _placed(rows, _measures(rows, by)),
        list(refused),
        basis_figures(collection, basis),
        tree_figures(collection, basis),
        collection.settings.invented,
        [note for note in dict.fromkeys(notes) if note],
    )


def _rows(
    collection: Collection,
    basis: Basis,
    candidates: Sequence[Candidate],
    wanted: Sequence[Candidate],
    flowers: int,
    watch: _Watch,
    by: By,
) -> Iterator[RankRow]:
    """Put the candidates to the model, once and together with the crosses wanted, of which they would teach."""
    pairs = list(dict.fromkeys((c.seed, c.pollen) for c in (*candidates, *wanted)))
    at = {pair: i for i, pair in enumerate(pairs)}
    tried, aims = ([at[c.seed, c.pollen] for c in some] for some in (candidates, wanted))
    asked = predict(collection, basis.model, parents_of(pairs))
    all_flowers, one_flower, past = chances(asked.whole, flowers), chances(asked.whole), past_crosses(collection)
    apart = collection.taxa.apart([seed.label for seed, _ in pairs], [pollen.label for _, pollen in pairs])
    lessons = teaching(basis.model, asked, pairs, tried, aims, flowers) if by != "chance" else [None] * len(tried)
    for number in watch(range(len(candidates))):
        i, (seed, pollen) = tried[number], pairs[tried[number]]
        interval = interval_at(all_flowers, i)
        word = verdict(interval, known=bool(asked.known[i]))
        yield RankRow(
            place=0,
            equal=1,
            seed_parent=seed.name,
            pollen_parent=pollen.name,
            seed_plant=seed.own_name,
            pollen_plant=pollen.own_name,
            chance=interval,
            per_flower=interval_at(one_flower, i),
            verdict=word,
            verdict_words=say(f"verdict.{word}"),
            relative_distance=float(apart[i]) / basis.model.recipe.scale.width,
            want=candidates[number].want,
            note=candidates[number].note,
            past=past.get((seed.label, pollen.label), []),
            cautions=cautions(collection, basis.model, seed, pollen, asked.rows[i]),
            teaches=lessons[number],
        )


def records(ranking: Ranking) -> list[dict[str, Any]]:
    """Return a ranking as rows of plain values, for other programs."""
    return [
        {
            **{name: getattr(row, name) for name in _NAMES},
            "flowers": ranking.flowers,
            **_interval("chance", row.chance),
            **_interval("per_flower", row.per_flower),
            **{name: getattr(row, name) for name in ("verdict", "relative_distance", "want", "note")},
            "teaches": row.teaches.worth if row.teaches else None,
            "teaches_words": row.teaches.says if row.teaches else None,
            "took": sum(cross.outcome == "took" for cross in row.past),
            "failed": sum(cross.outcome == "failed" for cross in row.past),
            "cautions": " ".join(caution.says for caution in row.cautions),
            "outcomes_invented": ranking.invented,
        }
        for row in ranking.rows
    ]


def _interval(name: str, chance: Interval) -> dict[str, float]:
    return {name: chance.mean, f"{name}_low": chance.low, f"{name}_high": chance.high}


def _measures(rows: Sequence[RankRow], by: str) -> list[float]:
    """Return what rows are ranked by, against the best of each kind but for the chance alone."""
    chance = [row.chance.mean for row in rows]
    if by == "chance":
        return chance
    lessons = [row.teaches.worth if row.teaches else 0.0 for row in rows]
    shares = [[value / (max(values) or 1.0) for value in values] for values in (chance, lessons)]
    if by == "teach":
        return shares[1]
    return [(1 - _TEACHING) * c + _TEACHING * t for c, t in zip(*shares, strict=True)]


def _placed(rows: Sequence[RankRow], measures: Sequence[float]) -> list[RankRow]:
    """Give each row its place; measures as near as no figure here is finer share one, the more wanted first."""
    left = sorted(zip(measures, rows, strict=True), key=lambda entry: (-entry[0], _names(entry[1])))
    placed: list[RankRow] = []
    for equal in ties([measure for measure, _ in left]):
        place = len(placed) + 1
        group = sorted(
            left[place - 1 :][:equal], key=lambda entry: (-(entry[1].want or 0), -entry[0], _names(entry[1]))
        )
        placed += [replace(row, place=place, equal=equal) for _, row in group]
    return placed


def _names(row: RankRow) -> tuple[str, str, str, str]:
    return row.seed_parent, row.pollen_parent, row.seed_plant or "", row.pollen_plant or ""
