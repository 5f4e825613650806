"""Eight digits in a word, against Python's own reading of the same bytes."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.phylogeny.digits import eight_digits


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.binary(min_size=8, max_size=8) | st.text("0123456789./:", min_size=8, max_size=8).map(str.encode),
            st.integers(-3, 11),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_a_word_is_read_as_its_last_bytes(pairs):
    words = np.frombuffer(b"".join(word for word, _ in pairs), dtype="<u8")
    eight = eight_digits(words, np.array([size for _, size in pairs]))
    for place, (word, size) in enumerate(pairs):
        text = word[8 - min(max(size, 0), 8) :]
        digits = text.replace(b".", b"", 1)
        fine = not digits or (digits.isdigit() and digits.isascii())
        assert eight.fine[place] == fine
        if fine:
            assert eight.value[place] == int(digits or b"0")
            assert eight.point[place] == (b"." in text)
            assert eight.after[place] == (len(text) - 1 - text.index(b".") if b"." in text else -1)
