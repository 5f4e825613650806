from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.advice.verdict import SURE_WORDS, VERDICTS, how_sure, verdict, verdict_words


@pytest.mark.parametrize(
    ("chance", "low", "high", "word"),
    [
        (1.0, 0.9, 1.0, "very_likely"),
        (0.8, 0.5, 0.9, "very_likely"),
        (0.7999, 0.5, 0.9, "likely"),
        (0.6, 0.3, 0.7, "likely"),
        (0.5999, 0.3, 0.7, "even"),
        (0.4, 0.3, 0.7, "even"),
        (0.3999, 0.3, 0.7, "possible"),
        (0.2, 0.1, 0.5, "possible"),
        (0.1999, 0.1, 0.4, "long_shot"),
        (0.05, 0.0, 0.3, "long_shot"),
        (0.0499, 0.0, 0.3, "very_unlikely"),
        (0.0, 0.0, 0.0, "very_unlikely"),
        (0.5, 0.0, 1.0, "even"),  # something is known of a parent
        (0.9, 0.0, 1.0, "very_likely"),
    ],
)
def test_the_table(chance, low, high, word):
    assert verdict(chance, low, high) == word


@pytest.mark.parametrize(
    ("chance", "low", "high", "word"),
    [
        (0.5, 0.02, 0.97, "cannot_tell"),
        (0.5, 0.05, 0.95, "even"),  # nine tenths are not more than nine tenths
        (0.3, 0.01, 0.97, "possible"),  # a lean is said however unsure
        (0.7, 0.01, 0.97, "likely"),
    ],
)
def test_only_a_coin_of_which_nothing_is_known_cannot_be_told(chance, low, high, word):
    assert verdict(chance, low, high, known=False) == word


@given(st.floats(0, 1), st.floats(0, 1), st.booleans())
def test_every_chance_has_one_verdict_and_more_is_never_worse(chance, other, known):
    order = ["very_unlikely", "long_shot", "possible", "even", "likely", "very_likely"]
    worse, better = sorted((chance, other))
    assert order.index(verdict(worse, 0.2, 0.7)) <= order.index(verdict(better, 0.2, 0.7))
    assert verdict(chance, 0.0, 1.0, known=known) in VERDICTS


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_a_narrower_interval_is_never_less_sure(low, high, within):
    low, high = sorted((low, high))
    half = within * (high - low) / 2
    order = [*SURE_WORDS]
    assert order.index(how_sure(low + half, high - half)) <= order.index(how_sure(low, high))


def test_every_verdict_has_words_of_its_own():
    assert len({verdict_words(word) for word in VERDICTS}) == len(VERDICTS) == 7
