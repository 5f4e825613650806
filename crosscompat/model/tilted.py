"""Moments of a normal distribution times the likelihood of one record, for many records at once, by quadrature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.model.effects import Ints
from crosscompat.model.likelihood import Counts, Floats, log_likelihoods
from crosscompat.model.threads import do_all

__all__ = ["Tilted"]

_CHUNK = 30_000  # numbers that stay near the processor
_WIDE = 1.0
_HEAP = 32  # parts that are worth a thread
_FAR = 700.0  # beyond this logit the exponential is no number any more


def _hermite(nodes: int) -> tuple[Floats, Floats]:
    """Gauss-Hermite nodes in sds, and the log weights for a function that is not yet divided by the normal."""
    x, weight = np.polynomial.hermite_e.hermegauss(nodes)
    return x, np.log(weight) + 0.5 * x**2


def _even(nodes: int, reach: float) -> tuple[Floats, Floats]:
    """Evenly spaced nodes: they err less where the likelihood cuts a wide normal off."""
    x = np.linspace(-reach, reach, nodes)
    return x, np.full(nodes, np.log(x[1] - x[0]))


_Part = tuple[Ints, Counts, Floats, Floats]
_NARROW_RULE = _hermite(16)
_WIDE_RULE = _even(48, 8.0)


@dataclass(frozen=True, slots=True)
class Tilted:
    """Records with the quadrature that suits each.

    Sixteen Gauss-Hermite nodes err by at most 0.001 where a logit has an sd of 1 or less; where it has a larger one the
    likelihood is sharp beside the normal and they err by hundredths. Forty-eight even nodes there err by less than
    0.001, up to sds of 5; in sds of the mean and shares of the variance.

    Attributes
    ----------
    parts : tuple of (Ints, Counts, Floats, Floats)
        Which records, their counts, the nodes in sds and the logs of their weights.
    size : int
        Number of records.
    """

    parts: tuple[_Part, ...]
    size: int

    @classmethod
    def of(cls, counts: Counts, variance: Floats) -> Tilted:
        """Choose a quadrature for each record, by how well its logit is known; a choice kept from sweep to sweep."""
        parts, wide = [], variance > _WIDE**2
        for which, (x, log_weight) in ((~wide, _NARROW_RULE), (wide, _WIDE_RULE)):
            rows = np.flatnonzero(which)
            step = _CHUNK // x.size
            cut = (rows[i : i + step] for i in range(0, rows.size, step))
            parts += [(at, counts[at], x, log_weight) for at in cut]
        return cls(tuple(parts), variance.size)

    def moments(self, mean: Floats, variance: Floats, centre: Floats, width: Floats) -> tuple[Floats, Floats, Floats]:
        """Return log mass, mean and variance of normal times likelihood.

        Parameters
        ----------
        mean, variance : ndarray of float, shape (n_records,)
            Of the normal.
        centre, width : ndarray of float, shape (n_records,)
            Where the quadrature is laid out: about the mean and the sd of the product.
        """
        found = np.empty((3, self.size))

        def fill(part: _Part) -> None:
            at, counts, x, log_weight = part
            eta = centre[at] + width[at] * x[:, None]
            logs = _likelihoods(eta, counts)
            eta -= mean[at]
            eta *= eta
            eta *= 0.5 / variance[at]
            logs -= eta
            logs += log_weight[:, None]
            top = logs.max(axis=0)
            with np.errstate(invalid="ignore"):  # told by the result
                logs -= top
            total, first, second = np.stack([np.ones(x.size), x, x**2]) @ np.exp(logs, out=logs)
            first = first / total
            found[0, at] = top + np.log(total * width[at]) - 0.5 * np.log(2.0 * np.pi * variance[at])
            found[1, at] = centre[at] + width[at] * first
            found[2, at] = width[at] ** 2 * (second / total - first**2)

        heaps = [self.parts[begin : begin + _HEAP] for begin in range(0, len(self.parts), _HEAP)]

        def fill_all(heap: tuple[_Part, ...]) -> None:
            for part in heap:
                fill(part)

        do_all(fill_all, heaps, many=len(heaps) > 1)
        return found[0], found[1], found[2]


def _likelihoods(eta: Floats, counts: Counts) -> Floats:
    """Return the weighted log likelihood of each record at each of its logits, shape (n_nodes, n_records)."""
    if counts.some.any() or eta.max(initial=0.0) > _FAR:
        return log_likelihoods(eta.T, counts).T
    missed = np.exp(eta)
    missed += 1.0
    np.log(missed, out=missed)  # as good as log1p in sums, and twice as quick
    missed *= -counts.tried
    missed += counts.took * eta
    missed *= counts.weight
    return missed
