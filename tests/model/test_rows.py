"""Products and quadratic forms of rows against whole matrices."""

from __future__ import annotations

import numpy as np
import pytest

from crosscompat.model import rows as room
from crosscompat.model.columns import Pattern
from crosscompat.model.rows import Alike, Crowd, alike, crowds


class Written:
    """Coarsest groups that touch one to thirty of forty columns, and records in them."""

    def __init__(self, seed, size=40, tops=25, records=90):
        rng = np.random.default_rng(seed)
        self.columns = np.full((tops, 31), size)
        for top in range(tops):
            width = int(rng.integers(1, 31))
            self.columns[top, :width] = np.sort(rng.choice(size, width, replace=False))
        self.top = rng.integers(0, tops, records)
        self.pattern = Pattern.of(size, self.columns, np.arange(size) >= 5)
        half = rng.normal(size=(size, size))
        self.matrix = half @ half.T
        i, j = np.nonzero(self.matrix)
        there = [set(row) - {size} for row in self.columns.tolist()]
        kept = np.array([any({a, b} <= clique for clique in there) for a, b in zip(i, j, strict=True)])
        self.row = np.zeros(self.pattern.cells.count + 1)
        self.row[self.pattern.cells.find(i[kept], j[kept])] = self.matrix[i[kept], j[kept]]
        self.numbers = rng.normal(size=(records, 31)) * (self.columns[self.top] < size)
        self.design = np.zeros((records, size + 1))
        np.put_along_axis(self.design, self.columns[self.top], self.numbers, axis=1)
        self.design = self.design[:, :size]


@pytest.mark.parametrize("seed", range(4))
def test_quadratic_forms_are_those_of_the_whole_matrix(seed):
    w = Written(seed)
    found, kinds = np.full(len(w.top), np.nan), set()
    for some in crowds(w.pattern, w.columns, w.top):
        found[some.rows] = some.quadratic(w.numbers[some.rows, : some.width], w.row)
        kinds.add((type(some), some.lone))
        if some.lone:
            assert np.all(np.bincount(w.top)[w.top[some.rows]] == 1)
    assert found == pytest.approx(np.einsum("mi,ij,mj->m", w.design, w.matrix, w.design))
    assert {(Alike, False), (Crowd, False)} <= kinds


@pytest.mark.parametrize("seed", range(4))
def test_products_add_up_to_the_whole_matrix(seed):
    w = Written(seed)
    weight = np.random.default_rng(seed).random(len(w.top))
    row = np.zeros(w.pattern.cells.count + 1)
    heaps = alike(w.pattern, w.columns, np.arange(len(w.top)), w.top)
    assert len(heaps) <= room._SIZES + 1
    for some in heaps:
        products = some.products(w.numbers[some.rows, : some.width], weight[some.rows])
        row += np.bincount(some.cells.ravel(), products.ravel(), minlength=row.size)
    gram = (w.design * weight[:, None]).T @ w.design
    i, j = np.nonzero(gram)
    assert row[w.pattern.cells.find(i, j)] == pytest.approx(gram[i, j])
    assert row[-1] == 0.0


def test_cut_into_parts_nothing_changes(monkeypatch):
    w = Written(7)
    heaps = alike(w.pattern, w.columns, np.arange(len(w.top)), w.top)
    given = [(some, w.numbers[some.rows, : some.width], np.ones(some.rows.size)) for some in heaps]
    whole = [(some.products(n, one), some.quadratic(n, w.row)) for some, n, one in given]
    monkeypatch.setattr(room, "_CHUNK", 1)
    assert all(len(some._parts()) == some.rows.size for some in heaps)
    for (some, n, one), (products, quadratic) in zip(given, whole, strict=True):
        np.testing.assert_array_equal(some.products(n, one), products)
        assert some.quadratic(n, w.row) == pytest.approx(quadratic)
