"""Independent normal priors of coefficients."""

from __future__ import annotations

from dataclasses import dataclass

from crosscompat.model.likelihood import Floats

__all__ = ["GaussianPrior"]


@dataclass(frozen=True, slots=True)
class GaussianPrior:
    """Independent normal priors, one a coefficient; an infinite ``sd`` leaves the coefficient free.

    Attributes
    ----------
    mean, sd : ndarray of float, shape (n_coefficients,)
    """

    mean: Floats
    sd: Floats
