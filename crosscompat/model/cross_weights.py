"""What each past cross weighs in a forecast."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from crosscompat.model.likelihood import Floats, Ints
from crosscompat.model.pairings import Levels, Pairings

if TYPE_CHECKING:
    from crosscompat.model.gaussian import Stage
    from crosscompat.model.inference import Mode

__all__ = ["Past", "base_shift", "past_of", "past_weights", "prior_logits"]


@dataclass(frozen=True, slots=True)
class Past:
    """The crosses that were fitted, as far as forecasts lean on them.

    Attributes
    ----------
    x : ndarray of float, shape (n_records, p)
        Their rows, the intercept's 1 first, centred.
    levels : Levels
        Their parents.
    gradient : ndarray of float, shape (n_records,)
        What each took beyond expectation at the mode, k - n p ("some of n": the slope of its log likelihood).
    prior_mean, prior_sd : ndarray of float, shape (p,)
        Of the coefficients.
    variances : ndarray of float, shape (6,)
        Of the effects of seed, pollen, seed plant, pollen plant, pair and direction, at the most likely scales.
    share : float
        The phylogenetic share lambda there.
    record : ndarray of int, shape (n_records,)
        Number of each cross among all that were fitted, at whatever stage.
    """

    x: Floats
    levels: Levels
    gradient: Floats
    prior_mean: Floats
    prior_sd: Floats
    variances: Floats
    share: float
    record: Ints


def past_of(
    stage: Stage, most_likely: Mode, levels: Levels, names: tuple[str, ...], record: Ints | None = None
) -> Past:
    """Return what forecasts need of past crosses, at the mode of the most likely scales.

    Parameters
    ----------
    stage : Stage
    most_likely : Mode
        The posterior at the most likely scales.
    levels : Levels
        Of each record.
    names : tuple of str
        Names of the six effects, in the order of ``Past.variances``.
    record : ndarray of int, shape (n_records,), optional
        Number of each cross; by default they are counted.
    """
    from crosscompat.model.inference import find_mode  # noqa: PLC0415 - only a fit needs it

    scales = most_likely.scales
    mode = find_mode(stage, scales, most_likely)
    sd_of = {factor.name: float(sd) for factor, sd in zip(stage.factors, scales.sds, strict=True)}
    variances = np.array([sd_of.get(name, 0.0) ** 2 for name in names], dtype=np.float64)
    number = np.arange(len(stage.x)) if record is None else record
    return Past(stage.x, levels, mode.gradient, stage.mean, stage.sd, variances, scales.share, number)


def prior_logits(past: Past, x: Floats) -> Floats:
    """Return the logits of pairings before any cross; ``x`` as in ``Past``, shape (n_pairs, p)."""
    logit: Floats = x @ past.prior_mean
    return logit


def past_weights(past: Past, x: Floats, asked: Pairings) -> Floats:
    """Return what each past cross adds to the logit of each pairing, shape (n_pairs, n_records).

    Parameters
    ----------
    past : Past
    x : ndarray of float, shape (n_pairs, p)
        As in ``Past``; what is unknown stands at its training mean.
    asked : Pairings

    Notes
    -----
    The weight of cross i is K(x, x_i) (k_i - n_i p_i) at the mode, with K the prior covariance of the two logits. Added
    to the prior logit the weights give the logit at the mode exactly. Every cross also moves the intercept, which all
    pairings share: `base_shift` is the sum of that part.
    """
    covariance: Floats = (x * past.prior_sd**2) @ past.x.T
    then, now = past.levels, asked.levels
    sides = (
        (now.seed, then.seed, asked.seed_kin, past.variances[0]),
        (now.pollen, then.pollen, asked.pollen_kin, past.variances[1]),
    )
    for here, there, kin, variance in sides:
        covariance += variance * _species(here, there, kin, past.share)
    plants = ((now.seed_plant, then.seed_plant), (now.pollen_plant, then.pollen_plant))
    for (here, there), variance in zip(plants, past.variances[2:4], strict=True):
        covariance += variance * _same(here, there)
    same_way = _same(now.seed, then.seed) & _same(now.pollen, then.pollen)
    other_way = _same(now.seed, then.pollen) & _same(now.pollen, then.seed)
    covariance += past.variances[4] * (same_way | other_way) + past.variances[5] * same_way
    weights: Floats = covariance * past.gradient
    return weights


def base_shift(past: Past) -> Floats:
    """Return the part of each past cross that moves the intercept, and so every pairing alike, shape (n_records,)."""
    part: Floats = past.prior_sd[0] ** 2 * past.gradient
    return part


def _same(here: Ints, there: Ints) -> NDArray[np.bool_]:
    """Tell where the levels of pairings and records are one."""
    same: NDArray[np.bool_] = (here[:, None] == there[None, :]) & (here[:, None] >= 0)
    return same


def _species(here: Ints, there: Ints, kin: Floats | None, share: float) -> Floats:
    """Correlation of the effects of species asked about and species crossed."""
    same = _same(here, there).astype(np.float64)
    if kin is None:
        return same
    mixed: Floats = share * kin[:, there] + (1.0 - share) * same
    return mixed
