"""Which columns are eliminated, and which cells are kept for them."""

from __future__ import annotations

import numpy as np
import pytest

from crosscompat.model.columns import Pattern


def sparse_pattern(seed, dense=3, sparse=150, records=160):
    """Records that touch all dense columns and two of the others."""
    rng = np.random.default_rng(seed)
    size = dense + sparse
    others = rng.integers(dense, size, (records, 2))
    others[others[:, 0] == others[:, 1], 1] = size  # padded
    cliques = np.column_stack([np.tile(np.arange(dense), (records, 1)), others])
    return Pattern.of(size, cliques, np.arange(size) >= dense), cliques


def every_pair(cliques):
    return (np.repeat(cliques, cliques.shape[1], axis=1).ravel(), np.tile(cliques, cliques.shape[1]).ravel())


@pytest.mark.parametrize("seed", range(3))
def test_members_of_a_round_touch_neither_each_other_nor_earlier_ones(seed):
    pattern, _ = sparse_pattern(seed)
    gone = set()
    for turn in pattern.rounds:
        members = set(turn.members.tolist())
        beside = set(turn.beside.ravel().tolist()) - {pattern.cells.size}
        assert not members & beside
        assert not gone & (members | beside)
        gone |= members
    assert gone.isdisjoint(pattern.cells.core.tolist())
    assert gone | set(pattern.cells.core.tolist()) == set(range(pattern.cells.size))


@pytest.mark.parametrize("seed", range(3))
def test_every_two_columns_that_a_record_touches_have_a_cell_of_their_own(seed):
    pattern, cliques = sparse_pattern(seed)
    one, other = every_pair(cliques)
    cells = pattern.cells.find(one, other)
    padded = np.maximum(one, other) == pattern.cells.size
    assert np.all((cells == pattern.cells.count) == padded)
    assert cells.tolist() == pattern.cells.find(other, one).tolist()
    names = np.minimum(one, other) * pattern.cells.size + np.maximum(one, other)
    assert np.unique(cells[~padded]).size == np.unique(names[~padded]).size
    scale = np.append(np.random.default_rng(seed).normal(size=pattern.cells.size), 0.0)
    assert pattern.cells.outer(scale[:-1])[cells] == pytest.approx(scale[one] * scale[other])


def test_few_records_of_many_plants_leave_a_core_of_their_number():
    pattern, _ = sparse_pattern(4, sparse=400, records=40)
    assert pattern.cells.core.size <= 43
    assert pattern.cells.count < 403**2 / 20


def test_where_all_columns_touch_nothing_is_eliminated():
    assert Pattern.of(30, np.arange(30)[None], np.ones(30, dtype=bool)).rounds == ()
    assert Pattern.of(30, np.arange(30)[:, None], np.zeros(30, dtype=bool)).cells.core.tolist() == list(range(30))
