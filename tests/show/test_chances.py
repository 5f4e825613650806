from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.show.chances import one_in, percent, percent_range, spoken_fraction

chance = st.floats(0, 1)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (0.0, "less than 1 in 100"),
        (0.0099, "less than 1 in 100"),
        (0.01, "about 1 in 100"),
        (0.05, "about 1 in 20"),
        (0.1, "about 1 in 10"),
        (0.2, "about 1 in 5"),
        (0.34, "about 1 in 3"),
        (0.41, "about 2 in 5"),
        (0.5, "about 1 in 2"),
        (0.6, "about 3 in 5"),
        (0.75, "about 3 in 4"),
        (0.88, "about 9 in 10"),
        (0.95, "about 19 in 20"),
        (0.99, "about 99 in 100"),
        (0.9901, "more than 99 in 100"),
        (1.0, "more than 99 in 100"),
        (None, "not known"),
        (float("nan"), "not known"),
    ],
)
def test_a_chance_is_said_as_a_simple_fraction(value, words):
    assert one_in(value) == words


@given(chance, chance)
def test_a_better_chance_is_never_said_as_a_worse_one(one, other):
    low, high = sorted((one, other))
    assert spoken_fraction(low) <= spoken_fraction(high)


@given(chance)
def test_the_fraction_said_is_the_nearest_in_odds(value):
    said = spoken_fraction(value)
    table = {spoken_fraction(step / 10_000) for step in range(10_001)}

    def ratio(share):
        odds = value / (1 - value) / (float(share) / (1 - float(share)))
        return max(odds, 1 / odds)

    if 0 < value < 1 and 1 / value < 1e300:
        assert ratio(said) <= min(map(ratio, table)) * (1 + 1e-12)
    assert said in table


@given(st.floats(0.02, 0.98))
def test_what_is_said_is_near_the_truth(value):
    numerator, denominator = map(int, re.findall(r"\d+", one_in(value)))
    said = numerator / denominator
    assert abs(said - value) < 0.06
    assert 0.65 < said / value < 1.55


def test_fractions_said_are_in_lowest_terms():
    assert spoken_fraction(0.5) == Fraction(1, 2)
    assert spoken_fraction(0.8).denominator == 5


@pytest.mark.parametrize(
    ("value", "words"),
    [(0.0, "under 1%"), (0.0099, "under 1%"), (0.01, "1%"), (0.345, "35%"), (0.99, "99%"), (0.995, "over 99%")],
)
def test_percent_never_claims_certainty(value, words):
    assert percent(value) == words


@given(chance, chance)
def test_percent_is_monotone(one, other):
    def rank(words):
        return (words.startswith("over"), not words.startswith("under"), int(re.search(r"\d+", words)[0]))

    low, high = sorted((one, other))
    assert rank(percent(low)) <= rank(percent(high))


def test_an_interval_is_said_in_words_and_in_short():
    assert percent_range(0.001, 0.0, 0.004) == percent_range(0.001, 0.0, 0.004, short=True) == "under 1%"
    assert percent_range(0.34, 0.12, 0.61) == "34%, between 12% and 61%"
    assert percent_range(0.34, 0.001, 0.61, short=True) == "34% (under 1% to 61%)"


@pytest.mark.parametrize("say_it", [one_in, percent, spoken_fraction])
@pytest.mark.parametrize("value", [-0.01, 1.01, float("inf")])
def test_no_chance_lies_outside_0_and_1(say_it, value):
    with pytest.raises(ValueError, match="between 0 and 1"):
        say_it(value)
