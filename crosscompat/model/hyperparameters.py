"""The variances of one stage: integrated over a fixed set of points, or the most likely ones."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np

from crosscompat.model.expectation_propagation import NotSettled, refine
from crosscompat.model.hyperpriors import Coordinates
from crosscompat.model.laplace import (
    GaussianPrior,
    Mode,
    Scales,
    Stage,
    evidence_slope,
    expected_bend,
    find_mode,
    stage_of,
)
from crosscompat.model.likelihood import Floats
from crosscompat.model.quadrature import normal_points

__all__ = ["Point", "Surface", "climb", "integrate", "maximum_likelihood", "one_thread"]

POINTS = 24

_GAIN, _LIKELIHOOD_GAIN = 1e-3, 1e-12
_ARMIJO = 1e-4
_LONGEST = 2.0
_STRAIGHT = 1e-12
_DIFFERENCE = 0.1
_LEAST_BEND = 0.25
_START = -0.5  # log sd, and logit lambda


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold BLAS to one thread, as more only wait for each other; a fit is then the same from run to run."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - only a fit needs it

    with threadpool_limits(limits=1, user_api="blas"):
        yield


@dataclass(frozen=True, slots=True)
class Point:
    """The posterior at one set of scales, and its weight in every forecast; weights add up to 1."""

    mode: Mode
    weight: float


class Surface:
    """Log posterior of the coordinates of the scales and its slope; each mode is found from the one before.

    Parameters
    ----------
    stage : Stage
    where : Coordinates
    refined : bool
        Whether moments are matched (`refine`) or the mode is taken as it is.
    """

    def __init__(self, stage: Stage, where: Coordinates, *, refined: bool = True) -> None:
        self.stage, self.where, self.refined = stage, where, refined
        self.warm: Mode | None = None

    def mode(self, z: Floats) -> Mode:
        """Return the posterior of coefficients and effects at z."""
        scales, _ = self.where.scales(z)
        if not self.refined:
            self.warm = find_mode(self.stage, scales, self.warm)
        else:
            self.warm = refine(self.stage, self.warm or find_mode(self.stage, scales), scales)
        return self.warm

    def height(self, mode: Mode, z: Floats) -> float:
        """Return the log posterior, up to a constant."""
        return mode.evidence - (0.5 * float(z @ z) if self.where.prior is not None else 0.0)

    def slope(self, mode: Mode, z: Floats) -> Floats:
        """Return the slope of the log posterior, shape of z."""
        by_log_sd, by_share, _ = evidence_slope(self.stage, mode)
        _, turn = self.where.scales(z)
        raw = np.append(by_log_sd, [by_share] * self.where.related) * turn
        return raw - z if self.where.prior is not None else raw

    def first_guess(self, mode: Mode, z: Floats) -> Floats:
        """Return about the inverse of minus the second derivatives, as a climb begins with it."""
        if self.where.prior is None:
            return np.eye(z.size)
        _, turn = self.where.scales(z)
        bend = expected_bend(self.stage, mode)[: z.size, : z.size] * np.outer(turn, turn)
        return np.asarray(np.linalg.inv(bend + np.eye(z.size)))


def climb(surface: Surface, z: Floats, gain: float, most: int = 200) -> tuple[Floats, Mode]:
    """Climb to the highest point of a surface, by BFGS with backtracking.

    Parameters
    ----------
    surface : Surface
    z : ndarray of float
        Where to begin.
    gain : float
        It stops when a step promises less than this.
    most : int
        Most steps.
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
    """Update the inverse curvature."""
    along = float(move @ bend)
    if along < _STRAIGHT:
        return inverse
    left = np.eye(move.size) - np.outer(move, bend) / along
    updated: Floats = left @ inverse @ left.T + np.outer(move, move) / along
    return updated


def integrate(
    stage: Stage, prior: Floats | None, count: int = POINTS, *, refined: bool = True
) -> tuple[Mode, tuple[Point, ...]]:
    """Find the most likely scales, and points that stand for all of them.

    Parameters
    ----------
    stage : Stage
    prior : ndarray of float, shape (n_factors,), or None
        Half-normal scale of the sd of each factor; lambda has the prior Beta(2, 2). None: no prior.
    count : int
        Points; 0 takes the most likely scales alone.
    refined : bool
        Whether moments are matched at each point (`refine`), or modes taken.

    Returns
    -------
    Mode
        The posterior at the most likely scales.
    tuple of Point
        Weights are proportional to evidence times prior, over the density that the points were spread with.

    Notes
    -----
    Where moments do not settle, which extreme scales can bring about, the modes are taken for the whole stage: a little
    timid, but a grower is not left without an answer.
    """
    related = any(factor.kinship is not None for factor in stage.factors)
    where = Coordinates(prior, len(stage.factors), related)
    if refined:
        try:
            return _integrated(Surface(stage, where), count)
        except NotSettled:
            pass
    return _integrated(Surface(stage, where, refined=False), count)


def _integrated(surface: Surface, count: int) -> tuple[Mode, tuple[Point, ...]]:
    size = surface.where.size
    top, mode = climb(surface, np.zeros(size), _GAIN)
    if size == 0 or count == 0:
        return mode, (Point(mode, 1.0),)
    surface.warm = mode
    values, vectors = np.linalg.eigh(_curvature(surface, top, mode))
    # The symmetric root: the signs of eigenvectors, and so the points, would be those of the machine.
    spread = vectors / np.sqrt(np.clip(values, _LEAST_BEND, None)) @ vectors.T
    modes, heights = [], []
    for x in normal_points(count, size):
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


def maximum_likelihood(stage: Stage) -> tuple[Floats, Mode]:
    """Return the coefficients, and the effects at the most likely scales, as published mixed models are fitted.

    Parameters
    ----------
    stage : Stage
        The prior of its coefficients is not read.

    Returns
    -------
    coefficients : ndarray of float, shape (p,)
    mode : Mode
        Its ``evidence`` is the Laplace log likelihood, without binomial coefficients.

    Raises
    ------
    NotConverged
        If there is no such point.
    """
    related = any(factor.kinship is not None for factor in stage.factors)
    where = Coordinates(None, len(stage.factors), related)
    free = GaussianPrior(np.zeros(stage.x.shape[1]), np.full(stage.x.shape[1], np.inf))
    plain = find_mode(stage_of(stage.counts, stage.x, free), Scales(np.empty(0)))
    start = np.concatenate([np.full(where.size, _START), plain.theta])
    z, mode = climb(_Likelihood(stage, where), start, _LIKELIHOOD_GAIN)
    return z[where.size :], mode


class _Likelihood(Surface):
    """Laplace log likelihood over log sds, logit lambda and the coefficients."""

    def __init__(self, stage: Stage, where: Coordinates) -> None:
        self.x = stage.x
        none = GaussianPrior(np.empty(0), np.empty(0))
        effects = stage_of(stage.counts, stage.x[:, :0], none, stage.factors, stage.offset)
        super().__init__(effects, where, refined=False)

    def mode(self, z: Floats) -> Mode:
        """Return the mode of the effects at these scales and coefficients."""
        split = self.where.size
        self.stage = replace(self.stage, offset=self.x @ z[split:])
        return super().mode(z[:split])

    def slope(self, mode: Mode, z: Floats) -> Floats:
        """Return the slope of the log likelihood."""
        split = self.where.size
        by_log_sd, by_share, by_offset = evidence_slope(self.stage, mode)
        _, turn = self.where.scales(z[:split])
        by_scale = np.append(by_log_sd, [by_share] * self.where.related) * turn
        return np.concatenate([by_scale, self.x.T @ by_offset])
