from __future__ import annotations

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
def test_a_chain_begins_with_the_finest(seed):
    fine = np.random.default_rng(seed).permutation(np.arange(40) % 8)
    levels = (fine % 2, fine % 4, fine, np.arange(40))
    factors = [Factor.of(str(i), level, nested=True) for i, level in enumerate(levels)]
    assert nested_chain((factors[1], Factor.of("column", fine), factors[0], factors[3], factors[2])) == (3, 4, 0, 2)


@pytest.mark.parametrize(
    "factor",
    [
        Factor.of("kin", [0, 1, 2], kinship=Kinship.of(np.eye(3)), nested=True),
        Factor.of("shared", [[0, 1], [1, 2], [2, 0]], nested=True),
        Factor.of("gap", [0, -1, 2], nested=True),
    ],
    ids=lambda factor: factor.name,
)
def test_what_is_related_shared_or_absent_cannot_be_nested(factor):
    with pytest.raises(ValueError, match=factor.name):
        nested_chain((factor,))


def test_groups_across_one_another_cannot_be_nested():
    mother, father = (Factor.of(name, levels, nested=True) for name, levels in (("m", [0, 0, 1]), ("f", [0, 1, 0])))
    with pytest.raises(ValueError, match="within"):
        nested_chain((mother, father))
