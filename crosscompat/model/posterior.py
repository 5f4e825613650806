"""The effects of one stage as one Gaussian, matched in mean and covariance to the mixture over the variances.

It is a twenty-fourth as large to save as the mixture, and says nearly the same. Beside the effects of the species seen
it holds what a relative would inherit from them, lambda R^-1 u with R = lambda A + (1 - lambda) I, so that the forecast
for a species not seen is matched too, through its entries of A alone. A pair crossed has what its crosses say beyond
their parents: given the columns that they touch, its effect is told from the rest by one solve.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crosscompat.model.likelihood import Floats, Ints

if TYPE_CHECKING:
    from crosscompat.model.design_matrix import Factor
    from crosscompat.model.gaussian import Stage
    from crosscompat.model.hyperparameters import Point
    from crosscompat.model.inference import Mode
    from crosscompat.model.pairings import Levels

EFFECTS = ("seed", "pollen", "seed_plant", "pollen_plant", "pair", "direction", "record")

_KIN = EFFECTS[:2]
_JITTER = 1e-12
_BLOCK = 2_000_000


@dataclass(frozen=True, slots=True)
class PairEffects:
    """What is known of the pairs crossed, beside their parents: a row a pair and direction, both ways round, in order.

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
        How much higher they are expected to be where such a column is lower by 1.
    """

    ways: Ints
    pair: Floats
    direction: Floats
    own: Floats
    columns: Ints
    lean: Floats

    def find(self, seed: Ints, pollen: Ints) -> Ints:
        """Return the row of each directed pair, -1 where it was crossed neither way round, shape (n_pairs,)."""
        if not len(self.ways):
            return np.full(len(seed), -1, dtype=np.intp)
        step = int(self.ways.max()) + 1
        keys = self.ways @ [step, 1]
        wanted = np.where((seed >= 0) & (pollen >= 0) & (pollen < step), seed * step + pollen, -1)
        place = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
        return np.where(keys[place] == wanted, place, -1)


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
    variances, share : ndarray of float, shape (6,), and float
        Of all effects but the record's, and lambda, at the most likely scales.
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


@dataclass(frozen=True, slots=True)
class StepFit:
    """The Gaussian posterior of one step.

    Attributes
    ----------
    step : str
        One of ``STEPS``.
    mean : ndarray of float, shape (q,)
        Coefficients, the intercept first (of a step finer than the whole, what they differ by from its share); species
        as seed parents, as pollen parents, plants as mothers, as fathers; then what relatives inherit of the species as
        seed and as pollen parents, if it is known who is related.
    covariance : ndarray of float, shape (q, q)
    variances : ndarray of float, shape (7,)
        Mean prior variance of each of ``EFFECTS``, 0 for one that is not in the model.
    inherited : ndarray of float, shape (2, s, s) or (2, 0, 0)
        A relative with the entries a of A has a' inherited a less variance than one without relatives.
    pairs : PairEffects
    sizes : tuple of four int
        Number of coefficients, of species, of mothers and of fathers.
    past : Past or None
        The crosses fitted, for their weight in a forecast; None before any.
    """

    step: str
    mean: Floats
    covariance: Floats
    variances: Floats
    inherited: Floats
    pairs: PairEffects
    sizes: tuple[int, int, int, int]
    past: Past | None = None

    @property
    def coefficients(self) -> Floats:
        """Means of the coefficients alone, shape (p,)."""
        return self.mean[: self.sizes[0]]

    def block(self, kind: int) -> tuple[int, int]:
        """Return where in ``mean`` one kind of effect begins and ends; 4 and 5 are what relatives inherit."""
        _, species, mothers, fathers = self.sizes
        edges = np.cumsum([self.sizes[0], species, species, mothers, fathers, species, species])
        return int(edges[kind]), int(edges[kind + 1])


def unlearned(step: str, mean: Floats, covariance: Floats, variances: Floats) -> StepFit:
    """Return a step with nothing known of the effects but their prior variances."""
    none, nobody = np.empty(0), np.empty((0, 1), dtype=np.intp)
    pairs = PairEffects(np.empty((0, 2), dtype=np.intp), none, none, none, nobody, np.empty((0, 1)))
    return StepFit(step, mean, covariance, variances, np.empty((2, 0, 0)), pairs, (len(mean), 0, 0, 0))


def matched(step: str, stage: Stage, points: tuple[Point, ...], pairs: Ints, past: Past) -> StepFit:
    """Match one Gaussian to the mixture of the points.

    The factors of ``stage`` are those of ``EFFECTS`` that are in the model, by name; record, direction and pair are
    nested. ``pairs`` holds the seed and pollen parent of each record, shape (n_records, 2).
    """
    p, weights = stage.design.p, np.array([point.weight for point in points])
    ways = _Ways(stage, pairs)
    means: list[Floats] = []
    covariance: Floats = np.zeros(())
    for point in points:
        mode, spread = point.mode, point.mode.gaussian.covariance
        columns = mode.theta.copy()
        columns[:p] += stage.mean
        ways.add(mode, point.weight, spread, columns)
        kin = _kin(stage, mode)
        means.append(np.concatenate([columns, *(inherit @ columns[block] for block, inherit in kin)]))
        covariance = covariance + point.weight * _widened(spread, kin)
    mean = weights @ np.array(means)
    away = np.array(means) - mean
    covariance += (weights * away.T) @ away
    size = {factor.name: factor.size for factor in stage.factors}
    sizes = (p, size["seed"], size.get("seed_plant", 0), size.get("pollen_plant", 0))
    variances = _by_effect(stage, weights @ np.array([point.mode.scales.sds**2 for point in points]))
    return StepFit(
        step, mean, covariance, variances, _inherited(stage, points), ways.matched(covariance, mean), sizes, past
    )


def _factor(stage: Stage, name: str) -> tuple[int, Factor]:
    return next((i, factor) for i, factor in enumerate(stage.factors) if factor.name == name)


def _kin(stage: Stage, mode: Mode) -> list[tuple[slice, Floats]]:
    """Columns of the species as seed and as pollen parents, and what relatives inherit of them, lambda R^-1."""
    share, result = mode.scales.share, []
    for i, factor in (_factor(stage, name) for name in _KIN):
        if factor.kinship is not None:
            result.append((stage.design.blocks[i], np.asarray(share * factor.kinship.inverse(share))))
    return result


def _widened(spread: Floats, kin: list[tuple[slice, Floats]]) -> Floats:
    """Covariance of all columns at one point, and of what relatives inherit."""
    if not kin:
        return spread
    across = np.concatenate([inherit @ spread[block] for block, inherit in kin])
    among = np.concatenate([across[:, block] @ inherit.T for block, inherit in kin], axis=1)
    return np.block([[spread, across.T], [across, among]])


def _by_effect(stage: Stage, values: Floats) -> Floats:
    """Put one number a factor in the order of ``EFFECTS``, 0 for those that are not in the model."""
    value = dict(zip((factor.name for factor in stage.factors), values, strict=True))
    return np.array([value.get(name, 0.0) for name in EFFECTS], dtype=np.float64)


def _inherited(stage: Stage, points: tuple[Point, ...]) -> Floats:
    """Mean of sd² lambda² R^-1 for the species as seed and as pollen parents."""
    kinship = _factor(stage, "seed")[1].kinship
    if kinship is None:
        return np.empty((2, 0, 0))
    at, along = [_factor(stage, name)[0] for name in _KIN], np.zeros((2, len(kinship.values)))
    for weight, scales in ((point.weight, point.mode.scales) for point in points):
        along += scales.sds[at, None] ** 2 * weight * scales.share**2 / kinship.spectrum(scales.share)
    return np.array([(kinship.vectors * each) @ kinship.vectors.T for each in along])


def past_of(stage: Stage, most_likely: Mode, levels: Levels, record: Ints) -> Past:
    """Return what forecasts need of past crosses, by their levels and numbers, at the mode of the likeliest scales."""
    from crosscompat.model.inference import find_mode  # noqa: PLC0415 - an answer fits nothing

    scales = most_likely.scales
    mode = find_mode(stage, scales, most_likely)
    variances = _by_effect(stage, scales.sds**2)[:6]
    return Past(stage.x, levels, mode.gradient, stage.mean, stage.sd, variances, scales.share, record)


class _Ways:
    """The pairs crossed, both ways round, and how their effects lean on the columns that each touches.

    Given those columns a pair effect depends on no other, at every point. Its covariance with them is summed up over
    the points, and one solve tells in the end how it leans on them.
    """

    def __init__(self, stage: Stage, pairs: Ints) -> None:
        design = stage.design
        self.design = design
        self.level = [design.chain.index(_factor(stage, name)[0]) for name in ("pair", "direction")]
        pair, direction = (design.nested[level].groups for level in self.level)
        nobody = np.full(len(pair), -1, dtype=np.intp)
        both = np.column_stack(
            [np.concatenate([pairs, pairs[:, ::-1]]), np.tile(pair, 2), np.append(direction, nobody)]
        )
        both = both[np.lexsort((-both[:, 3], both[:, 1], both[:, 0]))]
        _, first = np.unique(both[:, :2], axis=0, return_index=True)
        self.ways, self.pair, self.direction = both[first, :2], both[first, 2], both[first, 3]
        # Columns that the crosses of each pair touch, then its own parents' where those have gone the other way.
        touched = design.touched[self.pair]
        own = self.ways + [design.blocks[_factor(stage, name)[0]].start for name in _KIN]
        there = (touched[:, :, None] == own[:, None, :]).any(axis=1)
        self.columns = np.column_stack([touched, np.where(there, -1, own)])
        self.mean, self.variance = np.zeros((2, len(first))), np.zeros(len(first))
        self.cross = np.zeros(self.columns.shape)

    def add(self, mode: Mode, weight: float, spread: Floats, columns: Floats) -> None:
        """Add one point, with the covariance and the means of its columns."""
        inner, crossed, at = mode.gaussian.elimination, self.direction >= 0, np.maximum(self.direction, 0)
        coarse, fine = self.level
        shared, alone = (
            inner.variances[level] * self.design.nested[level].sums(mode.gradient)[place]
            for level, place in ((coarse, self.pair), (fine, at))
        )
        alone = np.where(crossed, alone, 0.0)
        gain = np.where(crossed, inner.gain[fine][at], inner.variances[fine])
        keep = np.where(crossed, 1.0 / (1.0 + inner.variances[fine] * inner.load[fine][at]), 1.0)
        lean = np.zeros(self.columns.shape)
        known = lean[:, : self.design.touched.shape[1]]
        known += inner.variances[coarse] * self._rows(mode, coarse, self.pair)
        known += (crossed * inner.variances[fine])[:, None] * self._rows(mode, fine, at)
        self.mean += weight * np.array([shared, alone])
        self.variance += weight * (gain + inner.gain[coarse][self.pair] * keep**2 + (shared + alone) ** 2)
        for part in _parts(self.columns):
            leaning = np.einsum("nij,nj->ni", _among(spread, self.columns[part]), lean[part])
            both = (shared + alone)[part, None] * columns[self.columns[part]]
            self.cross[part] += weight * (both - leaning)
            self.variance[part] += weight * np.einsum("ni,ni->n", lean[part], leaning)

    def _rows(self, mode: Mode, level: int, place: Ints) -> Floats:
        """Return how the working logits of each group answer to the columns that its pair touches."""
        rows = mode.gaussian.elimination.group_rows(level)[place]
        if self.design.products:
            return rows
        touched = self.design.touched[self.pair]
        return np.where(touched >= 0, np.take_along_axis(rows, np.maximum(touched, 0), axis=1), 0.0)

    def matched(self, covariance: Floats, mean: Floats) -> PairEffects:
        """Return what is known when all points are in, given covariance and means of the columns over all."""
        both, there = self.mean.sum(axis=0), self.columns >= 0
        cross = np.where(there, self.cross - both[:, None] * mean[self.columns], 0.0)
        lean = np.zeros(cross.shape)
        for part in _parts(self.columns):
            among, i = _among(covariance, self.columns[part]), np.arange(cross.shape[1])
            among[:, i, i] += np.where(there[part], _JITTER * (1.0 + among[:, i, i]), 1.0)
            lean[part] = -np.linalg.solve(among, cross[part, :, None])[:, :, 0]
        own = self.variance - both**2 + np.einsum("ni,ni->n", lean, cross)
        return PairEffects(self.ways, self.mean[0], self.mean[1], np.maximum(own, 0.0), self.columns, lean)


def _among(covariance: Floats, columns: Ints) -> Floats:
    """Cut the columns of each pair out of a covariance, shape (n, w, w); 0 where there is none."""
    there = columns >= 0
    result = covariance[columns[:, :, None], columns[:, None, :]]
    return np.where(there[:, :, None] & there[:, None, :], result, 0.0)


def _parts(columns: Ints) -> list[slice]:
    """Cut rows into parts whose squares are not too large."""
    step = max(1, _BLOCK // columns.shape[1] ** 2)
    return [slice(begin, begin + step) for begin in range(0, len(columns), step)]
