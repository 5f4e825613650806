from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import beta, halfnorm, norm

from crosscompat.model.hyperpriors import Coordinates, beta22, half_normal
from crosscompat.model.quadrature import normal_points


@pytest.mark.parametrize("z", [-8.0, -5.1, -4.9, -2.0, -0.3, 0.0, 1.0, 3.0, 5.0, 7.0])
def test_quantiles_are_those_of_scipy(z):
    assert half_normal(z)[0] == pytest.approx(
        halfnorm.isf(norm.sf(z)) if z > 0 else halfnorm.ppf(norm.cdf(z)), rel=1e-5
    )
    assert beta22(z)[0] == pytest.approx(beta(2, 2).ppf(norm.cdf(z)), rel=1e-4, abs=1e-9)


@pytest.mark.parametrize("quantile", [half_normal, beta22])
@pytest.mark.parametrize("z", [-3.0, -1.0, 0.0, 0.5, 2.5])
def test_slopes_are_the_derivatives(quantile, z):
    assert quantile(z)[1] == pytest.approx((quantile(z + 1e-5)[0] - quantile(z - 1e-5)[0]) / 2e-5, rel=1e-6)


@pytest.mark.parametrize("size", [1, 5, 6, 8])
def test_points_stand_for_a_normal_and_so_for_the_prior_of_a_variance(size):
    points = normal_points(24, size)
    assert points.mean(axis=0) == pytest.approx(0.0, abs=1e-12)
    assert points.T @ points / len(points) == pytest.approx(np.eye(size), abs=1e-12)
    for column in points.T:
        assert np.mean([half_normal(z)[0] ** 2 for z in column]) == pytest.approx(1.0, abs=0.02)


def test_coordinates_without_a_prior_are_logs():
    scales, turn = Coordinates(None, 2, related=True).scales(np.array([0.0, np.log(2.0), 0.0]))
    assert scales.sds == pytest.approx([1.0, 2.0])
    assert scales.share == 0.5
    assert turn == pytest.approx([1.0, 1.0, 0.25])
