from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.book.numbers_and_names import (
    LETTERS,
    OURS,
    check_letter,
    find_number,
    nearest_names,
    next_number,
    pattern_fault,
    read_pattern,
    seedling_name,
)
from crosscompat.ground.errors import UnknownName

NUMBER = read_pattern(OURS)
PATTERNS = (
    OURS,
    "{year}-{n:03}",
    "{yy}{n}",
    "{n}{yy}",
    "X{n:04}",
    "{yy}.{n:02}{check}",
    "{n}-{check}",
    "Ida {year} {n}",
)


@pytest.fixture(scope="module")
def letters():
    """The check letter of every number of five digits: two of the year, three of the running number."""
    return np.array([LETTERS.index(check_letter(f"{n:05d}")) for n in range(100_000)])


@pytest.mark.parametrize("place", range(5))
def test_every_single_wrong_digit_changes_the_letter(letters, place):
    n, weight = np.arange(100_000), 10**place
    digit = n // weight % 10
    for wrong in range(10):
        other = n + (wrong - digit) * weight
        assert ((letters[other] != letters) | (digit == wrong)).all()


@pytest.mark.parametrize(("place", "apart"), [(0, 1), (1, 1), (2, 1), (3, 1), (0, 2), (1, 2), (2, 2)])
def test_every_swap_of_two_neighbours_changes_the_letter_and_of_two_across_one(letters, place, apart):
    n, low, high = np.arange(100_000), 10**place, 10 ** (place + apart)
    a, b = n // low % 10, n // high % 10
    swapped = n + (b - a) * low + (a - b) * high
    assert ((letters[swapped] != letters) | (a == b)).all()


@pytest.mark.parametrize(
    ("digits", "check"),
    [("000000021825009", 7), ("000000015109370", 0), ("000000021694233", 10)],
)
def test_check_values_are_those_of_published_identifiers(digits, check):
    """Three identifiers in ORCID's documentation (from memory); their last sign, X for 10, is ISO 7064 MOD 11-2."""
    assert LETTERS.index(check_letter(digits)) == check


@given(st.text("0123456789", min_size=1, max_size=12))
def test_the_check_value_is_the_weighed_sum_of_the_standard(digits):
    total = sum(int(digit) * 2**weight for weight, digit in enumerate(reversed(digits), start=1))
    assert (total + LETTERS.index(check_letter(digits))) % 11 == 1


def test_no_letter_is_easily_misread():
    assert set(LETTERS).isdisjoint("IOSBZLQDGNV")
    assert len(set(LETTERS)) == len(LETTERS) == 11


@pytest.mark.parametrize("text", PATTERNS)
def test_these_patterns_are_sound(text):
    assert pattern_fault(text) is None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{year}", "two crosses would have the same number"),
        ("Ida", "two crosses would have the same number"),
        ("{n}{n}", "once only"),
        ("{n", "brackets"),
        ("n}", "brackets"),
        ("{month}-{n}", "{month} is no placeholder"),
        ("{}{n}", "{} is no placeholder"),
        ("{n!r}", "{n} is no placeholder"),
        ("{n:x}", "no width"),
        ("{n:00}", "no width"),
        ("{year:03}{n}", "no width"),
        ("{check}{n}", "after the other"),
        ("{yy}/{n}", "seedlings"),
        (" {n}", "blanks"),
        ("{n}\n-", "do not print"),
    ],
)
def test_a_pattern_that_cannot_be_is_refused_and_says_why(text, says):
    assert says in pattern_fault(text)


@settings(max_examples=200)
@given(st.sampled_from(PATTERNS), st.tuples(*[st.tuples(st.integers(2000, 2099), st.integers(1, 12_000))] * 2))
def test_no_two_crosses_share_a_number_and_each_is_read_back(text, both):
    pattern = read_pattern(text)
    (season, n), other = both
    number = pattern.number(season, n)
    assert pattern.running(number, season) == n
    same = (season, n) == other if "{y" in text else n == other[1]
    assert (pattern.number(*other) == number) == same


@given(st.sampled_from(PATTERNS), st.integers(2000, 2099), st.lists(st.integers(1, 3000), max_size=20))
def test_the_next_number_is_a_new_one_after_the_highest(text, season, running):
    pattern = read_pattern(text)
    written = [pattern.number(season, n) for n in running]
    new = next_number(pattern, season, [*written, "old 99"])
    assert new not in written
    assert pattern.running(new, season) == max(running, default=0) + 1


@given(st.sampled_from(PATTERNS), st.text(max_size=12), st.integers(2000, 2099))
def test_any_text_is_a_number_of_a_pattern_only_if_the_pattern_writes_it(text, number, season):
    n = read_pattern(text).running(number, season)
    assert n is None or read_pattern(text).number(season, n) == number


@given(st.text(max_size=20))
def test_a_pattern_is_refused_or_works(text):
    if pattern_fault(text) is None:
        pattern = read_pattern(text)
        assert pattern.running(pattern.number(2026, 7), 2026) == 7


def test_a_number_without_its_letter_has_no_wrong_one():
    with pytest.raises(UnknownName, match="There is no cross with the number “26-12”") as unknown:
        find_number("26-12", ["26-017Y"], NUMBER)
    assert "letter" not in str(unknown.value)


def test_a_wrong_letter_is_told_from_an_unknown_number_and_the_near_ones_are_named():
    known = ["26-017Y", "26-071X", "26-018U", "old 7"]
    assert find_number("26-017y ", known, NUMBER) == "26-017Y"
    with pytest.raises(UnknownName, match="check letter does not fit") as swapped:
        find_number("26-017X", known, NUMBER)
    assert set(swapped.value.nearest) == {"26-017Y", "26-071X", "26-018U"}
    right = f"26-019{check_letter('26019')}"
    with pytest.raises(UnknownName, match=f"^There is no cross with the number “{right}”\\. The nearest"):
        find_number(right, ["26-017Y"], NUMBER)


def test_old_numbers_are_found_verbatim_and_one_that_only_differs_in_case_is_never_guessed():
    assert find_number("old 7", ["old 7", "OLD 7"], NUMBER) == "old 7"
    with pytest.raises(UnknownName):
        find_number("Old 7", ["old 7", "OLD 7"], NUMBER)


@pytest.mark.parametrize(
    ("taken", "name"),
    [([], "26-01/1"), (["26-01/1", "26-01/x", "26-01", "26-011/7"], "26-01/2"), (["26-01/9"], "26-01/10")],
)
def test_a_seedling_has_a_suffix_of_its_own(taken, name):
    assert seedling_name("26-01", taken) == name


def test_names_that_differ_by_a_blank_alone_are_both_shown():
    assert nearest_names("fen 1", ["FEN 1", "FEN-1", "TRI-9"]) == ["FEN 1", "FEN-1"]


def test_case_blanks_and_dashes_are_left_out_and_three_are_named():
    assert nearest_names("coc f9", ["COC-F1", "COC-F2", "TRI-1"]) == ["COC-F2", "COC-F1"]
    assert len(nearest_names("coc f9", [f"COC-F{i}" for i in range(9)])) == 3
