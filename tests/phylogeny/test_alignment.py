from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput
from crosscompat.phylogeny.neighbour_joining import Alignment, jukes_cantor, read_alignment


@pytest.fixture
def read(tmp_path):
    def read(text):
        path = tmp_path / "its.fasta"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_alignment(path)

    return read


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_letters_are_read_over_lines_whatever_their_case(read, end):
    found = read(end.join([">Aus bus  one", "AC gt", "", "u-", ">b", "ACGTNR", ">c", "??????"]) + end)
    assert found.names == ("Aus bus one", "b", "c")
    assert found.sites.tolist() == [[0, 1, 2, 3, 3, 4], [0, 1, 2, 3, 4, 4], [4] * 6]


def test_every_fault_is_told_with_its_line(read):
    text = ">a\nACGT\n>\nACGT\n>c\nAC\n>a\nACGT\n>d\n>e\nACGE\n"
    with pytest.raises(BadInput) as caught:
        read(text)
    assert [fault.place.line for fault in caught.value.faults] == [3, 5, 7, 9, 11]
    for word in (
        "name after this >",
        "“c” has 2 letters, and the first sequence has 4",
        "line 1",
        "“d” has no letters",
        "“E”",
    ):
        assert word in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not a FASTA"),
        ("(a:1,b:1);\n", "not a FASTA"),
        (">a\nACGT\n>b\nACGT\n", "2 sequences; a tree needs three"),
        (b">a\nAC\xff\n", "UTF-8"),
    ],
)
def test_what_is_no_alignment_says_so(read, text, says):
    with pytest.raises(BadInput, match=says):
        read(text)


def test_pairs_whose_distance_cannot_be_told_are_all_named():
    sites = np.array([[0, 0, 0, 0, 4], [1, 1, 1, 0, 4], [4, 4, 4, 4, 0]], dtype=np.uint8)
    with pytest.raises(BadInput) as caught:
        jukes_cantor(Alignment(("a", "b", "c"), sites))
    told = [fault.what for fault in caught.value.faults]
    assert [("“a”" in one, "“b”" in one, "“c”" in one) for one in told] == [
        (True, False, True),
        (False, True, True),
        (True, True, False),
    ]
    assert "75%" in told[2]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(st.integers(0, 4), min_size=12, max_size=12), min_size=2, max_size=5))
def test_distances_are_what_counting_sites_gives(rows):
    """Jukes & Cantor 1969."""
    alignment = Alignment(tuple(map(str, range(len(rows)))), np.array(rows, dtype=np.uint8))
    expected = np.zeros((len(rows), len(rows)))
    for i, one in enumerate(rows):
        for j, other in enumerate(rows):
            known = [(a, b) for a, b in zip(one, other, strict=True) if a < 4 and b < 4]
            share = sum(a != b for a, b in known) / len(known) if known else 1.0
            expected[i, j] = 0.0 if i == j else math.inf if share >= 0.75 else -0.75 * math.log(1 - 4 * share / 3)
    if np.isinf(expected).any():
        with pytest.raises(BadInput):
            jukes_cantor(alignment)
    else:
        assert jukes_cantor(alignment) == pytest.approx(expected, abs=1e-12)
