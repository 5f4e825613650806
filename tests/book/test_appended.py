"""Rows with a number behind each, against Python's own formatting."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book.appended import FIGURES, appended


def behind(rows, values, before=b",", after=b"\n"):
    """The text, cut at the line ends, and each row's number."""
    stop = np.cumsum([len(row) for row in rows], dtype=np.int64)
    start = stop - np.array([len(row) for row in rows], dtype=np.int64)
    content = np.frombuffer(b"".join(rows), dtype=np.uint8)
    return appended(content, start, stop, np.array(values, dtype=np.float64), before=before, after=after).tobytes()


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.binary(max_size=70).map(lambda row: row.replace(b"\n", b"")),
            st.floats(0, 200) | st.floats(allow_nan=False, allow_infinity=False) | st.integers(0, 10**13).map(float),
        ),
        max_size=25,
    )
)
def test_every_row_keeps_its_bytes_and_gets_its_number(pairs):
    rows, values = [row for row, _ in pairs], [value for _, value in pairs]
    lines = behind(rows, values).split(b"\n")
    assert lines.pop() == b""
    assert len(lines) == len(pairs)
    for line, row, value in zip(lines, rows, values, strict=True):
        assert line.startswith(row + b",")
        written = line[len(row) + 1 :].decode()
        whole = max(1, len(str(int(abs(value)))))
        unit = Decimal(10) ** (whole - FIGURES)
        assert abs(Decimal(written) - Decimal(value)) <= unit * Decimal("0.501")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0.00000000000"),
        (0.25, "0.25000000000"),
        (7.0, "7.00000000000"),
        (9.9999999999999, "10.0000000000"),
        (15.354649, "15.3546490000"),
        (99999999999.0, "99999999999.0"),
        (123456789012.0, "123456789012."),
        (-1.5, "-1.50000000000"),
    ],
)
def test_numbers_have_twelve_figures(value, text):
    assert behind([b"a,b"], [value]) == f"a,b,{text}\n".encode()


def test_what_parts_cells_and_rows_may_be_longer():
    assert behind([b"a;b", b""], [1, 2], b";", b"\r\n") == b"a;b;1.00000000000\r\n;2.00000000000\r\n"
