from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.model.effects import Factor, Kinship, nested_chain


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
def test_each_of_a_chain_lies_within_the_next(seed):
    rng = np.random.default_rng(seed)
    fine = rng.integers(0, 8, 30)
    levels = (fine % 2, rng.integers(0, 3, 30), fine % 4, fine, np.arange(30))
    chain = nested_chain(tuple(Factor.of(str(i), level) for i, level in enumerate(levels)))
    assert chain[0] == 4  # records are the finest
    for inner, outer in pairwise(chain):
        for group in np.unique(levels[inner]):
            assert np.unique(levels[outer][levels[inner] == group]).size == 1


@pytest.mark.parametrize(
    "factor",
    [
        Factor.of("kin", [0, 1, 2], kinship=Kinship.of(np.eye(3))),
        Factor.of("shared", [[0, 1], [1, 2], [2, 0]]),
        Factor.of("gap", [0, -1, 2]),
        Factor.of("kept", [0, 1, 2], place="column"),
    ],
    ids=lambda factor: factor.name,
)
def test_what_is_related_shared_absent_or_kept_is_never_eliminated(factor):
    assert nested_chain((factor,)) == ()
    assert nested_chain((Factor.of("plain", [0, 1, 2]),)) == (0,)
