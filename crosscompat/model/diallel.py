"""Every species as a seed parent with every other as a pollen parent, a tile of seed by pollen parents at a time.

What a pairing is expected to do falls apart into what its seed parent brings, what its pollen parent brings, what is
set side by side, and one product of the two. The first two are worked out once a species, so that a pairing costs a
few sums; `forecast.logits` gives the same numbers for pairings one by one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.model.beliefs import Effects
from crosscompat.model.effects import Ints
from crosscompat.model.fitted import FittedModel, StageFit
from crosscompat.model.forecast import parent_effects
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Levels, Pairings
from crosscompat.pairing import compared

__all__ = ["Diallel", "Side", "StageSides", "Tile", "diallel", "side_of"]

Singles = NDArray[np.float32]
Codes = tuple[Floats | None, ...]

_AT_ONCE = 2000
_WIDEST = 1200
_FAINT = 1e-5


@dataclass(frozen=True, slots=True)
class Side:
    """What species bring to one stage as seed parents, or as pollen parents.

    Attributes
    ----------
    mean : ndarray of float, shape (n_species,)
        Of their effect on the logit.
    variance : ndarray of float, shape (n_species,)
        Of that effect.
    cross : ndarray of float, shape (n_species, 1 + n_features)
        Twice its covariance with the coefficients.
    lean : ndarray of float, shape (n_species, n_leans)
        The products of those of a seed and of a pollen parent add up to twice the covariance of their effects.
    """

    mean: Singles
    variance: Singles
    cross: Singles
    lean: Singles

    def __getitem__(self, at: slice) -> Side:
        """Return that of some species."""
        return Side(self.mean[at], self.variance[at], self.cross[at], self.lean[at])


@dataclass(frozen=True, slots=True)
class StageSides:
    """One stage, ready for tiles.

    Attributes
    ----------
    coefficients : ndarray of float, shape (1 + n_features,)
    root : ndarray of float, shape (1 + n_features, 1 + n_features)
        Its product with its own transpose is the covariance of the coefficients.
    unknown : ndarray of float, shape (n_features,)
        Variance that a gap adds.
    unsure : float
        Variance that an unsure distance adds, by the square of its standard deviation.
    rest : float
        Variance of what no species brings: plants never seen, the pair, its direction, the fate of the record.
    seed, pollen : Side
    """

    coefficients: Singles
    root: Singles
    unknown: Singles
    unsure: float
    rest: float
    seed: Side
    pollen: Side


@dataclass(frozen=True, slots=True)
class Tile:
    """What is expected of some seed parents with some pollen parents.

    Attributes
    ----------
    mean, sd : ndarray of float, shape (n_stages, n_seed, n_pollen)
        Of the logit of each stage.
    """

    mean: Singles
    sd: Singles


@dataclass(frozen=True, slots=True)
class Diallel:
    """All pairings among some species, ready to be asked about.

    Attributes
    ----------
    model : FittedModel
    codes : tuple of ndarray of float or None
        What each feature reads of each species (`pairing.trait_codes`).
    stages : tuple of StageSides
    """

    model: FittedModel
    codes: Codes
    stages: tuple[StageSides, ...]

    def tile(self, seed: slice, pollen: slice, distance: Floats, spread: Floats | None = None) -> Tile:
        """Return what is expected of pairings.

        Parameters
        ----------
        seed, pollen : slice
            Which of the species.
        distance : ndarray of float, shape (n_seed, n_pollen)
            In the unit of the recipe.
        spread : ndarray of float, shape (n_seed, n_pollen), optional
            How unsure it is: a standard deviation, relative to the reference.

        Notes
        -----
        A pair that was crossed counts as any other here: what its own crosses say beyond its parents is left out, and
        must be asked of `forecast.logits`.
        """
        design, gaps = self._design(seed, pollen, distance)
        shape = distance.shape
        mean, sd = np.empty((2, len(self.stages), *shape), dtype=np.float32)
        for k, stage in enumerate(self.stages):
            ours, theirs = stage.seed[seed], stage.pollen[pollen]
            mean[k] = (design @ stage.coefficients).reshape(shape)
            mean[k] += ours.mean[:, None] + theirs.mean
            variance = np.square(design @ stage.root).sum(axis=1).reshape(shape)
            variance += (ours.variance + np.float32(stage.rest))[:, None] + theirs.variance
            columns = design.reshape(*shape, -1)
            variance += np.einsum("abf,af->ab", columns, ours.cross) + np.einsum("abf,bf->ab", columns, theirs.cross)
            variance += ours.lean @ theirs.lean.T
            if gaps is not None:
                variance += (gaps @ stage.unknown).reshape(shape)
            if spread is not None:
                variance += np.float32(stage.unsure) * np.nan_to_num(spread).astype(np.float32) ** 2
            np.sqrt(np.maximum(variance, 0.0), out=sd[k])
        return Tile(mean, sd)

    def _design(self, seed: slice, pollen: slice, distance: Floats) -> tuple[Singles, Singles | None]:
        """Return the rows of the pairings as the coefficients read them, and where they have gaps."""
        recipe, count = self.model.recipe, len(self.model.recipe.features)
        design = np.ones((*distance.shape, 1 + count), dtype=np.float32)
        gaps = np.zeros((*distance.shape, count), dtype=np.float32)
        for j, (feature, codes) in enumerate(zip(recipe.features, self.codes, strict=True)):
            if codes is None:
                value = distance / recipe.reference
            else:
                value = compared(feature, codes[seed, None], codes[None, pollen])
            blank = np.isnan(value)
            gaps[:, :, j] = blank
            design[:, :, 1 + j] = np.where(blank, self.model.means[j], value) - self.model.centre[j]
        size = distance.size
        return design.reshape(size, -1), gaps.reshape(size, -1) if gaps.any() else None


def diallel(model: FittedModel, codes: Codes, level: Ints, kin: Floats | None = None) -> Diallel:
    """Make all pairings among some species ready.

    Parameters
    ----------
    model : FittedModel
    codes : tuple of ndarray of float or None
        What each feature reads of each species.
    level : ndarray of int, shape (n_species,)
        Number of each species among those that the model has seen, -1 for none.
    kin : ndarray of float, shape (n_species, n_seen), optional
        Entries of A between each species and those seen.

    Examples
    --------
    Without a cross the prior alone speaks: the same of every pairing at the same distance.

    >>> from crosscompat.model.fitted import prior_model
    >>> from crosscompat.pairing import recipe_for
    >>> model = prior_model(recipe_for(None, reference=2.0))
    >>> whole = slice(None)
    >>> tile = diallel(model, (None,), np.array([-1, -1])).tile(whole, whole, np.array([[0.0, 1.0], [1.0, 0.0]]))
    >>> tile.mean[0].round(3).tolist(), tile.sd[0, 0, 1].round(3)  # as `logits` gives it at half the reference
    ([[0.25, -0.5], [-0.5, 0.25]], np.float32(2.955))
    """
    return Diallel(model, codes, tuple(_sides(model, stage, level, kin) for stage in model.stages))


def _sides(model: FittedModel, stage: StageFit, level: Ints, kin: Floats | None) -> StageSides:
    second = stage.mean[1:] ** 2 + np.diag(stage.covariance)[1:]
    of_distance = np.array([feature.column is None for feature in model.recipe.features], dtype=np.float64)
    rest = 0.0 if stage.effects is None else float(stage.effects.variances[2:].sum())
    return StageSides(
        _single(stage.mean),
        _single(_root(stage.covariance)),
        _single(second * model.variances),
        float(second @ of_distance),
        rest,
        side_of(stage, 0, level, kin),
        side_of(stage, 1, level, kin),
    )


def side_of(stage: StageFit, k: int, level: Ints, kin: Floats | None) -> Side:
    """Return what species bring to a stage as seed (0) or as pollen parents (1); parameters as for `diallel`."""
    size, width, effects = len(level), len(stage.mean), stage.effects
    if effects is None:
        none = np.zeros(size, dtype=np.float32)
        return Side(none, none, np.zeros((size, width), np.float32), np.zeros((size, 0), np.float32))
    leans = _leans(effects)[k]
    mean, variance, cross, lean = (
        np.empty((size, *more), np.float32) for more in ((), (), (width,), (leans.shape[1],))
    )
    nobody = np.full(size, -1, dtype=np.intp)
    for begin in range(0, size, _AT_ONCE):
        part = slice(begin, begin + _AT_ONCE)
        known = None if kin is None else kin[part]
        asked = Pairings(Levels(level[part], level[part], nobody[part], nobody[part]), known, known)
        rows = np.zeros((len(level[part]), effects.mean.size))
        extra = parent_effects(effects, asked, k, rows)
        mean[part] = rows @ effects.mean
        variance[part] = extra + np.einsum("ij,ij->i", rows @ effects.covariance, rows)
        cross[part] = 2.0 * rows @ effects.cross
        lean[part] = rows @ leans
    return Side(mean, variance, cross, lean)


def _leans(effects: Effects) -> tuple[Floats, Floats]:
    """Split twice the covariance of seed parents with pollen parents into two factors, shape (r, n_leans) each.

    What is too faint to matter is left out where that is worth the work.
    """
    ours, theirs = (_columns(effects, k) for k in (0, 1))
    joint = 2.0 * effects.covariance[np.ix_(ours, theirs)]
    if min(joint.shape, default=0) > _WIDEST:
        left, right = joint, np.eye(joint.shape[1])
    else:
        turned, size, back = np.linalg.svd(joint, full_matrices=False)
        kept = size > _FAINT * size.max(initial=0.0)
        left, right = turned[:, kept] * size[kept], back[kept].T
    found = tuple(np.zeros((effects.mean.size, left.shape[1])) for _ in range(2))
    found[0][ours], found[1][theirs] = left, right
    return found[0], found[1]


def _columns(effects: Effects, k: int) -> Ints:
    """Return which effects are of species as seed (0) or as pollen parents (1), and of their relatives."""
    numbers = np.concatenate([np.arange(*effects.block(block)) for block in (k, 4 + k)])
    return numbers[numbers < effects.mean.size].astype(np.intp)


def _root(covariance: Floats) -> Floats:
    """Return a matrix whose product with its own transpose is a covariance, which may be singular."""
    size, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(size, 0.0)))


def _single(values: Floats) -> Singles:
    return values.astype(np.float32)
