"""Columns and nested groups against the whole design, written out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model.design_matrix import Factor, Kinship, design_matrix, nested_chain
from crosscompat.model.gaussian import Elimination


class Written:
    """A random stage, and its columns as one matrix of records by columns."""

    def __init__(self, seed, plants=3):
        rng = np.random.default_rng(seed)
        m, k = int(rng.integers(1, 25)), int(rng.integers(1, 6))
        a, b = rng.integers(0, k, (2, m))
        pair = np.unique(np.minimum(a, b) * k + np.maximum(a, b), return_inverse=True)[1]
        self.factors = (
            Factor.of("mother", a, k),
            Factor.of("father", b, k),
            Factor.of("plant", rng.integers(-1, plants, m), plants),
            Factor.of("pair", pair, nested=True),
            Factor.of("direction", np.unique(a * k + b, return_inverse=True)[1], nested=True),
            Factor.of("record", np.arange(m), nested=True),
        )
        self.x = rng.normal(size=(m, 2))
        self.design, self.rng = design_matrix(self.x, self.factors), rng
        self.whole = np.zeros((m, self.design.size))
        self.whole[:, :2] = self.x
        for factor, block in zip(self.factors, self.design.blocks, strict=True):
            for r in range(0 if factor.nested else m):
                if factor.levels[r] >= 0:
                    self.whole[r, block.start + factor.levels[r]] = 1.0

    def nested(self, variances):
        """Covariance of the nested effects among the records."""
        found = np.zeros((len(self.x), len(self.x)))
        for grouping, variance in zip(self.design.nested, variances, strict=True):
            found += variance * (grouping.groups[:, None] == grouping.groups)
        return found


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([3, 60]))
def test_sums_are_those_of_the_whole_design(seed, plants):
    w = Written(seed, plants)
    weight, theta = w.rng.random(len(w.x)), w.rng.normal(size=w.design.size)
    assert w.design.to_columns(weight) == pytest.approx(w.whole.T @ weight)
    assert w.design.to_records(theta) == pytest.approx(w.whole @ theta)
    for grouping in w.design.nested:
        member = (np.arange(grouping.size)[:, None] == grouping.groups).astype(float)
        assert grouping.sums(weight) == pytest.approx(member @ weight)
        assert grouping.sums(w.whole) == pytest.approx(member @ w.whole)


def test_only_a_small_design_is_kept_whole():
    kept = [[Written(seed, plants).design.products is None for seed in range(20)] for plants in (3, 400)]
    assert all(kept[0])
    assert not any(kept[1])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([3, 60]))
def test_the_nested_effects_are_integrated_out(seed, plants):
    """N^-1, D' N^-1 D, variances of records and precisions of groups, against matrices of all records."""
    w = Written(seed, plants)
    weight, variances = 0.1 + w.rng.random(len(w.x)), w.rng.random(3)
    inner = Elimination(w.design, weight, variances)
    noise = np.diag(1 / weight) + w.nested(variances)
    precision, vector = np.linalg.inv(noise), w.rng.normal(size=len(w.x))
    assert inner.solve(weight * vector) == pytest.approx(precision @ vector)
    assert inner.log_damping() == pytest.approx(np.linalg.slogdet(noise * weight)[1], abs=1e-9)
    assert np.triu(inner.gram()) == pytest.approx(np.triu(w.whole.T @ precision @ w.whole), abs=1e-9)
    scale, half = w.rng.random(w.design.size), w.rng.normal(size=(w.design.size, w.design.size))
    prior = half @ half.T * scale * scale[:, None]
    spread = np.linalg.inv(np.linalg.inv(half @ half.T) + scale[:, None] * (w.whole.T @ precision @ w.whole) * scale)
    covariance = w.nested(variances) + w.whole @ prior @ w.whole.T
    after = covariance - covariance @ np.linalg.solve(covariance + np.diag(1 / weight), covariance)
    half = spread if w.design.products is None else np.triu(spread)
    variance = inner.variance(scale, half)
    assert variance == pytest.approx(np.diag(after), rel=1e-6, abs=1e-8)
    working = np.linalg.inv(covariance + np.diag(1 / weight))
    for level, grouping in enumerate(w.design.nested):
        member = (np.arange(grouping.size)[:, None] == grouping.groups).astype(float)
        expected = np.einsum("gm,mn,gn->g", member, working, member)
        found = inner.group_precisions(level, variance, spread * scale * scale[:, None])
        assert found == pytest.approx(expected, rel=1e-6, abs=1e-7)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.floats(0, 1))
def test_the_spectrum_is_that_of_the_mixed_matrix(seed, share):
    half = np.random.default_rng(seed).normal(size=(5, 2))
    a = half @ half.T + 0.1 * np.eye(5)
    a /= np.sqrt(np.outer(np.diag(a), np.diag(a)))
    kinship = Kinship.of(a)
    mixed = share * a + (1 - share) * np.eye(5)
    assert kinship.spectrum(share) == pytest.approx(np.linalg.eigvalsh(mixed))
    assert (kinship.vectors * kinship.spectrum(share)) @ kinship.vectors.T == pytest.approx(mixed)


def test_what_is_no_correlation_is_refused():
    with pytest.raises(ValueError, match="positive semi-definite"):
        Kinship.of([[1.0, 2.0], [2.0, 1.0]])


def test_rounding_is_no_reason_to_refuse():
    assert Kinship.of(np.ones((4, 4))).values.min() >= 0.0


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_a_chain_begins_with_the_finest(seed):
    fine = np.random.default_rng(seed).permutation(np.arange(40) % 8)
    levels = (fine % 2, fine % 4, fine, np.arange(40))
    factors = [Factor.of(str(i), level, nested=True) for i, level in enumerate(levels)]
    assert nested_chain((factors[1], Factor.of("column", fine), factors[0], factors[3], factors[2])) == (3, 4, 0, 2)


@pytest.mark.parametrize(
    "factor",
    [
        Factor.of("kin", [0, 1, 2], kinship=Kinship.of(np.eye(3)), nested=True),
        Factor.of("gap", [0, -1, 2], nested=True),
    ],
    ids=lambda factor: factor.name,
)
def test_what_is_related_or_absent_cannot_be_nested(factor):
    with pytest.raises(ValueError, match=factor.name):
        nested_chain((factor,))


def test_groups_across_one_another_cannot_be_nested():
    mother, father = (Factor.of(name, levels, nested=True) for name, levels in (("m", [0, 0, 1]), ("f", [0, 1, 0])))
    with pytest.raises(ValueError, match="within"):
        nested_chain((mother, father))
