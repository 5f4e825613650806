"""What a pairing would teach, if it were tried: how much surer the crosses wanted would be for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crosscompat.advice.parents import Parent
from crosscompat.advice.predict import Basis, asked_of, parents_of
from crosscompat.collection.opening import Collection
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits
from crosscompat.model.forecast import correlations
from crosscompat.model.likelihood import Floats, chance

__all__ = ["Teaching", "teaching", "variance_drop"]

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
    """Return what each candidate would teach about the crosses wanted.

    Parameters
    ----------
    collection : Collection
    basis : Basis
    candidates : sequence of pairs of Parent
        Seed parent and pollen parent.
    wanted : sequence of pairs of Parent
        Those to be surer of; if there are none, the candidates themselves.
    flowers : int
        On each candidate.

    Returns
    -------
    list of Teaching
        One for each candidate.
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

    Parameters
    ----------
    whole : Logits
        Of a seedling from one flower, shape (n_pairs,).
    together : ndarray of float, shape (n_pairs, n_pairs)
        Correlations of these logits.
    tried, aims : ndarray of int
        Places among the pairs.
    flowers : int

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
    names = {"seed": _called(pair[0]), "pollen": _called(pair[1])}
    return Teaching(float(parts.sum()), about, say(f"teach.{about}", **names))


def _in_common(pair: _Pair, aim: _Pair) -> str:
    if pair == aim:
        return _SAME_PAIR
    if pair[0].label == aim[0].label:
        return _SAME_SEED
    return _SAME_POLLEN if pair[1].label == aim[1].label else _ELSE


def _called(parent: Parent) -> str:
    return parent.plant.plant if parent.plant else parent.name
