"""From the chances of the stages to the chance of a seedling."""

from __future__ import annotations

import numpy as np

from crosscompat.model.likelihood import Floats
from crosscompat.model.seeds import SeedsPerPod

__all__ = ["seedling_chance"]


def seedling_chance(
    set_: Floats, hold: Floats, fill: Floats, germinate: Floats, seeds: SeedsPerPod, units: Floats | float
) -> Floats:
    """Return the chance of at least one seedling from a number of units.

    Parameters
    ----------
    set_, hold, fill, germinate : ndarray of float, broadcast together
        Chance of each stage, given the one before.
    seeds : SeedsPerPod
        Of a ripe pod.
    units : float or ndarray of float
        Units pollinated.

    Notes
    -----
    With q = set · hold a unit becomes a ripe pod, with r = fill · germinate a seed becomes a seedling, and with G the
    generating function of the seeds per pod: 1 - (1 - q (1 - G(1 - r)))^N.

    Examples
    --------
    An even chance of a ripe pod, which always holds one seed; an even chance of a seedling from it; two units.

    >>> one = SeedsPerPod(1.0, 1.0, cap=1)
    >>> half, sure = np.array(0.5), np.array(1.0)
    >>> round(float(seedling_chance(half, sure, half, sure, one, 2)), 6)
    0.4375
    """
    ripe = set_ * hold
    with_a_seedling = 1.0 - seeds.none_of_them(1.0 - fill * germinate)
    per_unit = np.clip(ripe * with_a_seedling, 0.0, 1.0)
    with np.errstate(divide="ignore"):
        chance: Floats = -np.expm1(units * np.log1p(-per_unit))
    return chance
