from __future__ import annotations

import re
from pathlib import Path

import pytest

from crosscompat.phylogeny.newick import parse_newick
from crosscompat.show.picture import TipMark
from crosscompat.show.tree_text import plain_letters, text_tree

GOLDEN = Path(__file__).parent / "golden"
FOCUS = "Echinocereus_coccineus"


def test_the_lines_join_as_the_tree_does():
    tree = parse_newick("((A:1,B:1,C:1):1,(D:1,E:1):1);")
    assert text_tree(tree, focus="D", width=38).splitlines() == [
        "┌────────┬────────╴  *  D  seed parent",
        "│        └────────╴     E",
        "│        ┌────────╴     A",
        "└────────┼────────╴     B",
        "         └────────╴     C",
    ]
    assert text_tree(tree, focus="D", width=38, unicode=False).splitlines()[1:3] == [
        "|        +---------     E",
        "|        +---------     A",
    ]


@pytest.mark.parametrize("width", [40, 90, 120, 160])
@pytest.mark.parametrize("unicode", [True, False])
def test_columns_line_up_and_keep_the_width(echinocereus, marks_on, width, unicode):
    marks = marks_on(echinocereus, FOCUS, unknown_every=9)
    lines = text_tree(echinocereus, focus=FOCUS, marks=marks, width=width, unicode=unicode).splitlines()
    assert len(lines) == 32
    assert len({line.index("Echinocereus") for line in lines}) == 1
    assert len({line.index("about") for line in lines if "about" in line}) == 1
    numbers = [re.search(r"\d+%|under|over", line) for line in lines]
    assert len({number.start() for number in numbers if number}) == 1
    if max(map(len, lines)) > width:  # names and chances are never cut, everything else has given way
        assert not set("█#(") & set("".join(lines))
        assert lines[0].index("Echinocereus") == 12 + len("  1  ")


def test_what_gives_way_first_is_the_note_then_the_range_then_the_bar():
    tree = parse_newick("(A:1,B:1);")
    marks = [TipMark("A", "Aus aus", 0.5, 0.25, 0.75, took=2, note="a note of some length"), TipMark("B", "Bus bus")]

    def line(width):
        return text_tree(tree, focus="B", marks=marks, width=width).splitlines()[0]

    for width, has in ((120, (1, 1, 1)), (80, (1, 1, 0)), (66, (1, 0, 0)), (50, (0, 0, 0)), (10, (0, 0, 0))):
        assert tuple(piece in line(width) for piece in ("█████·····", "(25% to 75%)", "a note of some length")) == has
        assert all(piece in line(width) for piece in ("Aus aus", "about 1 in 2", "50%", "2 took"))


def test_each_row_says_its_chance_past_and_place_in_words():
    tree = parse_newick("((A:1,B:1):1,(C:1,D:1):1);")
    marks = [
        TipMark("A", "Aus aus", 0.5, took=2, failed=1),
        TipMark("B", "Bus bus"),
        TipMark("C", "Cus cus", 0.1, failed=3),
        TipMark("D", "Dus dus", took=1),
    ]
    rows = {line.split("us ")[0][-1]: line for line in text_tree(tree, focus="B", marks=marks).splitlines()}
    assert rows["A"].endswith("1  Aus aus  █████·····  about 1 in 2   50%  2 took, 1 failed")
    assert rows["B"].endswith("*  Bus bus              seed parent")
    assert rows["C"].endswith("Cus cus  █·········  about 1 in 10  10%  3 failed")
    assert rows["D"].endswith("Dus dus              no forecast         1 took")


def test_without_box_lines_everything_is_ascii():
    tree = parse_newick("('Aus × büs':1,B:1);")
    text = text_tree(tree, focus="B", marks=[TipMark("Aus × büs", "Aus × büs ‘Ö…’", 0.3)], unicode=False, invented=True)
    assert text.isascii()
    assert "Aus x bus 'O...'" in text
    assert text.startswith("(outcomes are invented)\n")


def test_letters_beyond_ascii_become_question_marks():
    assert plain_letters("⊗ 仙") == "(x) ?"


def test_a_ladder_deeper_than_the_line_is_still_drawn():
    n = 3000
    tree = parse_newick("(" * n + "t0:1" + "".join(f",t{level}:1):1" for level in range(1, n + 1)) + ";")
    lines = text_tree(tree, focus="t7", width=60).splitlines()
    assert len(lines) == n + 1
    assert sum("seed parent" in line for line in lines) == 1


@pytest.mark.parametrize("unicode", [True, False])
def test_the_text_is_the_one_that_was_looked_at(echinocereus, marks_on, update_golden, unicode):
    marks = marks_on(echinocereus, FOCUS, unknown_every=9)
    text = text_tree(echinocereus, focus=FOCUS, marks=marks, width=120, unicode=unicode, invented=True)
    file = GOLDEN / f"echinocereus_{'box' if unicode else 'ascii'}.txt"
    if update_golden:
        file.write_text(text, encoding="utf-8")
    assert text == file.read_text(encoding="utf-8")
