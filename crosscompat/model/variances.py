"""The variances of one stage: integrated over a fixed set of points, or the most likely ones."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crosscompat.model.elimination import Stage
from crosscompat.model.expectation import NotSettled, Sites, among_columns, refine, swept
from crosscompat.model.laplace import SETTLED, Mode, evidence_slope, expected_bend, find_mode
from crosscompat.model.likelihood import Floats
from crosscompat.model.normal_points import normal_points
from crosscompat.model.part import Part, part_of
from crosscompat.model.scale_prior import Coordinates
from crosscompat.model.threads import side_by_side

__all__ = ["Point", "Surface", "climb", "integrate", "normal_points"]

POINTS = 24

_GAIN = 1e-3
_PART_GAIN, _ROUGH_GAIN = 0.1, 1.0
_ABOUT = 1e-2  # of the height of a mode that moments are matched from
_EVEN = 0.25
_WELL_KNOWN = 0.25
_ARMIJO = 1e-4
_LONGEST = 2.0
_STRAIGHT = 1e-12
_DIFFERENCE = 0.1
_LEAST_BEND = 0.25


@dataclass(frozen=True, slots=True)
class Point:
    """The belief at one set of scales.

    Attributes
    ----------
    mode : Mode or Sites
        Of many records the sites alone, from which `rejoined` makes the rest.
    weight : float
        Its weight in every forecast; those of all points add up to 1.
    """

    mode: Mode | Sites
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

    @property
    def spares(self) -> bool:
        """Whether there are so many records that work is spared which changes no belief."""
        return self.refined and self.stage.many

    def mode(self, z: Floats) -> Mode:
        """Return the belief at z."""
        scales, _ = self.where.scales(z)
        if self.refined and self.warm is not None:
            found = refine(self.stage, replace(self.warm, scales=scales))
        else:
            start, settled = self.warm.start if self.warm else None, _ABOUT if self.spares else SETTLED
            found = find_mode(self.stage, scales, start, settled)
            found = refine(self.stage, found) if self.refined else found
        self.warm = found
        return found

    def points(self, mode: Mode, places: list[Floats]) -> list[Mode | Sites]:
        """Return the beliefs at some places about that of a mode."""
        if self.spares:
            among = among_columns(self.stage, mode)
            scales = [self.where.scales(z)[0] for z in places]
            return list(side_by_side(lambda one: swept(self.stage, mode, one, among), scales, many=True))
        found: list[Mode | Sites] = []
        for z in places:
            self.warm = mode
            found.append(self.mode(z))
        return found

    def height(self, mode: Mode | Sites, z: Floats) -> float:
        """Return the log posterior, up to a constant."""
        return mode.evidence - (0.5 * float(z @ z) if self.where.prior is not None else 0.0)

    def slope(self, mode: Mode, z: Floats) -> Floats:
        """Return the slope of the log posterior."""
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
        return np.asarray(np.linalg.inv(bend + np.eye(z.size)), dtype=np.float64)


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
    top = ascend(surface, z, gain, most)
    return top.z, top.mode


@dataclass(frozen=True, slots=True)
class Top:
    """Where a climb has ended, the slope there, and about the inverse of minus the second derivatives."""

    z: Floats
    mode: Mode
    slope: Floats
    inverse: Floats


def ascend(surface: Surface, z: Floats, gain: float, most: int = 200, inverse: Floats | None = None) -> Top:
    """Climb as `climb` does, beginning with a given inverse of minus the second derivatives if there is one."""
    mode = surface.mode(z)
    height, slope = surface.height(mode, z), surface.slope(mode, z)
    inverse = surface.first_guess(mode, z) if inverse is None else inverse
    for _ in range(most):
        move = inverse @ slope
        move = move * min(1.0, _LONGEST / max(float(np.max(np.abs(move), initial=0.0)), _STRAIGHT))
        step = _ascend(surface, z, height, slope, move, gain)
        if step is None:
            break
        move, mode, height = step
        new_slope = surface.slope(mode, z + move)
        inverse = _bfgs(inverse, move, slope - new_slope)
        z, slope = z + move, new_slope
    return Top(z, mode, slope, inverse)


def _ascend(
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


def _curvature(surface: Surface, z: Floats, mode: Mode) -> Floats:
    """Minus the second derivatives of the surface at z, by differences of the slope."""
    rows, slope = [], surface.slope(mode, z)
    for i in range(z.size):
        beside = z.copy()
        beside[i] += _DIFFERENCE
        rows.append((slope - surface.slope(surface.mode(beside), beside)) / _DIFFERENCE)
    bend = np.array(rows).reshape(z.size, z.size)
    return 0.5 * (bend + bend.T)


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
        The belief at the most likely scales.
    tuple of Point
        Weights are proportional to evidence times prior, over the density that the points were spread with.

    Notes
    -----
    Where moments do not settle, which extreme scales can bring about, the modes are taken for the whole stage: a little
    timid, but a grower is not left without an answer.

    With many records (20,000) work is spared that moves no belief by more than the choice of the points does: the
    search begins from a part of the species, every point is one sweep from the most likely scales, and half as many
    points are taken where all scales are well known.
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
    if surface.spares and size and count:
        return _of_many(surface, count)
    z0, mode = climb(surface, np.zeros(size), _GAIN)
    if size == 0 or count == 0:
        return mode, (Point(mode, 1.0),)
    surface.warm = mode
    return mode, _weigh(surface, z0, mode, _spread(_curvature(surface, z0, mode)), normal_points(count, size))


def _of_many(surface: Surface, count: int) -> tuple[Mode, tuple[Point, ...]]:
    """Integrate over the scales of many records.

    A part of the records tells where to begin and how the surface bends, and the points need not lie about the very
    top: their weights say how much they are off. Where the scales are known so well that the surface is as good as
    normal, half as many points will do. If the weights are too uneven, nothing is spared.
    """
    z, part = np.zeros(surface.where.size), part_of(surface.stage)
    if part is not None:
        z, spread = _told_by(part, surface.where)
        top = ascend(surface, z, _ROUGH_GAIN, inverse=spread @ spread.T)
        enough = count // 2 if np.linalg.norm(spread, 2) < _WELL_KNOWN else count
        middle = top.z + spread @ spread.T @ top.slope
        found = _weigh(surface, middle, top.mode, spread, normal_points(enough, z.size))
        if 1.0 / sum(point.weight**2 for point in found) > _EVEN * len(found):
            return top.mode, found
        surface.warm, z = top.mode, top.z
    z, mode = climb(surface, z, _GAIN)
    surface.warm = mode
    return mode, _weigh(surface, z, mode, _spread(_curvature(surface, z, mode)), normal_points(count, z.size))


def _told_by(part: Part, where: Coordinates) -> tuple[Floats, Floats]:
    """Return the top of the surface of a part, and about the spread of that of the whole."""
    few = Surface(part.stage, where)
    top = ascend(few, np.zeros(where.size), _PART_GAIN)
    unit, tells = np.eye(where.size), np.sqrt(part.tells[: where.size])
    learned = _curvature(few, top.z, top.mode) - unit
    return top.z, _spread(learned * np.outer(tells, tells) + unit)


def _spread(bend: Floats) -> Floats:
    """Root of the inverse of a curvature, no wider than may be believed."""
    values, vectors = np.linalg.eigh(bend)
    # The symmetric root: the signs of eigenvectors, and so the points, would be those of the machine.
    spread: Floats = vectors / np.sqrt(np.clip(values, _LEAST_BEND, None)) @ vectors.T
    return spread


def _weigh(surface: Surface, z0: Floats, mode: Mode, spread: Floats, points: Floats) -> tuple[Point, ...]:
    """Beliefs at the spread points, and their importance weights."""
    places = [z0 + spread @ x for x in points]
    found = surface.points(mode, places)
    heights = [surface.height(one, z) + 0.5 * float(x @ x) for one, z, x in zip(found, places, points, strict=True)]
    weight = np.exp(np.array(heights) - max(heights))
    weight /= weight.sum()
    return tuple(Point(m, float(w)) for m, w in zip(found, weight, strict=True))
