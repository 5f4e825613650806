"""The effects of one stage as one Gaussian, matched in mean and covariance to the mixture over the variances.

It is a twenty-fourth as large to save as the mixture, and says nearly the same. Beside the effects of the species seen
it holds what a relative would inherit from them, lambda R^-1 u with R = lambda A + (1 - lambda) I, so that the forecast
for a species not seen is matched too, through its entries of A alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from crosscompat.model.effects import Factor, Ints, Kinship
from crosscompat.model.elimination import Stage, Units
from crosscompat.model.expectation import rejoined
from crosscompat.model.heirs import Heirs
from crosscompat.model.laplace import Mode
from crosscompat.model.likelihood import Floats
from crosscompat.model.threads import do_all, side_by_side
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
    p, ways = stage.layout.p, _Ways.of(stage, pairs)
    size, weights = _size(stage), np.array([point.weight for point in points])
    means, covariance, ties = np.empty((len(points), size)), np.zeros((size, size)), _Tied.of(stage, ways)
    heirs = _heirs_of_all(stage, points) if stage.many else None

    def joined(point: Point) -> tuple[Mode, Floats]:
        mode = rejoined(stage, point.mode)
        return mode, _spread(stage, mode)

    beliefs = side_by_side(joined, points, many=stage.many)
    for i, (point, its, (mode, spread)) in enumerate(zip(points, means, beliefs, strict=True)):
        its[:] = _widened_mean(stage, mode)
        ties.add(mode, point.weight, spread, its)
        if heirs is None:
            _add_widened(covariance, stage, mode, np.multiply(spread, point.weight, out=spread))
        else:
            heirs.add(i, spread)
            covariance[: len(spread), : len(spread)] += np.multiply(spread, point.weight, out=spread)
    if heirs is not None:
        _widen(covariance, *heirs.matched())
    mean = weights @ means
    away = means - mean
    for part in _parts(size, size):
        covariance[part] += (weights * away[:, part].T) @ away
    effects = Effects(
        _mean_variances(stage, points),
        mean[p:],
        covariance[p:, p:],
        covariance[p:, :p],
        _inherited(stage, points),
        ties.matched(covariance, mean),
        _sizes(stage),
    )
    return mean[:p], covariance[:p, :p], effects


def _sizes(stage: Stage) -> tuple[int, int, int]:
    size = {factor.name: factor.size for factor in stage.factors}
    return size["seed"], size.get("seed_plant", 0), size.get("pollen_plant", 0)


def _size(stage: Stage) -> int:
    """Count the columns, and what relatives inherit."""
    return stage.layout.size + sum(
        factor.size for _, factor in (_factor(stage, name) for name in _KIN) if factor.kinship is not None
    )


def _factor(stage: Stage, name: str) -> tuple[int, Factor]:
    return next((i, factor) for i, factor in enumerate(stage.factors) if factor.name == name)


def _widened_mean(stage: Stage, mode: Mode) -> Floats:
    """Mean of all columns at one point, then of what relatives inherit."""
    columns = mode.theta.copy()
    columns[: stage.layout.p] += stage.mean
    return np.concatenate([columns, *(inherit @ columns[block] for block, inherit in _heirs(stage, mode))])


def _spread(stage: Stage, mode: Mode) -> Floats:
    """Covariance of all columns at one point."""
    scale, spread = Units(stage, mode.scales).scale, mode.covariance
    spread *= scale
    spread *= scale[:, None]
    return spread


def _add_widened(total: Floats, stage: Stage, mode: Mode, spread: Floats) -> None:
    """Add the covariance of all columns at one point, and of what relatives inherit."""
    heirs, q = _heirs(stage, mode), len(spread)
    total[:q, :q] += spread
    if heirs:
        across = np.concatenate([inherit @ spread[block] for block, inherit in heirs])
        total[q:, :q] += across
        total[:q, q:] += across.T
        total[q:, q:] += np.concatenate([across[:, block] @ inherit.T for block, inherit in heirs], axis=1)


def _heirs_of_all(stage: Stage, points: tuple[Point, ...]) -> Heirs | None:
    """Begin to sum up what relatives inherit; None if it is not known who is related."""
    kin = [_factor(stage, name) for name in _KIN]
    kinship = kin[0][1].kinship
    if kinship is None:
        return None
    columns = np.concatenate([np.arange(factor.size) + stage.layout.blocks[i].start for i, factor in kin])
    weights, shares = (np.array(one) for one in zip(*((p.weight, p.mode.scales.share) for p in points), strict=True))
    return Heirs(kinship, weights, shares, columns, stage.layout.size)


def _widen(total: Floats, across: Floats, among: Floats) -> None:
    """Write what relatives inherit beside the columns."""
    q = across.shape[1]
    total[q:, :q], total[:q, q:], total[q:, q:] = across, across.T, among


def _heirs(stage: Stage, mode: Mode) -> list[tuple[slice, Floats]]:
    """Columns of the species as seed and as pollen parents, and what relatives inherit of them, lambda R^-1."""
    found, inherit = [], {}
    for name in _KIN:
        i, factor = _factor(stage, name)
        if factor.kinship is not None:
            if id(factor.kinship) not in inherit:
                inherit[id(factor.kinship)] = _inherit(factor.kinship, mode.scales.share)
            found.append((stage.layout.blocks[i], inherit[id(factor.kinship)]))
    return found


def _inherit(kinship: Kinship, share: float) -> Floats:
    inherit: Floats = share * kinship.inverse(share)
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
    along = np.zeros((2, factor.size))
    for point in points:
        scales = point.mode.scales
        inherit = point.weight * scales.share**2 / factor.kinship.spectrum(scales.share)
        for k, name in enumerate(_KIN):
            along[k] += scales.sds[_factor(stage, name)[0]] ** 2 * inherit
    vectors = factor.kinship.vectors
    return np.array([(vectors * one) @ vectors.T for one in along])


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
        both = np.column_stack([touched, np.where(there, lay.size, own)])
        order = np.argsort(both == lay.size, axis=1, kind="stable")  # those touched lose nothing but padding
        width = max(touched.shape[1], int((both < lay.size).sum(axis=1).max(initial=0)))
        return np.take_along_axis(both, order, axis=1)[:, :width]


def _turned(pairs: Ints, pair: Ints) -> Ints:
    return np.column_stack([pairs[:, ::-1], pair, np.full(len(pair), -1, dtype=np.intp)])


@dataclass(frozen=True, slots=True)
class _Tied:
    """Pair and direction of every pair, and how they lean on the columns of that pair, matched point by point.

    Attributes
    ----------
    stage : Stage
    ways : _Ways
    columns : ndarray of int, shape (n_ways, w)
        Columns of each pair, padded with q.
    pair, direction : ndarray of float, shape (n_ways,)
        Means over the points added so far.
    cross : ndarray of float, shape (n_ways, w)
        Sum, over those points, of the product of the two together with the columns.
    variance : ndarray of float, shape (n_ways,)
        That of their square.
    """

    stage: Stage
    ways: _Ways
    columns: Ints
    pair: Floats
    direction: Floats
    cross: Floats
    variance: Floats

    @classmethod
    def of(cls, stage: Stage, ways: _Ways) -> _Tied:
        """Begin without a point."""
        columns = ways.columns(stage)
        pair, direction, variance = np.zeros((3, len(columns)))
        return cls(stage, ways, columns, pair, direction, np.zeros(columns.shape), variance)

    def add(self, mode: Mode, weight: float, spread: Floats, mean: Floats) -> None:
        """Add one point, with the covariance and the means of its columns."""
        means = np.append(mean[: self.stage.layout.size], 0.0)
        shared, alone = _tie_means(self.stage, mode, self.ways)
        self.pair[:] += weight * shared
        self.direction[:] += weight * alone
        both = shared + alone
        lean, left = _tie(self.stage, mode, self.ways, self.columns.shape[1])
        padded = _padded(spread)

        def sum_up(part: slice) -> None:
            at, ln = self.columns[part], lean[part]
            leaning = np.einsum("nij,nj->ni", padded[at[:, :, None], at[:, None, :]], ln)
            self.cross[part] += weight * (both[part, None] * means[at] - leaning)
            self.variance[part] += weight * (left[part] + np.einsum("ni,ni->n", ln, leaning) + both[part] ** 2)

        self._for_parts(sum_up)

    def matched(self, covariance: Floats, mean: Floats) -> Ties:
        """Return what is believed when all points are in, given covariance and means of the columns over all."""
        size, lean, own = self.stage.layout.size, np.zeros(self.columns.shape), np.zeros(len(self.columns))
        both, means = self.pair + self.direction, np.append(mean[:size], 0.0)
        padded = _padded(covariance[:size, :size])

        def solve(part: slice) -> None:
            among = _among(padded, self.columns[part])
            cross = self.cross[part] - both[part, None] * means[self.columns[part]]
            lean[part] = -np.linalg.solve(among, cross[:, :, None])[:, :, 0]
            own[part] = self.variance[part] - both[part] ** 2 + np.einsum("ni,ni->n", lean[part], cross)

        self._for_parts(solve)
        there = self.columns < size
        columns = np.where(there, self.columns, -1)
        return Ties(
            self.ways.ways, self.pair, self.direction, np.maximum(own, 0.0), columns, np.where(there, lean, 0.0)
        )

    def _for_parts(self, do: Callable[[slice], None]) -> None:
        """Do something with parts of the pairs, each of which is written to by itself."""
        parts = _parts(self.columns.shape[0], self.columns.shape[1] ** 2)
        do_all(do, parts, many=self.stage.many)


def _tie_means(stage: Stage, mode: Mode, ways: _Ways) -> tuple[Floats, Floats]:
    """Mean of pair and of direction at one point."""
    fine, coarse = (stage.layout.chain.index(_factor(stage, name)[0]) for name in _NESTED[1:])
    variances, at = mode.elimination.variances, np.maximum(ways.direction, 0)
    alone = np.where(ways.direction >= 0, variances[fine] * mode.pulls[fine][at], 0.0)
    return variances[coarse] * mode.pulls[coarse][ways.pair], alone


def _tie(stage: Stage, mode: Mode, ways: _Ways, width: int) -> tuple[Floats, Floats]:
    """Return what pair and direction together lean on at one point, and their variance beyond it."""
    inner, lay = mode.elimination, stage.layout
    fine, coarse = (lay.chain.index(_factor(stage, name)[0]) for name in _NESTED[1:])
    crossed, at = ways.direction >= 0, np.maximum(ways.direction, 0)
    gain = np.where(crossed, inner.gain[fine][at], 0.0)
    keep = np.where(crossed, 1.0 / (1.0 + inner.variances[fine] * inner.load[fine][at]), 1.0)
    above = inner.gain[coarse][ways.pair]
    lean = np.zeros((len(at), width))
    known = lean[:, : lay.columns.shape[1]]
    known += gain[:, None] * inner.rows(lay, fine)[at]
    known += (above * keep)[:, None] * inner.rows(lay, coarse)[ways.pair]
    return lean, np.where(crossed, gain, inner.variances[fine]) + above * keep**2


def _padded(covariance: Floats) -> Floats:
    """Add a column and a row of 0."""
    size = len(covariance)
    padded = np.zeros((size + 1, size + 1))
    padded[:size, :size] = covariance
    return padded


def _among(padded: Floats, at: Ints) -> Floats:
    """Cut the columns of each pair out of a covariance; a padded column stands alone."""
    local, i = padded[at[:, :, None], at[:, None, :]], np.arange(at.shape[1])
    local[:, i, i] += np.where(at == len(padded) - 1, 1.0, _JITTER * (1.0 + local[:, i, i]))
    return local


def _parts(count: int, numbers: int) -> list[slice]:
    """Cut rows of so many numbers into parts that are not too large."""
    step = max(1, _BLOCK // max(numbers, 1))
    return [slice(begin, begin + step) for begin in range(0, count, step)]
