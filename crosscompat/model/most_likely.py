"""Maximum likelihood of the variances and the coefficients, as published mixed models are fitted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from crosscompat.model.elimination import Scales, Stage
from crosscompat.model.expectation import Sites
from crosscompat.model.laplace import GaussianPrior, Mode, evidence_slope, find_mode, stage_of
from crosscompat.model.likelihood import Floats
from crosscompat.model.scale_prior import Coordinates
from crosscompat.model.variances import Surface, climb

__all__ = ["most_likely"]

_START = -0.5  # log sd, and logit lambda
_GAIN = 1e-12


def most_likely(stage: Stage) -> tuple[Floats, Mode]:
    """Return the coefficients, and the effects at the most likely scales, by the Laplace likelihood.

    Parameters
    ----------
    stage : Stage
        The prior of its coefficients is not read.

    Returns
    -------
    coefficients : ndarray of float, shape (p,)
    mode : Mode
        Its ``evidence`` is the log likelihood, without binomial coefficients.

    Raises
    ------
    NotConverged
        If there is no such point.
    """
    related = any(factor.kinship is not None for factor in stage.factors)
    where = Coordinates(None, len(stage.factors), related)
    free = GaussianPrior(np.zeros(stage.x.shape[1]), np.full(stage.x.shape[1], np.inf))
    plain = find_mode(stage_of(stage.counts, stage.x, free), Scales(np.empty(0)))
    z, mode = climb(_Likelihood(stage, where), np.concatenate([np.full(where.size, _START), plain.theta]), _GAIN)
    return z[where.size :], mode


class _Likelihood(Surface):
    """Laplace log likelihood over log sds, logit lambda and the coefficients."""

    def __init__(self, stage: Stage, where: Coordinates) -> None:
        self.x = stage.x
        none = GaussianPrior(np.empty(0), np.empty(0))
        super().__init__(
            stage_of(stage.counts, stage.x[:, :0], none, stage.factors, stage.offset), where, refined=False
        )

    def mode(self, z: Floats) -> Mode:
        """Return the mode of the effects at these scales and coefficients."""
        split = self.where.size
        self.stage = replace(self.stage, offset=self.x @ z[split:])
        return super().mode(z[:split])

    def height(self, mode: Mode | Sites, z: Floats) -> float:  # noqa: ARG002 - the coefficients have no prior either
        """Return the log likelihood."""
        return mode.evidence

    def slope(self, mode: Mode, z: Floats) -> Floats:
        """Return the slope of the log likelihood."""
        split = self.where.size
        by_log_sd, by_share, by_offset = evidence_slope(self.stage, mode)
        _, turn = self.where.scales(z[:split])
        by_scale = np.append(by_log_sd, [by_share] * self.where.related) * turn
        return np.concatenate([by_scale, self.x.T @ by_offset])
