"""What a cross would teach: how much surer the chances of the crosses wanted would be after it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crosscompat.advice.parents import Parent
from crosscompat.advice.predict import Prediction, parents_of
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import correlations
from crosscompat.model.likelihood import Floats, chance

_BEYOND = 0.1
"""The share of what a cross would teach above which it teaches more than its own chance."""

_Pair = tuple[Parent, Parent]


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
    model: FittedModel,
    asked: Prediction,
    pairs: Sequence[_Pair],
    tried: Sequence[int],
    aims: Sequence[int],
    flowers: int,
) -> list[Teaching]:
    """Return what each pairing ``tried`` on so many flowers would teach about those that are aimed at.

    Both are places among the ``pairs`` that were put to the model. Without aims, those tried are to be surer of.
    """
    if not tried:
        return []
    together = correlations(model, asked.rows, asked.pairings, parents_of(pairs))
    goals = list(dict.fromkeys(aims or tried))
    parts = variance_drop(asked.whole, together, np.array(tried), np.array(goals), flowers)
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
        shares[_in_common(pair, other)] += part
    beyond = max(("seed", "pollen", "else"), key=lambda key: shares[key])
    about = beyond if shares[beyond] > _BEYOND * sum(shares.values()) else "pair"
    seed, pollen = (parent.called for parent in pair)
    return Teaching(float(parts.sum()), about, say(f"teach.{about}", seed=seed, pollen=pollen))


def _in_common(pair: _Pair, other: _Pair) -> str:
    if pair == other:
        return "pair"
    if pair[0].label == other[0].label:
        return "seed"
    return "pollen" if pair[1].label == other[1].label else "else"
