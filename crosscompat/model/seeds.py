"""How many seeds a ripe pod holds, and what their spread does to the chance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from crosscompat.model.likelihood import Floats

__all__ = ["SeedsPerPod", "fit_seeds"]

_SIZES = np.geomspace(0.1, 100.0, 61)
_PRIOR_PODS = 1.0
_LEAST = 1e-12


@dataclass(frozen=True, slots=True)
class SeedsPerPod:
    """The spread of the number of seeds in a ripe pod.

    Attributes
    ----------
    mean : float
    size : float
        Of the negative binomial: the variance is mean + mean² / size. Not read where there is a cap.
    cap : int or None
        Most seeds a pod can hold, where the group has such a number (3 in spurges); the spread is then binomial.
    """

    mean: float
    size: float
    cap: int | None = None

    def none_of_them(self, fails: Floats) -> Floats:
        """Return the chance that no seed of a pod comes to anything, if each fails with chance ``fails``.

        This is the probability generating function of the number of seeds, at ``fails``. Using the mean number of seeds
        instead would be far too low where pods differ.

        Examples
        --------
        Three ovules, each a seed with chance 2/3, each seed failing half the time.

        >>> spread = SeedsPerPod(mean=2.0, size=1.0, cap=3)
        >>> bool(np.isclose(spread.none_of_them(np.array(0.5)), (1 - 2 / 3 * 0.5) ** 3))
        True
        """
        if self.cap is not None:
            share = min(self.mean / self.cap, 1.0)
            return np.asarray((1.0 - share * (1.0 - fails)) ** self.cap)
        return np.asarray(np.exp(-self.size * np.log1p(self.mean / self.size * (1.0 - fails))))

    def seeds_if_none(self, fails: Floats) -> Floats:
        """Return the mean number of seeds of a pod in which every seed failed, if each fails with chance ``fails``.

        Examples
        --------
        Three ovules, each a seed with chance 2/3 that fails half the time: of those without a good seed, each ovule
        is a failed seed with chance (1/3) / (1/3 + 1/3).

        >>> bool(np.isclose(SeedsPerPod(mean=2.0, size=1.0, cap=3).seeds_if_none(np.array(0.5)), 3 / 2))
        True
        """
        if self.cap is not None:
            share = min(self.mean / self.cap, 1.0)
            return np.asarray(self.cap * share * fails / np.maximum(1.0 - share * (1.0 - fails), _LEAST))
        return np.asarray(fails * self.mean * self.size / (self.size + self.mean * (1.0 - fails)))

    def empty_beside(self, pods: Floats, good: Floats, fill: Floats) -> Floats:
        """Return how many empty seeds are expected in pods of which only the good seeds were counted.

        Parameters
        ----------
        pods, good : ndarray of float
            Pods opened together, and the good seeds in all of them.
        fill : ndarray of float
            Chance that a seed is good.

        Examples
        --------
        Two good seeds among the three ovules of a pod: the third is an empty seed with chance (1/3) / (1/3 + 1/3).

        >>> beside = SeedsPerPod(mean=2.0, size=1.0, cap=3).empty_beside(np.array(1.0), np.array(2.0), np.array(0.5))
        >>> bool(np.isclose(beside, 0.5))
        True
        """
        if self.cap is not None:
            share = min(self.mean / self.cap, 1.0)
            left = np.maximum(self.cap * pods - good, 0.0)
            return np.asarray(left * share * (1.0 - fill) / np.maximum(1.0 - share * fill, _LEAST))
        return np.asarray((pods * self.size + good) * self.mean * (1.0 - fill) / (self.size + self.mean * fill))


def fit_seeds(pods: Floats, seeds: Floats, *, expected: float, cap: int | None = None) -> SeedsPerPod:
    """Learn the seeds per pod from ripe pods that were opened together.

    Parameters
    ----------
    pods, seeds : ndarray of float, shape (n_crosses,)
        Ripe pods of a cross, at least 1, and the seeds in all of them.
    expected : float
        What is expected before any is opened; it counts as much as one pod.
    cap : int, optional
        Most seeds a pod can hold.

    Notes
    -----
    The mean is the pooled one. The size is averaged on the log scale over a grid from 0.1 to 100, weighted by the
    likelihood and a log-normal prior around 1 with a standard deviation of log 5 (a judgement); sums of m pods are
    negative binomial with m times the size.

    Examples
    --------
    >>> fit_seeds(np.array([]), np.array([]), expected=100.0).mean
    100.0
    >>> fit_seeds(np.array([9.0]), np.array([18.0]), expected=2.0, cap=3)
    SeedsPerPod(mean=2.0, size=1.0, cap=3)
    """
    mean = float((seeds.sum() + _PRIOR_PODS * expected) / (pods.sum() + _PRIOR_PODS))
    if cap is not None:
        return SeedsPerPod(min(mean, float(cap)), 1.0, cap)
    height = np.array([_log_likelihood(pods, seeds, mean, size) for size in _SIZES])
    height -= 0.5 * (np.log(_SIZES) / np.log(5.0)) ** 2
    weight = np.exp(height - height.max())
    return SeedsPerPod(mean, float(np.exp((weight @ np.log(_SIZES)) / weight.sum())))


def _log_likelihood(pods: Floats, seeds: Floats, mean: float, size: float) -> float:
    """Negative binomial with ``pods`` times mean and size, without what does not depend on the size."""
    if not pods.size:
        return 0.0
    from scipy.special import gammaln  # noqa: PLC0415 - only a fit needs it

    log_gamma: Callable[[Floats], Floats] = gammaln
    sizes, means = pods * size, pods * mean
    spread = log_gamma(seeds + sizes) - log_gamma(sizes)
    return float(np.sum(spread + sizes * np.log(sizes / (sizes + means)) + seeds * np.log(means / (sizes + means))))
