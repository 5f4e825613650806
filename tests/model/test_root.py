"""Solutions, determinants and inverses cell by cell against the whole matrix."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model.columns import Pattern
from crosscompat.model.root import NotPositive, Root


class Written:
    """The precision matrix of a random design, as one square; each record touches two of the sparse columns."""

    def __init__(self, seed, dense, sparse, records):
        rng = np.random.default_rng(seed)
        size = dense + sparse
        others = rng.integers(dense, size, (records, 2)) if sparse else np.empty((records, 0), dtype=int)
        self.cliques = np.column_stack([np.tile(np.arange(dense), (records, 1)), others])
        design = np.zeros((records, size))
        for row, columns in zip(design, self.cliques, strict=True):
            row[columns] = rng.normal(size=columns.size)
        self.matrix = design.T @ (design * rng.random(records)[:, None]) + np.diag(0.1 + rng.random(size))
        self.pattern = Pattern.of(size, self.cliques, np.arange(size) >= dense)
        self.vector = rng.normal(size=size)

    @property
    def touching(self):
        """Pairs of columns with a number in the matrix, both ways round."""
        return np.nonzero(self.matrix)

    def row(self):
        found = np.zeros(self.pattern.cells.count + 1)
        found[self.pattern.cells.find(*self.touching)] = self.matrix[self.touching]
        return found


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 4), st.integers(0, 60), st.integers(0, 70))
def test_they_are_those_of_numpy(seed, dense, sparse, records):
    w = Written(seed, dense, sparse, records)
    root, inverse = Root.of(w.pattern, w.row()), np.linalg.inv(w.matrix)
    assert root.logdet == pytest.approx(np.linalg.slogdet(w.matrix)[1], abs=1e-9)
    assert root.solve(w.vector) == pytest.approx(inverse @ w.vector, abs=1e-9)
    found = root.inverse()
    assert found[w.pattern.cells.find(*w.touching)] == pytest.approx(inverse[w.touching], abs=1e-9)
    assert found[w.pattern.diagonal] == pytest.approx(np.diag(inverse), abs=1e-9)
    assert root.whole(found) == pytest.approx(inverse, abs=1e-9)
    assert found[-1] == 0.0


def test_several_rounds_and_a_core_take_part():
    w = Written(1, 3, 150, 160)
    assert len(w.pattern.rounds) > 2
    assert w.pattern.cells.core.size > 20
    root = Root.of(w.pattern, w.row())
    assert root.whole(root.inverse()) == pytest.approx(np.linalg.inv(w.matrix), abs=1e-9)


def test_what_is_not_positive_is_refused():
    w = Written(4, 3, 20, 30)
    row = w.row()
    row[w.pattern.diagonal[0]] = -1.0
    with pytest.raises(NotPositive):
        Root.of(w.pattern, row)


@pytest.mark.parametrize("size", [0, 1, 5])
def test_nothing_reaches_the_screen(size, capfd):
    """LAPACK complains there of a matrix without rows."""
    w = Written(size, size, 0, 3)
    root = Root.of(w.pattern, w.row())
    assert root.whole(root.inverse()) == pytest.approx(np.linalg.inv(w.matrix), abs=1e-12)
    assert root.solve(w.vector) == pytest.approx(np.linalg.solve(w.matrix, w.vector))
    assert capfd.readouterr() == ("", "")
