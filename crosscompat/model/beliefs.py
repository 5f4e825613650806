"""The effects of one stage as one Gaussian, matched in mean and covariance to the mixture over the variances.

It is a twenty-fourth as large to save as the mixture, and says nearly the same. Beside the effects of the species seen
it holds what a relative would inherit from them, lambda R^-1 u with R = lambda A + (1 - lambda) I, so that the forecast
for a species not seen is matched too, through its entries of A alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crosscompat.model.effects import Ints
from crosscompat.model.likelihood import Floats
from crosscompat.model.ties import EFFECTS, KIN, Tied, Ties, Ways, factor_of, parts_of

if TYPE_CHECKING:
    from crosscompat.model.effects import Kinship
    from crosscompat.model.elimination import Stage
    from crosscompat.model.heirs import Heirs
    from crosscompat.model.laplace import Mode
    from crosscompat.model.variances import Point

__all__ = ["EFFECTS", "Effects", "Ties", "matched", "unknown_effects"]


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
    from crosscompat.model.expectation import rejoined  # noqa: PLC0415 - only a fit needs it
    from crosscompat.model.threads import side_by_side  # noqa: PLC0415 - as above

    p, ways = stage.layout.p, Ways.of(stage, pairs)
    size, weights = _size(stage), np.array([point.weight for point in points])
    means, covariance, ties = np.empty((len(points), size)), np.zeros((size, size)), Tied.of(stage, ways)
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
    for part in parts_of(size, size):
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
        factor.size for _, factor in (factor_of(stage, name) for name in KIN) if factor.kinship is not None
    )


def _widened_mean(stage: Stage, mode: Mode) -> Floats:
    """Mean of all columns at one point, then of what relatives inherit."""
    columns = mode.theta.copy()
    columns[: stage.layout.p] += stage.mean
    return np.concatenate([columns, *(inherit @ columns[block] for block, inherit in _heirs(stage, mode))])


def _spread(stage: Stage, mode: Mode) -> Floats:
    """Covariance of all columns at one point."""
    from crosscompat.model.elimination import Units  # noqa: PLC0415 - only a fit needs it

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
    from crosscompat.model.heirs import Heirs  # noqa: PLC0415 - as above

    kin = [factor_of(stage, name) for name in KIN]
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
    for name in KIN:
        i, factor = factor_of(stage, name)
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
    _, factor = factor_of(stage, "seed")
    if factor.kinship is None:
        return np.empty((2, 0, 0))
    along = np.zeros((2, factor.size))
    for point in points:
        scales = point.mode.scales
        inherit = point.weight * scales.share**2 / factor.kinship.spectrum(scales.share)
        for k, name in enumerate(KIN):
            along[k] += scales.sds[factor_of(stage, name)[0]] ** 2 * inherit
    vectors = factor.kinship.vectors
    return np.array([(vectors * one) @ vectors.T for one in along])
