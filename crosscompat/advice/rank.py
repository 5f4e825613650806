"""Which pairings first: those meant, by the chance of a seedling, by what they would teach, or by both.

What a cross would teach is how much surer the chances of the crosses wanted would be after it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import permutations
from typing import Any, Literal

import numpy as np

from crosscompat.advice.figures import (
    BasisFigures,
    PairFigures,
    TreeFigures,
    flowers_or_usual,
    grounds,
    pair_figures,
)
from crosscompat.advice.parents import Parent, find_parents
from crosscompat.advice.predict import Basis, Prediction, basis_of, chances_of, parents_of, predict
from crosscompat.book.crosses import Wanted
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date, today
from crosscompat.ground.errors import NoPairing, UnknownName, WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import correlations
from crosscompat.model.likelihood import Floats, chance
from crosscompat.model.pairings import Parents
from crosscompat.show.chances import ties

By = Literal["chance", "teach", "both"]
_Watch = Callable[[Sequence[int]], Iterable[int]]
_Pair = tuple[Parent, Parent]

_TEACHING = 0.2
"""What teaching weighs beside the chance. In six seasons of invented growers a fifth cost 3 in 100 of the seedlings and
took a seventh off the error of the forecasts; half cost 14 in 100 (``tests/benchmarks/seasons.py``)."""

_BEYOND = 0.1
"""The share of what a cross would teach above which it teaches more than its own chance."""

_AT_ONCE = 20_000
_NAMES = ("seed_parent", "pollen_parent", "seed_plant", "pollen_plant")
_CHANCES, _PARTS = ("chance", "per_flower"), (("", "mean"), ("_low", "low"), ("_high", "high"))


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

    It raises `WrongUse` if that makes no pairing, `UnknownName` if a name stands nowhere.
    """
    candidates = among_species(collection, among) if species is None else partners_of(collection, species, among)
    if not candidates and species is not None:
        raise WrongUse(say("rank.no_partner", name=species))
    if not candidates and len(set(among)) == 1:
        raise WrongUse(say("rank.one_alone", name=among[0]))
    return candidates


def likeliest(
    collection: Collection, *, flowers: int, most: int, watch: _Watch = iter, basis: Basis | None = None
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
        chance = chances_of(collection, model, parents, flowers).mean.tolist()
        ordered = sorted((-round(mean, 12), *pair) for mean, pair in zip(chance, pairs, strict=True))
        best = sorted([*best, *ordered[:most]])[:most]
    return [Candidate(Parent(seed), Parent(pollen)) for _, seed, pollen in best]


def _alive(seed: Parent, pollen: Parent) -> tuple[Parent, Parent]:
    """Return both sides of a pairing that can still be made; a dead plant raises `NoPairing`."""
    for parent in (seed, pollen):
        if parent.plant is not None and parent.plant.died is not None:
            raise NoPairing(say("rank.dead", plant=parent.plant.plant, date=spoken_date(parent.plant.died, today())))
    return seed, pollen


@dataclass(frozen=True, slots=True)
class Teaching:
    """What a pairing would teach.

    Attributes
    ----------
    worth : float
        Expected drop in the summed variance of the chances from one flower of the crosses wanted.
    about : str
        What that is about beyond the pairing itself: ``seed``, ``pollen`` or ``else``; ``pair`` if next to nothing is.
    """

    worth: float
    about: str
    says: str


@dataclass(frozen=True, slots=True)
class RankRow(PairFigures):
    """One ranked pairing.

    Attributes
    ----------
    teaches : Teaching or None
        None where the ranking goes by chance alone.
    place, equal : int
        From 1; pairings that cannot be told apart share one, and how many do.
    """

    relative_distance: float
    want: int | None
    note: str | None
    teaches: Teaching | None = None
    place: int = 0
    equal: int = 1


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

    ``flowers``, by default as many as usual, are for each pairing; below 1 raises `WrongUse`. Those ``refused`` are
    told beside the ranking. ``watch`` passes on the numbers of the candidates as they are worked through; ``basis`` is
    as for `likeliest`, ``by`` as in `Ranking`.
    """
    flowers, basis = flowers_or_usual(collection, flowers), basis or basis_of(collection)
    wanted = wanted_pairs(collection, collection.wanted)[0] if by != "chance" else None
    rows = list(_rows(collection, basis, candidates, wanted, flowers, watch)) if candidates else []
    notes = [*collection.notices, *(parent.read_as for c in candidates for parent in (c.seed, c.pollen))]
    notes = [note for note in dict.fromkeys(notes) if note]
    return Ranking(by, flowers, _placed(rows, by), list(refused), *grounds(collection, basis), notes)


def _rows(
    collection: Collection, basis: Basis, candidates: Sequence[Candidate], wanted: Sequence[Candidate] | None,
    flowers: int, watch: _Watch,
) -> Iterator[RankRow]:  # fmt: skip
    """Put the candidates to the model, once and together with the crosses ``wanted``, of which they would teach."""
    pairs = list(dict.fromkeys((c.seed, c.pollen) for c in (*candidates, *(wanted or ()))))
    at = {pair: i for i, pair in enumerate(pairs)}
    tried = [at[c.seed, c.pollen] for c in candidates]
    predicted = predict(collection, basis.model, parents_of(pairs))
    apart = collection.taxa.apart([seed.label for seed, _ in pairs], [pollen.label for _, pollen in pairs])
    lessons: Sequence[Teaching | None] = [None] * len(tried)
    if wanted is not None:
        lessons = teaching(basis.model, predicted, pairs, tried, [at[c.seed, c.pollen] for c in wanted], flowers)
    figures = pair_figures(collection, basis, predicted, pairs, flowers, tried)
    for number, said in zip(watch(range(len(candidates))), figures, strict=True):
        far = float(apart[tried[number]]) / basis.model.recipe.scale.width
        yield RankRow(**said, relative_distance=far, want=candidates[number].want, note=candidates[number].note,
                      teaches=lessons[number])  # fmt: skip


def teaching(
    model: FittedModel,
    predicted: Prediction,
    pairs: Sequence[_Pair],
    tried: Sequence[int],
    aims: Sequence[int],
    flowers: int,
) -> list[Teaching]:
    """Return what each pairing ``tried`` on so many flowers would teach about those that are aimed at.

    Both are places among the ``pairs`` that were predicted. Without aims, those tried are to be surer of.
    """
    if not tried:
        return []
    together = correlations(model, predicted.rows, predicted.pairings, parents_of(pairs))
    goals = list(dict.fromkeys(aims or tried))
    parts = variance_drop(predicted.whole, together, np.array(tried), np.array(goals), flowers)
    wanted = [pairs[i] for i in goals]
    return [_teaching(pairs[i], wanted, part) for i, part in zip(tried, parts, strict=True)]


def variance_drop(whole: Logits, together: Floats, tried: np.ndarray, aims: np.ndarray, flowers: int) -> Floats:
    """Return the expected drop in the variance of chances when other pairings are tried, shape (n_tried, n_aims).

    ``whole`` is of a seedling from one flower of n_pairs, whose logits correlate as in ``together``, shape (n_pairs,
    n_pairs); ``tried`` and ``aims`` are places among them.

    Notes
    -----
    To first order a trial of n flowers with chance p adds the information W = n p (1 - p) to its own logit, whose
    variance is c_xx; the variance of a logit w falls by c_wx² W / (1 + W c_xx), that of its chance by [p_w (1 - p_w)]²
    times as much: the Gaussian update of a linear model (Chaloner & Verdinelli 1995, Bayesian experimental design: a
    review, Statistical Science 10:273-304). p (1 - p) is the mean over what is believed.

    Examples
    --------
    One flower on a pairing of logit 0 and standard deviation 2: the mean of p (1 - p) is s = 0.151, and the drop is
    s² 4² s / (1 + 4 s).

    >>> whole = Logits(np.zeros(1), np.full(1, 2.0))
    >>> variance_drop(whole, np.ones((1, 1)), np.array([0]), np.array([0]), 1).round(3).tolist()
    [[0.035]]
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)
    probability = chance(whole.mean[:, None] + whole.sd[:, None] * nodes)
    steep = probability * (1.0 - probability) @ (weights / weights.sum())
    covariance = together * np.outer(whole.sd, whole.sd)
    information = flowers * steep[tried]
    gain = information / (1.0 + information * whole.sd[tried] ** 2)
    return np.asarray(steep[aims] ** 2 * covariance[np.ix_(tried, aims)] ** 2 * gain[:, None])


def _teaching(pair: _Pair, wanted: Sequence[_Pair], parts: Floats) -> Teaching:
    shares = dict.fromkeys(("pair", "seed", "pollen", "else"), 0.0)
    for other, part in zip(wanted, parts.tolist(), strict=True):
        alike = [mine.label == its.label for mine, its in zip(pair, other, strict=True)]
        shares["pair" if pair == other else "seed" if alike[0] else "pollen" if alike[1] else "else"] += part
    beyond = max(("seed", "pollen", "else"), key=lambda key: shares[key])
    about = beyond if shares[beyond] > _BEYOND * sum(shares.values()) else "pair"
    seed, pollen = (parent.called for parent in pair)
    return Teaching(float(parts.sum()), about, say(f"teach.{about}", seed=seed, pollen=pollen))


def records(ranking: Ranking) -> list[dict[str, Any]]:
    """Return a ranking as rows of plain values, for other programs."""
    return [
        {
            **{name: getattr(row, name) for name in ("place", "equal", *_NAMES)},
            "flowers": ranking.flowers,
            **{f"{name}{end}": getattr(getattr(row, name), part) for name in _CHANCES for end, part in _PARTS},
            **{name: getattr(row, name) for name in ("verdict", "relative_distance", "want", "note")},
            "teaches": row.teaches.worth if row.teaches else None,
            "teaches_words": row.teaches.says if row.teaches else None,
            **{outcome: sum(cross.outcome == outcome for cross in row.past) for outcome in ("took", "failed")},
            "cautions": " ".join(caution.says for caution in row.cautions),
            "outcomes_invented": ranking.invented,
        }
        for row in ranking.rows
    ]


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


def _placed(rows: Sequence[RankRow], by: By) -> list[RankRow]:
    """Give each row its place; measures as near as no figure here is finer share one, the more wanted first."""

    def names(row: RankRow) -> list[str]:
        return [getattr(row, name) or "" for name in _NAMES]

    entries = zip(_measures(rows, by), rows, strict=True)
    ordered = sorted(entries, key=lambda entry: (-entry[0], names(entry[1])))
    placed: list[RankRow] = []
    for equal in ties([measure for measure, _ in ordered]):
        group = ordered[len(placed) : len(placed) + equal]
        group.sort(key=lambda entry: (-(entry[1].want or 0), -entry[0], names(entry[1])))
        placed += [replace(row, place=len(placed) + 1, equal=equal) for _, row in group]
    return placed
