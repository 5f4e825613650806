"""Quadrature of a normal times a likelihood against sums over a fine grid."""

from __future__ import annotations

import numpy as np
import pytest

from crosscompat.model.inference import TiltedMoments
from crosscompat.model.likelihood import Counts, derivatives, log_likelihoods

# Tried, took, and whether only "some" is known: one flower, all or none or nearly so of few and of many.
COUNTED = [
    (1, 0, 0), (1, 1, 0), (2, 1, 0), (5, 0, 0), (5, 5, 0), (5, 2, 0), (5, 5, 1), (50, 0, 0), (50, 49, 0), (50, 50, 1),
    (400, 3, 0), (400, 399, 0), (400, 0, 0), (400, 400, 1),
]  # fmt: skip


class Records:
    """Every count under normals of sd up to six and many means, with the truth from a fine grid."""

    def __init__(self):
        sds, means = (0.1, 0.3, 0.6, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0), (-9, -4, -2, -0.5, 0, 1, 3, 7)
        rows = np.array([(sd, mean, *count) for sd in sds for mean in means for count in COUNTED], dtype=float)
        self.sd, self.mean = rows[:, 0], rows[:, 1]
        self.counts = Counts.of(rows[:, 2], rows[:, 3], some=rows[:, 4] > 0)
        self.centre, self.width = self._mode(), self.sd  # no wider than the normal, being log-concave
        for _ in range(3):
            self._add_up(np.linspace(-14, 14, 6001))

    def _mode(self):
        low, high = np.full(self.sd.size, -1000.0), np.full(self.sd.size, 1000.0)
        for _ in range(60):
            middle = 0.5 * (low + high)
            up = derivatives(middle, self.counts)[0] > (middle - self.mean) / self.sd**2
            low, high = np.where(up, middle, low), np.where(up, high, middle)
        return low

    def _add_up(self, x):
        eta = self.centre[:, None] + self.width[:, None] * x
        logs = log_likelihoods(eta, self.counts) - 0.5 * ((eta - self.mean[:, None]) / self.sd[:, None]) ** 2
        top = logs.max(axis=1)
        mass = np.exp(logs - top[:, None])
        total = mass.sum(axis=1)
        centre = (mass * eta).sum(axis=1) / total
        spread = (mass * (eta - centre[:, None]) ** 2).sum(axis=1) / total
        self.log_mass = top + np.log(total * (x[1] - x[0]) * self.width / self.sd) - 0.5 * np.log(2 * np.pi)
        self.centre, self.width = centre, np.sqrt(spread)


@pytest.fixture(scope="module")
def records():
    return Records()


def test_moments_are_those_of_a_fine_grid_however_wide_the_normal(records):
    tilted = TiltedMoments.of(records.counts, records.width**2)
    log_mass, mean, variance = tilted.moments(records.mean, records.sd**2, records.centre, records.width)
    narrow = records.width <= 1.0
    assert 200 < narrow.sum() < 900
    assert (records.width > 2.5).sum() > 50
    assert (mean - records.centre) / records.width == pytest.approx(0.0, abs=1e-3)
    assert variance / records.width**2 == pytest.approx(1.0, abs=1.5e-3)
    assert log_mass == pytest.approx(records.log_mass, abs=1e-3)


def test_sixteen_nodes_would_not_do_for_the_wide_ones(records):
    """The reason for a second rule: told by narrow variances, the first is taken for all and errs by hundredths."""
    tilted = TiltedMoments.of(records.counts, np.zeros_like(records.width))
    _, mean, _ = tilted.moments(records.mean, records.sd**2, records.centre, records.width)
    assert np.abs((mean - records.centre) / records.width).max() > 0.01


def test_cut_into_parts_nothing_changes(records, monkeypatch):
    from crosscompat.model import inference as room

    whole = TiltedMoments.of(records.counts, records.width**2)
    monkeypatch.setattr(room, "_CHUNK", 400)
    parts = TiltedMoments.of(records.counts, records.width**2)
    assert len(parts.parts) > len(whole.parts)
    given = (records.mean, records.sd**2, records.centre, records.width)
    for one, other in zip(whole.moments(*given), parts.moments(*given), strict=True):
        assert one == pytest.approx(other, rel=1e-12, abs=1e-12)


def test_no_records_have_no_moments():
    nothing = np.empty(0)
    found = TiltedMoments.of(Counts.of([], []), nothing).moments(nothing, nothing, nothing, nothing)
    assert [one.size for one in found] == [0, 0, 0]
