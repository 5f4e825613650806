"""What relatives inherit, summed up in few matrices, against the sum over all points."""

from __future__ import annotations

import numpy as np
import pytest

from crosscompat.model.effects import Kinship
from crosscompat.model.heirs import Heirs


def kinship(rng, species):
    loads = rng.normal(size=(species, 3))
    loads /= np.linalg.norm(loads, axis=1)[:, None] * 1.2
    a = loads @ loads.T
    np.fill_diagonal(a, 1.0)
    return Kinship.of(a)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("reach", [0.02, 0.3])
def test_they_are_the_sum_over_all_points(seed, reach):
    rng = np.random.default_rng(seed)
    species, points, size = 8, 12, 2 + 2 * 8 + 3
    kin, columns = kinship(rng, species), np.arange(2, 2 + 2 * species)
    shares, weights = 0.45 + reach * (rng.random(points) - 0.5), rng.dirichlet(np.ones(points))
    heirs = Heirs(kin, weights, shares, columns, size)
    across, among = np.zeros((2 * species, size)), np.zeros((2 * species, 2 * species))
    for i, share in enumerate(shares):
        root = rng.normal(size=(size, 2 * size))
        spread = root @ root.T / size
        heirs.add(i, spread)
        inherit = np.kron(np.eye(2), share * np.linalg.inv(share * kin.matrix + (1 - share) * np.eye(species)))
        across += weights[i] * inherit @ spread[columns]
        among += weights[i] * inherit @ spread[np.ix_(columns, columns)] @ inherit.T
    found = heirs.matched()
    assert found[0] == pytest.approx(across, abs=5e-3 * np.abs(across).max())
    assert found[1] == pytest.approx(among, abs=5e-3 * np.abs(among).max())
    assert len(heirs.parts) < 4
