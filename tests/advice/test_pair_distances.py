"""Big tables of pairs, against the csv module."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crosscompat.advice import pair_distances
from crosscompat.advice.pair_distances import PairTable
from crosscompat.ground.errors import BadInput

CELL = st.text(st.sampled_from('abé ,;"\n\t.1'), max_size=6)
NAME = CELL.filter(str.strip)


def read(path):
    """The rows of a table with their names and numbers, and what is wrong with it."""
    faults, table = [], PairTable(path)
    rows = [(cells, *table.parents(cells), row) for block in table.blocks(faults) for row, cells in block]
    return rows, faults


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(st.tuples(CELL, NAME, NAME), max_size=12),
    separator=st.sampled_from(",;\t"),
    line_end=st.sampled_from(["\n", "\r\n"]),
    size=st.integers(1, 5),
    last=st.booleans(),
)
def test_any_table_is_read_as_the_csv_module_reads_it(rows, separator, line_end, size, last, tmp_path, monkeypatch):
    monkeypatch.setattr(pair_distances, "_BLOCK", size)
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=separator, lineterminator=line_end)
    writer.writerows([("want", "Pollen parent", "seed_parent"), *rows])
    path = tmp_path / "pairs.csv"
    path.write_text(out.getvalue() if last else out.getvalue().removesuffix(line_end), encoding="utf-8", newline="")
    found, faults = read(path)
    assert faults == []
    assert [tuple(cells) for cells, *_ in found] == rows
    assert [(seed, pollen) for _, seed, pollen, _ in found] == [(row[2].strip(), row[1].strip()) for row in rows]
    assert [number for *_, number in found] == list(range(2, len(rows) + 2))


def test_blank_rows_are_passed_over_and_odd_ones_told(tmp_path):
    path = tmp_path / "pairs.csv"
    path.write_bytes(b"\xef\xbb\xbfseed_parent,pollen_parent\r\na,b\r\n\r\n,\r\na\r\nc,d,e\r\nf,g")
    rows, faults = read(path)
    assert rows == [(["a", "b"], "a", "b", 2), (["f", "g"], "f", "g", 7)]
    assert [(fault.place.row, fault.what) for fault in faults] == [
        (5, "This row has 1 cell; the first row names 2 columns."),
        (6, "This row has 3 cells; the first row names 2 columns."),
    ]


def test_titles_may_hold_what_parts_the_cells(tmp_path):
    path = tmp_path / "pairs.csv"
    path.write_text('"a;b;c;d",seed_parent,pollen_parent\n1,x,y\n', encoding="utf-8")
    assert read(path) == ([(["1", "x", "y"], "x", "y", 2)], [])


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "file is empty"),
        (b"\n\n", "file is empty"),
        (b"seed_parent,want\na,b\n", "“pollen_parent” is missing"),
        (b"seed_parent,pollen_parent\na,\xff\n", "not UTF-8"),
    ],
)
def test_what_is_no_table_of_pairs_is_refused(content, words, tmp_path):
    path = tmp_path / "pairs.csv"
    path.write_bytes(content)
    with pytest.raises(BadInput, match=words):
        read(path)


def test_a_quotation_mark_that_is_not_closed_is_told_with_its_row(tmp_path):
    path = tmp_path / "pairs.csv"
    path.write_text('seed_parent,pollen_parent\na,b\na,"b\n', encoding="utf-8")
    rows, (fault,) = read(path)
    assert ("quotation mark" in fault.what, fault.place.row, len(rows)) == (True, 3, 1)


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(BadInput, match="no such file"):
        PairTable(tmp_path / "none.csv")
    with pytest.raises(BadInput, match="folder"):
        PairTable(tmp_path)
