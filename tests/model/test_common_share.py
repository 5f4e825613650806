from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from scipy import integrate, stats

from crosscompat.model.common_share import agree_on_share
from crosscompat.model.scale_prior import beta22
from crosscompat.model.variances import Point

GRID = np.linspace(-4, 4, 401)


def points(mean, sd):
    """A stage that says Normal(mean, sd) of the coordinate beyond the standard normal prior, on a fine grid."""
    weight = stats.norm.pdf(GRID, mean, sd) * stats.norm.pdf(GRID)
    modes = [SimpleNamespace(scales=SimpleNamespace(share=beta22(z)[0])) for z in GRID]
    return tuple(cast("Point", Point(mode, w)) for mode, w in zip(modes, weight / weight.sum(), strict=True))


def summary(stage):
    weight = np.array([point.weight for point in stage])
    mean = weight @ GRID
    return mean, weight @ (GRID - mean) ** 2


def test_every_stage_ends_with_what_all_of_them_say():
    says = [(0.8, 0.7), (-0.4, 1.1), (1.5, 2.0)]
    precision = 1 + sum(1 / sd**2 for _, sd in says)
    mean = sum(m / sd**2 for m, sd in says) / precision
    for stage in agree_on_share(tuple(points(*one) for one in says)):
        assert sum(point.weight for point in stage) == pytest.approx(1)
        assert summary(stage) == pytest.approx((mean, 1 / precision), abs=2e-3)


def test_a_stage_that_says_nothing_moves_none():
    told, silent = points(0.8, 0.7), points(0.0, 1e3)
    first, second = agree_on_share((told, silent))
    assert [point.weight for point in first] == pytest.approx([point.weight for point in told], abs=1e-5)
    assert summary(second) == pytest.approx(summary(told), abs=2e-3)


def test_one_point_alone_is_left_as_it_is():
    alone = points(0.0, 1.0)[:1]
    other = points(1.0, 1.0)
    assert agree_on_share((alone, other)) == (alone, other)


def test_the_coordinate_is_that_of_beta_2_2():
    mass, _ = integrate.quad(lambda x: 6 * x * (1 - x), 0, beta22(0.7)[0])
    assert mass == pytest.approx(stats.norm.cdf(0.7))
