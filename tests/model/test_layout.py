"""Columns side by side against the whole design, written out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model import layout
from crosscompat.model.effects import Factor
from crosscompat.model.layout import lay_out


class Written:
    """A random stage, and its columns as one matrix of records by columns."""

    def __init__(self, seed):
        rng = np.random.default_rng(seed)
        m, k = int(rng.integers(1, 25)), int(rng.integers(1, 6))
        a, b = rng.integers(0, k, (2, m))
        pair = np.unique(np.minimum(a, b) * k + np.maximum(a, b), return_inverse=True)[1]
        self.factors = (
            Factor("either", np.column_stack([a, b]), np.full((m, 2), 0.7), k),
            Factor.of("plant", rng.integers(-1, 3, m), 3),
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


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_sums_and_products_are_those_of_the_whole_design(seed):
    w = Written(seed)
    weight, theta = w.rng.random(len(w.x)), w.rng.normal(size=w.lay.size)
    assert w.lay.to_columns(weight) == pytest.approx(w.design.T @ weight)
    assert w.lay.to_records(theta) == pytest.approx(w.design @ theta)
    gram = (w.design * weight[:, None]).T @ w.design
    assert w.lay.gram(w.lay.local, weight, w.lay.top) == pytest.approx(gram)
    quadratic = np.einsum("mi,ij,mj->m", w.design, gram, w.design)
    assert w.lay.quadratic(w.lay.local, gram, w.lay.top) == pytest.approx(quadratic)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_groups_are_summed_and_lie_within_their_coarsest(seed):
    w = Written(seed)
    values = w.rng.normal(size=(len(w.x), 3))
    for level, i in enumerate(w.lay.chain):
        groups = w.factors[i].levels[:, 0]
        summed = np.array([values[groups == g].sum(axis=0) for g in range(w.factors[i].size)])
        assert w.lay.sums(level, values) == pytest.approx(summed)
        assert w.lay.sums(level, values[:, 0]) == pytest.approx(summed[:, 0])
        assert w.lay.tops(level)[groups].tolist() == w.lay.top.tolist()


def test_cut_into_parts_nothing_changes(monkeypatch):
    w = Written(1)
    weight = w.rng.random(len(w.x))
    whole = w.lay.gram(w.lay.local, weight, w.lay.top)
    monkeypatch.setattr(layout, "_CHUNK", 1)
    assert len(w.lay._parts(len(w.x))) == len(w.x) > 1
    assert w.lay.gram(w.lay.local, weight, w.lay.top) == pytest.approx(whole)
    assert np.all(np.isfinite(w.lay.quadratic(w.lay.local, whole, w.lay.top)))
