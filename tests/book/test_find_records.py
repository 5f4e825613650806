from __future__ import annotations

from crosscompat.book.find_records import nearest_names


def test_names_that_differ_by_a_blank_alone_are_both_shown():
    assert nearest_names("fen 1", ["FEN 1", "FEN-1", "TRI-9"]) == ["FEN 1", "FEN-1"]


def test_case_blanks_and_dashes_are_left_out_and_three_are_named():
    assert nearest_names("coc f9", ["COC-F1", "COC-F2", "TRI-1"]) == ["COC-F2", "COC-F1"]
    assert len(nearest_names("coc f9", [f"COC-F{i}" for i in range(9)])) == 3
