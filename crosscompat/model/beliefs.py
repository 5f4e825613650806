"""The effects of one stage as one Gaussian, matched in mean and covariance to the mixture over the variances.

It is a twenty-fourth as large to save as the mixture, and says nearly the same. Beside the effects of the species seen
it holds what a relative would inherit from them, lambda R^-1 u with R = lambda A + (1 - lambda) I, so that the forecast
for a species not seen is matched too, through its entries of A alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.effects import Factor, Ints
from crosscompat.model.elimination import Stage, Whitener
from crosscompat.model.laplace import Mode
from crosscompat.model.likelihood import Floats
from crosscompat.model.variances import Point

__all__ = ["EFFECTS", "Effects", "Ties", "matched", "unknown_effects"]

EFFECTS = ("seed", "pollen", "seed_plant", "pollen_plant", "pair", "direction", "record")

_COLUMNS = EFFECTS[:4]
_KIN = EFFECTS[:2]
_NESTED = EFFECTS[:3:-1]  # record, direction, pair: finest first
_BLOCK = 2_000_000
_JITTER = 1e-12


@dataclass(frozen=True, slots=True)
class Ties:
    """What is believed of the pairs crossed, beside their parents: a row a pair and direction, both ways round.

    Attributes
    ----------
    ways : ndarray of int, shape (n_ways, 2)
        Seed and pollen parent, as numbers of the species seen.
    pair, direction : ndarray of float, shape (n_ways,)
        Mean of what both directions share, and of what this one has of its own.
    own : ndarray of float, shape (n_ways,)
        Variance of the two together where everything else is known.
    columns : ndarray of int, shape (n_ways, w)
        Coefficients and effects that they lean on, -1 for none.
    lean : ndarray of float, shape (n_ways, w)
        How much higher they are believed to be where such a column is lower by 1.
    """

    ways: Ints
    pair: Floats
    direction: Floats
    own: Floats
    columns: Ints
    lean: Floats

    def find(self, seed: Ints, pollen: Ints) -> Ints:
        """Return the row of each directed pair, -1 where it was crossed neither way round."""
        if not len(self.ways):
            return np.full(len(seed), -1, dtype=np.intp)
        step = int(self.ways.max()) + 1
        keys = self.ways[:, 0] * step + self.ways[:, 1]
        order = np.argsort(keys)
        wanted = np.where((seed >= 0) & (pollen >= 0) & (pollen < step), seed * step + pollen, -1)
        place = order[np.minimum(np.searchsorted(keys, wanted, sorter=order), len(keys) - 1)]
        return np.where(keys[place] == wanted, place, -1)


@dataclass(frozen=True, slots=True)
class Effects:
    """What is believed of the effects of one stage.

    Attributes
    ----------
    variances : ndarray of float, shape (7,)
        Mean prior variance of each of ``EFFECTS``, 0 for one that is not in the model.
    mean : ndarray of float, shape (r,)
        Species as seed parents, as pollen parents, plants as mothers, as fathers; then what relatives inherit of the
        species as seed and as pollen parents, if it is known who is related.
    covariance : ndarray of float, shape (r, r)
    cross : ndarray of float, shape (r, p)
        Covariance with the coefficients.
    inherited : ndarray of float, shape (2, s, s) or (2, 0, 0)
        A relative with the entries a of A has a' inherited a less variance than one without relatives.
    ties : Ties
    sizes : tuple of three int
        Number of species, of mothers and of fathers.
    """

    variances: Floats
    mean: Floats
    covariance: Floats
    cross: Floats
    inherited: Floats
    ties: Ties
    sizes: tuple[int, int, int]

    def block(self, kind: int) -> tuple[int, int]:
        """Return where in ``mean`` one kind of effect begins and ends; 4 and 5 are what relatives inherit."""
        species, mothers, fathers = self.sizes
        edges = np.cumsum([0, species, species, mothers, fathers, species, species])
        return int(edges[kind]), int(edges[kind + 1])


def unknown_effects(variances: Floats, coefficients: int) -> Effects:
    """Return what is believed before any cross: each effect has its prior variance."""
    nothing = np.empty(0)
    ties = Ties(np.empty((0, 2), dtype=np.intp), nothing, nothing, nothing, np.empty((0, 1), np.intp), np.empty((0, 1)))
    return Effects(
        variances, nothing, np.empty((0, 0)), np.empty((0, coefficients)), np.empty((2, 0, 0)), ties, (0, 0, 0)
    )


def matched(stage: Stage, points: tuple[Point, ...], pairs: Ints) -> tuple[Floats, Floats, Effects]:
    """Match one Gaussian to the mixture.

    Parameters
    ----------
    stage : Stage
        Its factors are those of ``EFFECTS`` that are in the model, by name; record, direction and pair are eliminated.
    points : tuple of Point
    pairs : ndarray of int, shape (n_records, 2)
        Seed and pollen parent of each record.

    Returns
    -------
    mean : ndarray of float, shape (p,)
        Of the coefficients.
    covariance : ndarray of float, shape (p, p)
    effects : Effects
    """
    p = stage.layout.p
    beliefs = [_widened(stage, point.mode) for point in points]
    weights = np.array([point.weight for point in points])
    mean = weights @ np.array([belief[0] for belief in beliefs])
    covariance = np.zeros((mean.size, mean.size))
    for weight, (centre, spread) in zip(weights, beliefs, strict=True):
        covariance += weight * (spread + np.outer(centre - mean, centre - mean))
    effects = Effects(
        _mean_variances(stage, points),
        mean[p:],
        covariance[p:, p:],
        covariance[p:, :p],
        _inherited(stage, points),
        _ties(stage, points, beliefs, mean, covariance, _Ways.of(stage, pairs)),
        _sizes(stage),
    )
    return mean[:p], covariance[:p, :p], effects


def _sizes(stage: Stage) -> tuple[int, int, int]:
    size = {factor.name: factor.size for factor in stage.factors}
    return size["seed"], size.get("seed_plant", 0), size.get("pollen_plant", 0)


def _factor(stage: Stage, name: str) -> tuple[int, Factor]:
    return next((i, factor) for i, factor in enumerate(stage.factors) if factor.name == name)


def _widened(stage: Stage, mode: Mode) -> tuple[Floats, Floats]:
    """Mean and covariance of all columns at one point, with what relatives inherit."""
    lay = stage.layout
    mean = mode.theta.copy()
    mean[: lay.p] += stage.mean
    widen = [np.eye(lay.size)]
    for name in _KIN:
        i, factor = _factor(stage, name)
        if factor.kinship is not None:
            block = np.zeros((factor.size, lay.size))
            block[:, lay.blocks[i]] = _inherit(factor, mode.scales.share)
            widen.append(block)
    turn = np.concatenate(widen)
    spread = Whitener(stage, mode.scales).both(mode.covariance)
    return turn @ mean, turn @ spread @ turn.T


def _inherit(factor: Factor, share: float) -> Floats:
    """Give lambda R^-1."""
    assert factor.kinship is not None  # noqa: S101 - the callers have looked
    vectors = factor.kinship.vectors
    inherit: Floats = share * (vectors / factor.kinship.spectrum(share)) @ vectors.T
    return inherit


def _mean_variances(stage: Stage, points: tuple[Point, ...]) -> Floats:
    place = {factor.name: i for i, factor in enumerate(stage.factors)}
    sds = np.array([point.mode.scales.sds for point in points])
    mean = np.array([point.weight for point in points]) @ sds**2
    return np.array([mean[place[name]] if name in place else 0.0 for name in EFFECTS], dtype=np.float64)


def _inherited(stage: Stage, points: tuple[Point, ...]) -> Floats:
    """Mean of sd² lambda² R^-1 for the species as seed and as pollen parents."""
    _, factor = _factor(stage, "seed")
    if factor.kinship is None:
        return np.empty((2, 0, 0))
    found = np.zeros((2, factor.size, factor.size))
    for point in points:
        scales = point.mode.scales
        inherit = point.weight * scales.share * _inherit(factor, scales.share)
        for k, name in enumerate(_KIN):
            found[k] += scales.sds[_factor(stage, name)[0]] ** 2 * inherit
    return found


@dataclass(frozen=True, slots=True)
class _Ways:
    """The pairs crossed, both ways round: their parents, and their groups (-1 for a direction not crossed)."""

    ways: Ints
    pair: Ints
    direction: Ints

    @classmethod
    def of(cls, stage: Stage, pairs: Ints) -> _Ways:
        lay = stage.layout
        _, direction, pair = (lay.groups[lay.chain.index(_factor(stage, name)[0])] for name in _NESTED)
        both = np.concatenate([np.column_stack([pairs, pair, direction]), _turned(pairs, pair)])
        order = np.lexsort((-both[:, 3], both[:, 1], both[:, 0]))
        both = both[order]
        first = np.ones(len(both), dtype=np.bool_)
        first[1:] = np.any(both[1:, :2] != both[:-1, :2], axis=1)
        kept = both[first]
        return cls(kept[:, :2], kept[:, 2], kept[:, 3])

    def columns(self, stage: Stage) -> Ints:
        """Columns that the crosses of each pair touch, then its own parents' where those have gone the other way."""
        lay = stage.layout
        touched = lay.columns[self.pair]
        own = self.ways + [lay.blocks[_factor(stage, name)[0]].start for name in _KIN]
        there = (touched[:, :, None] == own[:, None, :]).any(axis=1)
        return np.column_stack([touched, np.where(there, lay.size, own)])


def _turned(pairs: Ints, pair: Ints) -> Ints:
    return np.column_stack([pairs[:, ::-1], pair, np.full(len(pair), -1, dtype=np.intp)])


def _ties(
    stage: Stage,
    points: tuple[Point, ...],
    beliefs: list[tuple[Floats, Floats]],
    mean: Floats,
    covariance: Floats,
    ways: _Ways,
) -> Ties:
    """Match pair and direction of every pair, and how they lean on the columns of that pair."""
    size = stage.layout.size
    columns = ways.columns(stage)
    found = [_tie(stage, point.mode, ways, columns.shape[1]) for point in points]
    weights = np.array([point.weight for point in points])
    pair, direction = (sum(w * f[k] for w, f in zip(weights, found, strict=True)) for k in (0, 1))
    lean, own = np.zeros(columns.shape), np.zeros(len(columns))
    for part in _parts(*columns.shape):
        at = columns[part]
        cross, variance = np.zeros(at.shape), np.zeros(len(at))
        for weight, (shared, alone, ln, left), (centre, spread) in zip(weights, found, beliefs, strict=True):
            off = (shared + alone - pair - direction)[part]
            gone = np.append((centre - mean)[:size], 0.0)[at]
            leaning = np.einsum("nij,nj->ni", _local(spread, at, size), ln[part])
            cross = cross + weight * (off[:, None] * gone - leaning)
            variance = variance + weight * (left[part] + np.einsum("ni,ni->n", ln[part], leaning) + off**2)
        among = _local(covariance, at, size, alone=1.0)
        lean[part] = -np.linalg.solve(among, cross[:, :, None])[:, :, 0]
        own[part] = variance + np.einsum("ni,ni->n", lean[part], cross)
    lean[columns == size] = 0.0
    return Ties(
        ways.ways,
        np.asarray(pair),
        np.asarray(direction),
        np.maximum(own, 0.0),
        np.where(columns == size, -1, columns),
        lean,
    )


def _tie(stage: Stage, mode: Mode, ways: _Ways, width: int) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean of pair and of direction, what they lean on and the variance of both together, at one point."""
    inner, lay = mode.elimination, stage.layout
    fine, coarse = (lay.chain.index(_factor(stage, name)[0]) for name in _NESTED[1:])
    crossed = ways.direction >= 0
    at = np.where(crossed, ways.direction, 0)
    gain = np.where(crossed, inner.gain[fine][at], 0.0)
    keep = np.where(crossed, 1.0 / (1.0 + inner.variances[fine] * inner.load[fine][at]), 1.0)
    above = inner.gain[coarse][ways.pair]
    lean = np.zeros((len(at), width))
    known = slice(inner.part[fine].shape[1])
    lean[:, known] = gain[:, None] * inner.part[fine][at] + (above * keep)[:, None] * inner.part[coarse][ways.pair]
    own = np.where(crossed, gain, inner.variances[fine]) + above * keep**2
    shared = inner.variances[coarse] * mode.pulls[coarse][ways.pair]
    return shared, np.where(crossed, inner.variances[fine] * mode.pulls[fine][at], 0.0), lean, own


def _local(covariance: Floats, at: Ints, size: int, alone: float = 0.0) -> Floats:
    """Cut the columns of each pair out of a covariance; a padded column stands alone."""
    padded = np.zeros((size + 1, size + 1))
    padded[:size, :size] = covariance[:size, :size]
    local = padded[at[:, :, None], at[:, None, :]]
    if alone:
        i = np.arange(at.shape[1])
        local[:, i, i] += np.where(at == size, alone, _JITTER * (1.0 + local[:, i, i]))
    return local


def _parts(count: int, width: int) -> list[slice]:
    step = max(1, _BLOCK // width**2)
    return [slice(begin, begin + step) for begin in range(0, count, step)]
