from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.advice.verdict import VERDICTS, verdict, verdict_words


@pytest.mark.parametrize(
    ("chance", "low", "high", "word"),
    [
        (1.0, 0.9, 1.0, "very_likely"),
        (0.8, 0.5, 0.9, "very_likely"),
        (0.7999, 0.5, 0.9, "likely"),
        (0.5, 0.3, 0.7, "likely"),
        (0.4999, 0.3, 0.7, "possible"),
        (0.2, 0.1, 0.5, "possible"),
        (0.1999, 0.1, 0.4, "long_shot"),
        (0.05, 0.0, 0.3, "long_shot"),
        (0.0499, 0.0, 0.3, "very_unlikely"),
        (0.0, 0.0, 0.0, "very_unlikely"),
        (0.35, 0.1999, 0.5001, "cannot_tell"),
        (0.35, 0.2, 0.9, "possible"),  # reaching 0.2 is not reaching below it
        (0.35, 0.1, 0.5, "possible"),
        (0.9, 0.1, 1.0, "cannot_tell"),
    ],
)
def test_the_table(chance, low, high, word):
    assert verdict(chance, low, high) == word


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1))
def test_every_chance_has_one_verdict_and_more_is_never_worse(chance, other, high):
    order = ["very_unlikely", "long_shot", "possible", "likely", "very_likely"]
    low = 0.3  # sure enough to be told
    worse, better = sorted((chance, other))
    assert order.index(verdict(worse, low, high)) <= order.index(verdict(better, low, high))
    assert verdict(chance, 0.1, high) in VERDICTS


def test_every_verdict_has_words_of_its_own():
    assert len({verdict_words(word) for word in VERDICTS}) == len(VERDICTS) == 6
