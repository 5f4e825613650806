"""Columns side by side against the whole design, written out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model.effects import Factor
from crosscompat.model.elimination import Elimination, group_precisions, record_variances
from crosscompat.model.layout import lay_out


class Written:
    """A random stage, and its columns as one matrix of records by columns."""

    def __init__(self, seed, plants=3):
        rng = np.random.default_rng(seed)
        m, k = int(rng.integers(1, 25)), int(rng.integers(1, 6))
        a, b = rng.integers(0, k, (2, m))
        pair = np.unique(np.minimum(a, b) * k + np.maximum(a, b), return_inverse=True)[1]
        self.factors = (
            Factor("either", np.column_stack([a, b]), np.full((m, 2), 0.7), k),
            Factor.of("plant", rng.integers(-1, plants, m), plants),
            Factor.of("pair", pair),
            Factor.of("record", np.arange(m)),
        )
        self.x = rng.normal(size=(m, 2))
        self.lay, self.rng = lay_out(self.x, self.factors), rng
        self.design = np.zeros((m, self.lay.size))
        self.design[:, :2] = self.x
        for i, (factor, block) in enumerate(zip(self.factors, self.lay.blocks, strict=True)):
            for r in range(m if i not in self.lay.chain else 0):
                for level, share in zip(factor.levels[r], factor.shares[r], strict=True):
                    self.design[r, block.start + level] += share if level >= 0 else 0.0

    def row(self, matrix):
        """Cells of a matrix, as far as records touch them."""
        i, j = np.nonzero((self.design != 0).T.astype(float) @ (self.together @ (self.design != 0)))
        found = np.zeros(self.lay.pattern.cells.count + 1)
        found[self.lay.pattern.cells.find(i, j)] = matrix[i, j]
        return found, (i, j)

    @property
    def together(self):
        """Which records share their coarsest group."""
        top = self.lay.groups[-1] if self.lay.chain else np.arange(len(self.x))
        return (top[:, None] == top).astype(float)

    def nested(self, variances):
        """Covariance of the eliminated effects among the records."""
        found = np.zeros((len(self.x), len(self.x)))
        for groups, variance in zip(self.lay.groups, variances, strict=True):
            found += variance * (groups[:, None] == groups)
        return found


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_sums_are_those_of_the_whole_design(seed):
    w = Written(seed)
    weight, theta = w.rng.random(len(w.x)), w.rng.normal(size=w.lay.size)
    assert w.lay.to_columns(weight) == pytest.approx(w.design.T @ weight)
    assert w.lay.to_records(theta) == pytest.approx(w.design @ theta)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_groups_are_summed_and_lie_within_their_coarsest(seed):
    w = Written(seed)
    weight = w.rng.random(len(w.x))
    for level, i in enumerate(w.lay.chain):
        groups, tops = w.factors[i].levels[:, 0], w.lay.tops(level)
        member = (np.arange(w.factors[i].size)[:, None] == groups).astype(float)
        assert w.lay.sums(level, weight) == pytest.approx(member @ weight)
        padded = np.column_stack([member @ (w.design * weight[:, None]), np.zeros(len(member))])
        parts = np.take_along_axis(padded, w.lay.columns[tops], axis=1)
        assert w.lay.parts(level, weight) == pytest.approx(parts)
        assert tops[groups].tolist() == w.lay.groups[-1].tolist()


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([3, 40]))
def test_the_nested_effects_are_integrated_out(seed, plants):
    """N^-1, D' N^-1 D, variances of records and precisions of groups, against matrices of all records."""
    w = Written(seed, plants)
    curvature, variances = 0.1 + w.rng.random(len(w.x)), w.rng.random(len(w.lay.chain))
    inner = Elimination.of(w.lay, curvature, variances)
    noise = np.diag(1 / curvature) + w.nested(variances)
    precision, one = np.linalg.inv(noise), w.rng.normal(size=len(w.x))
    assert inner.solve(w.lay, curvature * one) == pytest.approx(precision @ one)
    assert inner.log_damping() == pytest.approx(np.linalg.slogdet(noise * curvature)[1], abs=1e-9)
    gram, (i, j) = w.row(w.design.T @ precision @ w.design)
    assert inner.gram(w.lay)[w.lay.pattern.cells.find(i, j)] == pytest.approx(
        gram[w.lay.pattern.cells.find(i, j)], abs=1e-9
    )
    half = w.rng.normal(size=(w.lay.size, w.lay.size))
    prior = half @ half.T
    whole = np.linalg.inv(np.linalg.inv(prior) + w.design.T @ precision @ w.design)
    covariance = w.nested(variances) + w.design @ prior @ w.design.T
    after = covariance - covariance @ np.linalg.solve(covariance + np.diag(1 / curvature), covariance)
    spread, _ = w.row(whole)
    variance = record_variances(w.lay, inner, spread)
    assert variance == pytest.approx(np.diag(after), rel=1e-6, abs=1e-9)
    working = np.linalg.inv(covariance + np.diag(1 / curvature))
    for level, groups in enumerate(w.lay.groups):
        member = (np.arange(w.lay.counts[level])[:, None] == groups).astype(float)
        expected = np.einsum("gm,mn,gn->g", member, working, member)
        found = group_precisions(w.lay, inner, variance, spread, level)
        assert found == pytest.approx(expected, rel=1e-6, abs=1e-7)


def test_a_crowded_pair_is_integrated_out_like_any_other(monkeypatch):
    """Groups of many columns are multiplied by themselves; here all of them."""
    from crosscompat.model import rows

    w = Written(11, 12)
    curvature, variances = 0.1 + w.rng.random(len(w.x)), w.rng.random(len(w.lay.chain))
    monkeypatch.setattr(rows, "_CROWDED", 0)
    crowded = lay_out(w.x, w.factors)
    assert any(isinstance(some, rows.Crowd) for some in crowded.records)
    spread = w.rng.random(w.lay.pattern.cells.count + 1)
    spread[-1] = 0.0
    one, other = (record_variances(lay, Elimination.of(lay, curvature, variances), spread) for lay in (w.lay, crowded))
    assert one == pytest.approx(other)
