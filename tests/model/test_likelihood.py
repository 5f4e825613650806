from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.model.likelihood import Counts, derivatives, log_likelihood

logits = st.floats(-12, 12)
units = st.integers(1, 60)


def chance(eta):
    return 1 / (1 + np.exp(-eta))


def score(eta, counts):
    return derivatives(eta, counts)[0]


def curvature(eta, counts):
    return derivatives(eta, counts)[1]


@given(logits, units, st.data())
def test_k_of_n_is_the_binomial_without_its_coefficient(eta, n, data):
    k = data.draw(st.integers(0, n))
    p = chance(eta)
    expected = k * np.log(p) + (n - k) * np.log1p(-p)
    assert log_likelihood(np.array([eta]), Counts.of([n], [k])) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(logits, units)
def test_some_of_n_is_one_less_none_of_n(eta, n):
    some = np.exp(log_likelihood(np.array([eta]), Counts.of([n], [n], some=[True])))
    none = np.exp(log_likelihood(np.array([eta]), Counts.of([n], [0])))
    assert some + none == pytest.approx(1.0, abs=1e-12)


@given(logits, units, st.booleans(), st.floats(0.1, 3), st.data())
def test_slopes_are_the_derivatives(eta, n, some, weight, data):
    counts = Counts.of([n], [data.draw(st.integers(0, n))], some=[some], weight=[weight])
    step = 1e-5
    ahead, behind = np.array([eta + step]), np.array([eta - step])
    rise = (log_likelihood(ahead, counts) - log_likelihood(behind, counts)) / (2 * step)
    bend = (score(behind, counts) - score(ahead, counts)) / (2 * step)
    assert score(np.array([eta]), counts)[0] == pytest.approx(rise, rel=1e-5, abs=2e-6)
    assert curvature(np.array([eta]), counts) == pytest.approx(bend, rel=1e-4, abs=1e-6)


@given(logits, units)
def test_curvature_is_never_negative(eta, n):
    assert curvature(np.array([eta]), Counts.of([n], [n], some=[True]))[0] >= 0


@pytest.mark.parametrize("eta", [-800.0, 800.0])
def test_far_logits_stay_finite(eta):
    counts = Counts.of([5, 5], [0, 5], some=[False, True])
    assert np.isfinite(score(np.full(2, eta), counts)).all()
    assert np.isfinite(curvature(np.full(2, eta), counts)).all()
