"""Which pairings first: by the chance of a seedling, by what they would teach of the crosses wanted, or by both."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from crosscompat.advice.candidates import Candidate, Refused, wanted_pairs
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
from crosscompat.advice.parents import Caution, Parent, cautions
from crosscompat.advice.predict import Basis, asked_of, basis_of, parents_of
from crosscompat.collection.opening import Collection
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits
from crosscompat.model.correlations import correlations
from crosscompat.model.forecast import chances
from crosscompat.model.likelihood import Floats, chance
from crosscompat.show.chances import ties

_Pair = tuple[Parent, Parent]

_BEYOND = 0.1
"""The share of what a cross would teach above which it teaches more than its own chance."""

_SAME_PAIR, _SAME_SEED, _SAME_POLLEN, _ELSE = "pair", "seed", "pollen", "else"


@dataclass(frozen=True, slots=True)
class Teaching:
    """What a pairing would teach.

    Attributes
    ----------
    worth : float
        Expected drop in the summed variance of the chances from one flower of the crosses wanted.
    about : str
        What that is about beyond the pairing itself: ``seed``, ``pollen`` or ``else``; ``pair`` if next to nothing is.
    says : str
        The same in plain words.
    """

    worth: float
    about: str
    says: str


def teaching(
    collection: Collection, basis: Basis, candidates: Sequence[_Pair], wanted: Sequence[_Pair], flowers: int
) -> list[Teaching]:
    """Return what each candidate would teach, on so many flowers, about the crosses wanted.

    Both are pairs of seed and pollen parent; if none are wanted, the candidates themselves are to be surer of.
    """
    pairs = list(dict.fromkeys([*candidates, *wanted]))
    if not pairs:
        return []
    at = {pair: i for i, pair in enumerate(pairs)}
    parents = parents_of(pairs)
    asked = asked_of(collection, basis.model, parents)
    together = correlations(basis.model, asked.rows, asked.pairings, parents)
    aims = list(dict.fromkeys(at[pair] for pair in wanted or candidates))
    tried = [at[pair] for pair in candidates]
    parts = variance_drop(asked.whole, together, np.array(tried), np.array(aims), flowers)
    goals = [pairs[i] for i in aims]
    return [_teaching(pair, goals, part) for pair, part in zip(candidates, parts, strict=True)]


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


def _teaching(pair: _Pair, aims: Sequence[_Pair], parts: Floats) -> Teaching:
    shares = dict.fromkeys((_SAME_PAIR, _SAME_SEED, _SAME_POLLEN, _ELSE), 0.0)
    for aim, part in zip(aims, parts.tolist(), strict=True):
        shares[_in_common(pair, aim)] += part
    beyond = max((_SAME_SEED, _SAME_POLLEN, _ELSE), key=lambda key: shares[key])
    about = beyond if shares[beyond] > _BEYOND * sum(shares.values()) else _SAME_PAIR
    seed, pollen = (parent.called for parent in pair)
    return Teaching(float(parts.sum()), about, say(f"teach.{about}", seed=seed, pollen=pollen))


def _in_common(pair: _Pair, aim: _Pair) -> str:
    if pair == aim:
        return _SAME_PAIR
    if pair[0].label == aim[0].label:
        return _SAME_SEED
    return _SAME_POLLEN if pair[1].label == aim[1].label else _ELSE


By = Literal["chance", "teach", "both"]

_TEACHING = 0.2
"""What teaching weighs beside the chance. In six seasons of invented growers a fifth cost 3 in 100 of the seedlings and
took a seventh off the error of the forecasts; half cost 14 in 100 (``tests/benchmarks/seasons.py``)."""


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
    watch: Callable[[Sequence[int]], Iterable[int]] = iter,
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
    rows = list(_rows(collection, basis, candidates, flowers, watch))
    if by != "chance":
        wanted, _ = wanted_pairs(collection, collection.wanted)
        tried, aims = ([(c.seed, c.pollen) for c in some] for some in (candidates, wanted))
        lessons = teaching(collection, basis, tried, aims, flowers)
        rows = [replace(row, teaches=lesson) for row, lesson in zip(rows, lessons, strict=True)]
    placed = _placed(rows, _measures(rows, by))
    notes = [*collection.notices, *(parent.read_as for c in candidates for parent in (c.seed, c.pollen))]
    return Ranking(
        by,
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
            "teaches": row.teaches.worth if row.teaches else None,
            "teaches_words": row.teaches.says if row.teaches else None,
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
