from __future__ import annotations

from crosscompat.show.picture import TipMark, likeliest, mark_in_words, past_in_words, worth_drawing

MARKS = [
    TipMark("a", "Aus aus", 0.3, 0.1, 0.5, took=1),
    TipMark("b", "Bus bus", 0.9, 0.8, 0.95),
    TipMark("c", "Cus cus", None, failed=2),
    TipMark("d", "Dus dus", 0.3),
    TipMark("e", "Eus eus", 0.0),
]


def test_the_likeliest_come_first_and_equal_ones_by_name():
    assert [mark.label for mark in likeliest(reversed(MARKS), "x")] == ["b", "a", "d", "e"]


def test_the_species_asked_about_is_no_partner_of_its_own():
    assert [mark.label for mark in likeliest(MARKS, "b")] == ["a", "d", "e"]


def test_a_tree_that_fits_is_drawn_whole():
    assert worth_drawing("abcde", "a", MARKS, most=5) is None


def test_what_was_tried_is_drawn_before_what_is_merely_likely():
    assert worth_drawing("abcdefgh", "d", MARKS, most=3) == {"d", "a", "c"}
    assert worth_drawing("abcdefgh", "d", MARKS, most=4) == {"d", "a", "c", "b"}
    assert worth_drawing("abcdefgh", "h", [], most=4) == {"h"}


def test_a_mark_is_said_in_one_line():
    assert mark_in_words(MARKS[0]) == "Aus aus: about 1 in 3, 30%, between 10% and 50%; 1 took"
    assert mark_in_words(MARKS[2]) == "Cus cus; 2 failed"
    assert mark_in_words(MARKS[3]) == "Dus dus: about 1 in 3, 30%"


def test_what_never_happened_is_not_said():
    assert past_in_words(MARKS[1]) == ()
