"""What is unsaid of a cross shared over the stages, as expectation-maximisation asks for [1]_.

A failure of unknown stage counts at each stage as much as it is likely to have come so far and to have ended there.

References
----------
.. [1] Dempster AP, Laird NM, Rubin DB (1977). Maximum likelihood from incomplete data via the EM algorithm. Journal of
   the Royal Statistical Society B 39:1-38.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crosscompat.book.gaps import GATES, Gaps
from crosscompat.model.likelihood import Floats
from crosscompat.model.seeds import SeedsPerPod

__all__ = ["Shared", "shared_out"]

_LEAST = 1e-12
_FILL = 2  # the stage, from 0


@dataclass(frozen=True, slots=True)
class Shared:
    """Expected counts of the gaps, stage by stage.

    Attributes
    ----------
    tried, took : ndarray of float, shape (n_crosses, 4)
        How many are expected to have entered each stage, and to have come through.
    """

    tried: Floats
    took: Floats


def shared_out(gaps: Gaps, chances: Floats, seeds: SeedsPerPod) -> Shared:
    """Share the gaps of crosses over the stages.

    Parameters
    ----------
    gaps : Gaps
    chances : ndarray of float, shape (n_crosses, 4)
        Chance of each stage, given the one before.
    seeds : SeedsPerPod
        Of a ripe pod.

    Examples
    --------
    Four flowers without a seedling, every stage an even chance, one seed a pod. A flower fails with chance 15/16: half
    of all end at setting, a quarter at holding, an eighth at filling, a sixteenth at germination.

    >>> from crosscompat.book.gaps import gaps_of
    >>> four = gaps_of({"units": np.array([4.0]), "seedlings": np.array([0.0])}, np.array([True]))
    >>> shared = shared_out(four, np.full((1, 4), 0.5), SeedsPerPod(1.0, 1.0, cap=1))
    >>> (shared.tried * 15 / 4).round(6), (shared.took * 15 / 4).round(6)
    (array([[15.,  7.,  3.,  1.]]), array([[7., 3., 1., 0.]]))
    """
    set_, hold, fill, germinate = np.clip(chances, _LEAST, 1.0 - _LEAST).T
    tried, took = _failed(gaps, set_, hold, fill, germinate, seeds)
    entered, grew = _fruitful(gaps, fill, germinate, seeds)
    there = gaps.pods > 0
    good = np.where(there, gaps.good, 0.0)
    entered[:, _FILL] += np.where(there, good + seeds.empty_beside(gaps.pods, good, fill), 0.0)
    grew[:, _FILL] += good
    return Shared(tried + entered, took + grew)


def _failed(
    gaps: Gaps, set_: Floats, hold: Floats, fill: Floats, germinate: Floats, seeds: SeedsPerPod
) -> tuple[Floats, Floats]:
    """Share those that failed, at one stage or another."""
    reached_seed, reached_tray = gaps.last >= _FILL, gaps.last > _FILL
    seed_fails = 1.0 - fill * np.where(reached_tray, germinate, 1.0)
    none = np.where(reached_seed, seeds.none_of_them(seed_fails), 0.0)
    pod_fails = np.where(gaps.last > 0, 1.0 - hold, 0.0) + hold * none
    unit_fails = 1.0 - set_ + set_ * pod_fails
    filled_of_failed = np.where(reached_tray, fill * (1.0 - germinate) / seed_fails, 0.0)
    entered = [np.where(gaps.gate == gate, gaps.failed, 0.0) for gate in range(len(GATES))]
    pods = entered[0] * set_ * pod_fails / unit_fails
    ripe = (entered[1] + pods) * hold * none / np.maximum(pod_fails, _LEAST)
    in_pods = entered[3] + (entered[2] + ripe) * seeds.seeds_if_none(seed_fails)
    filled = in_pods * filled_of_failed
    tried = np.column_stack([entered[0], entered[1] + pods, in_pods, entered[4] + filled])
    return tried, np.column_stack([pods, ripe, filled, np.zeros_like(pods)])


def _fruitful(gaps: Gaps, fill: Floats, germinate: Floats, seeds: SeedsPerPod) -> tuple[Floats, Floats]:
    """Share the units that gave a seedling: their seeds are known to hold at least one that came up."""
    fails = 1.0 - fill * germinate
    none = seeds.none_of_them(fails)
    some = np.maximum(1.0 - none, _LEAST)
    lost = none * seeds.seeds_if_none(fails)
    in_pods = (seeds.mean - lost) / some
    filled = (seeds.mean * fill - lost * fill * (1.0 - germinate) / fails) / some
    grown = seeds.mean * fill * germinate / some
    n = gaps.fruitful[:, None]
    one = np.ones_like(fill)
    return n * np.column_stack([one, one, in_pods, filled]), n * np.column_stack([one, one, filled, grown])
