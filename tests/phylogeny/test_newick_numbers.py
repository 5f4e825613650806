from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.phylogeny.newick import _numbers as read
from crosscompat.phylogeny.text_source import NUMBER


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.from_regex(NUMBER, fullmatch=True).filter(lambda word: word.isascii()),
            st.floats(allow_nan=False, allow_infinity=False).map(repr),
            st.decimals(min_value=0, max_value=10**9, places=6).map(str),
            st.integers(0, 10**18).map(str),
        ),
        min_size=1,
        max_size=40,
    )
)
def test_numbers_are_read_to_the_last_bit(words):
    values, bad = read(words)
    assert bad == []
    assert values.tolist() == [float(word) for word in words]


@pytest.mark.parametrize("word", [".", "1..2", "", "1:2", "/", "1;", "٣", "1_0", "1 2", "infinity?"])
def test_what_is_no_number_is_named(word):
    values, bad = read(["1.5", word, "2"])
    assert bad == [1]
    assert np.array_equal(values, [1.5, np.nan, 2], equal_nan=True)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.text(alphabet="0123456789./:+e", max_size=17), min_size=1, max_size=20))
def test_digits_and_points_in_any_order_are_a_number_or_none(words):
    values, bad = read(words)
    plain = [bool(NUMBER.fullmatch(word)) for word in words]
    assert bad == [place for place, fine in enumerate(plain) if not fine]
    wanted = [float(word) if fine else np.nan for word, fine in zip(words, plain, strict=True)]
    assert np.array_equal(values, wanted, equal_nan=True)
