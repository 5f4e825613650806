"""The posterior of one step: its variances integrated over a set of points, and one Gaussian matched to all of them.

Each unknown scale is written as a coordinate that is standard normal before any record: a standard deviation is s
F⁻¹(Φ(z)) with F the half-normal distribution, the phylogenetic share lambda is G⁻¹(Φ(z)) with G that of Beta(2, 2).

The Gaussian is a twenty-fourth as large to save as the mixture, and says nearly the same. Beside the effects of the
species seen it holds what a relative would inherit from them, lambda R^-1 u with R = lambda A + (1 - lambda) I, so that
the forecast for a species not seen is matched too, through its entries of A alone. A pair crossed has what its crosses
say beyond their parents: given the columns that they touch, its effect is told from the rest by one solve.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from crosscompat.model.design_matrix import Factor
from crosscompat.model.fitted import EFFECTS, PairEffects, Past, StepFit
from crosscompat.model.gaussian import Scales, Stage
from crosscompat.model.inference import Mode, NotSettled, evidence_slope, expected_bend, find_mode, refine
from crosscompat.model.likelihood import Floats, Ints
from crosscompat.model.pairings import Levels

POINTS = 24

_FAR = -5.0
_GAIN = 1e-3
_ARMIJO = 1e-4
_LONGEST = 2.0
_STRAIGHT = 1e-12
_DIFFERENCE = 0.1
_LEAST_BEND = 0.25

_KIN = EFFECTS[:2]
_JITTER = 1e-12
_BLOCK = 2_000_000


def half_normal(z: Floats) -> tuple[Floats, Floats]:
    """Return the quantiles of |N(0, 1)| at Φ(z), and their slopes in z, each of the shape of z."""
    from scipy.special import ndtr, ndtri  # noqa: PLC0415 - only a fit needs it

    y = np.where(z < _FAR, np.sqrt(np.pi / 2.0) * ndtr(z), -ndtri(0.5 * ndtr(-z)))
    return y, 0.5 * np.exp(0.5 * (y * y - z * z))


def beta22(z: float) -> tuple[float, float]:
    """Return the quantile of Beta(2, 2) at Φ(z), and its slope in z."""
    from scipy.special import ndtr  # noqa: PLC0415 - as above

    x = 0.5 - np.sin(np.arcsin(1.0 - 2.0 * ndtr(z)) / 3.0)
    density = 6.0 * x * (1.0 - x)
    slope = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi) / density if density > 0 else 0.0
    return float(x), float(slope)


@cache
def normal_points(count: int, size: int) -> Floats:
    """Return about ``count`` fixed points, shape (n_points, size), of mean 0 and covariance I exactly, mirrored.

    The additive recurrence of the generalised golden ratio (Roberts M, 2018, The unreasonable effectiveness of
    quasirandom sequences), through the normal quantile, then whitened.

    Examples
    --------
    >>> points = normal_points(24, 3)
    >>> bool(np.allclose(points.mean(axis=0), 0)), bool(np.allclose(points.T @ points / len(points), np.eye(3)))
    (True, True)
    """
    from scipy.special import ndtri  # noqa: PLC0415 - as above

    half = max((count + 1) // 2, size)
    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (size + 1))
    points = ndtri((0.5 + np.arange(1, half + 1)[:, None] * ratio ** -np.arange(1.0, size + 1)) % 1.0)
    both = np.concatenate([points, -points])
    root = np.linalg.cholesky(both.T @ both / len(both))
    return np.asarray(np.linalg.solve(root, both.T).T, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Point:
    """The posterior at one set of scales, and its weight in every forecast; weights add up to 1."""

    mode: Mode
    weight: float


class Surface:
    """Log posterior of the coordinates z of the scales and its slope; each posterior is found from the one before.

    The coordinates are those of the sd of each factor, whose half-normal scales are ``prior``, shape (n_factors,), then
    that of lambda if any factor has a kinship. ``refined``: whether moments are matched or the mode is taken as it is.
    """

    def __init__(self, stage: Stage, prior: Floats, *, refined: bool = True) -> None:
        self.stage, self.prior, self.refined = stage, prior, refined
        self.related = any(factor.kinship is not None for factor in stage.factors)
        self.size = len(stage.factors) + int(self.related)
        self.warm: Mode | None = None

    def scales(self, z: Floats) -> tuple[Scales, Floats]:
        """Return the scales at z, and the factors that turn slopes by log sd and by lambda into slopes by z."""
        y, slope = half_normal(z[: len(self.prior)])
        share, bend = beta22(float(z[-1])) if self.related else (0.5, 0.0)
        return Scales(self.prior * y, share), np.append(slope / y, [bend] * self.related)

    def mode(self, z: Floats) -> Mode:
        """Return the posterior of coefficients and effects at z."""
        scales, _ = self.scales(z)
        if self.refined:
            self.warm = refine(self.stage, self.warm or find_mode(self.stage, scales), scales)
        else:
            self.warm = find_mode(self.stage, scales, self.warm)
        return self.warm

    def height(self, mode: Mode, z: Floats) -> float:
        """Return the log posterior, up to a constant."""
        return mode.evidence - 0.5 * float(z @ z)

    def slope(self, mode: Mode, z: Floats) -> Floats:
        """Return the slope of the log posterior, shape of z."""
        by_log_sd, by_share, _ = evidence_slope(self.stage, mode)
        return np.append(by_log_sd, [by_share] * self.related) * self.scales(z)[1] - z

    def first_guess(self, mode: Mode, z: Floats) -> Floats:
        """Return about the inverse of minus the second derivatives, as a climb begins with it."""
        turn = self.scales(z)[1]
        bend = expected_bend(self.stage, mode)[: z.size, : z.size] * np.outer(turn, turn)
        return np.asarray(np.linalg.inv(bend + np.eye(z.size)))


def climb(surface: Surface, z: Floats, gain: float = _GAIN, most: int = 200) -> tuple[Floats, Mode]:
    """Climb from z to the highest point of a surface, by BFGS with backtracking.

    It stops when a step promises less than ``gain``, and after ``most`` steps.
    """
    mode = surface.mode(z)
    height, slope = surface.height(mode, z), surface.slope(mode, z)
    inverse = surface.first_guess(mode, z)
    for _ in range(most):
        move = inverse @ slope
        move = move * min(1.0, _LONGEST / max(float(np.max(np.abs(move), initial=0.0)), _STRAIGHT))
        step = _climbed(surface, z, height, slope, move, gain)
        if step is None:
            break
        move, mode, height = step
        new_slope = surface.slope(mode, z + move)
        inverse = _bfgs(inverse, move, slope - new_slope)
        z, slope = z + move, new_slope
    return z, mode


def _climbed(
    surface: Surface, z: Floats, height: float, slope: Floats, move: Floats, gain: float
) -> tuple[Floats, Mode, float] | None:
    """Halve a move until it climbs; None if it promises too little."""
    while float(slope @ move) > gain:
        mode = surface.mode(z + move)
        reached = surface.height(mode, z + move)
        if reached >= height + _ARMIJO * float(slope @ move):
            return move, mode, reached
        move = move / 2.0
    return None


def _bfgs(inverse: Floats, move: Floats, bend: Floats) -> Floats:
    along = float(move @ bend)
    if along < _STRAIGHT:
        return inverse
    left = np.eye(move.size) - np.outer(move, bend) / along
    return np.asarray(left @ inverse @ left.T + np.outer(move, move) / along)


def integrate(
    stage: Stage, prior: Floats, count: int = POINTS, *, refined: bool = True
) -> tuple[Mode, tuple[Point, ...]]:
    """Find the most likely scales, and points that stand for all of them.

    ``prior``, shape (n_factors,), is the half-normal scale of the sd of each factor; lambda has the prior Beta(2, 2).
    With a ``count`` of 0 the most likely scales stand alone. ``refined``: whether moments are matched at each point
    (`refine`), or modes taken; where moments do not settle, which extreme scales can bring about, modes are taken for
    the whole stage: a little timid, but a grower is not left without an answer.

    Returns the posterior at the most likely scales, and points weighted by evidence times prior, over the density that
    they were spread with.
    """
    if refined:
        try:
            return _integrated(Surface(stage, prior), count)
        except NotSettled:
            pass
    return _integrated(Surface(stage, prior, refined=False), count)


def _integrated(surface: Surface, count: int) -> tuple[Mode, tuple[Point, ...]]:
    top, mode = climb(surface, np.zeros(surface.size))
    if surface.size == 0 or count == 0:
        return mode, (Point(mode, 1.0),)
    surface.warm = mode
    values, vectors = np.linalg.eigh(_curvature(surface, top, mode))
    # The symmetric root: the signs of eigenvectors, and so the points, would be those of the machine.
    spread = vectors / np.sqrt(np.clip(values, _LEAST_BEND, None)) @ vectors.T
    modes, heights = [], []
    for x in normal_points(count, surface.size):
        surface.warm, z = mode, top + spread @ x
        modes.append(surface.mode(z))
        heights.append(surface.height(modes[-1], z) + 0.5 * float(x @ x))
    weight = np.exp(np.array(heights) - max(heights))
    weight /= weight.sum()
    return mode, tuple(Point(m, float(w)) for m, w in zip(modes, weight, strict=True))


def _curvature(surface: Surface, z: Floats, mode: Mode) -> Floats:
    """Minus the second derivatives of the surface at z, by differences of the slope."""
    slope, beside = surface.slope(mode, z), z + _DIFFERENCE * np.eye(z.size)
    rows = [slope - surface.slope(surface.mode(place), place) for place in beside]
    bend = np.array(rows).reshape(z.size, z.size) / _DIFFERENCE
    return 0.5 * (bend + bend.T)


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
