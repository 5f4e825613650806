"""The variances of one stage, integrated over a fixed set of points.

Each unknown scale is written as a coordinate that is standard normal before any record: a standard deviation is
s F⁻¹(Φ(z)) with F the half-normal distribution, the phylogenetic share lambda is G⁻¹(Φ(z)) with G that of Beta(2, 2).
Where the data say nothing the posterior of z is then exactly standard normal, and where a standard deviation may be 0
it trails off gently to the left.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from crosscompat.model.gaussian import Scales, Stage
from crosscompat.model.inference import Mode, NotSettled, evidence_slope, expected_bend, find_mode, refine
from crosscompat.model.likelihood import Floats

POINTS = 24

_FAR = -5.0
_GAIN = 1e-3
_ARMIJO = 1e-4
_LONGEST = 2.0
_STRAIGHT = 1e-12
_DIFFERENCE = 0.1
_LEAST_BEND = 0.25


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

    Parameters
    ----------
    stage : Stage
    prior : ndarray of float, shape (n_factors,)
        Half-normal scale of the sd of each factor; lambda has the prior Beta(2, 2).
    count : int
        Points; 0 takes the most likely scales alone.
    refined : bool
        Whether moments are matched at each point (`refine`), or modes taken. Where they do not settle, which extreme
        scales can bring about, modes are taken for the whole stage: a little timid, but a grower is not left without an
        answer.

    Returns
    -------
    Mode
        The posterior at the most likely scales.
    tuple of Point
        Weights are proportional to evidence times prior, over the density that the points were spread with.
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
