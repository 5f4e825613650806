from __future__ import annotations

from datetime import date

import hypothesis.strategies as st
import pytest
from hypothesis import given

from crosscompat.book.cross_summary import Units, in_all, in_words, kinds_of, total, units_of_visits, units_told
from crosscompat.book.records import FLOWERS, Pollination

KINDS = st.sampled_from([None, "flower", "Flowers", " flower ", "raceme", "RACEMES", "cyathia", "head"])
VISITS = st.lists(
    st.builds(
        Pollination, cross=st.just("c"), date=st.just(date(2026, 5, 1)), units=st.none() | st.integers(1, 9),
        unit_kind=KINDS, flowers=st.sampled_from(FLOWERS),
    )
)  # fmt: skip


def visit(units=None, kind=None, **more):
    return Pollination(cross="c", date=date(2026, 5, 1), units=units, unit_kind=kind, **more)


@given(VISITS)
def test_every_new_unit_is_counted_once_under_its_own_kind(visits):
    new = [one for one in visits if one.flowers == "new"]
    found = {one.kind: one.count for one in units_of_visits(visits)}
    assert found.keys() == {units_told(one.unit_kind, None).kind for one in new}
    for kind, count in found.items():
        alike = [one.units for one in new if units_told(one.unit_kind, None).kind == kind]
        assert count == (None if None in alike else sum(alike))


@given(VISITS)
def test_there_is_one_count_only_of_one_kind_wholly_counted(visits):
    units = units_of_visits(visits)
    counted = bool(units) and None not in {one.count for one in units}
    assert (in_all(units) is not None) == (counted and len(units) == 1)
    assert (in_words(units) != "") == counted


@pytest.mark.parametrize("order", [1, -1])
def test_a_visit_that_does_not_say_counted_flowers(order):
    visits = [visit(3), visit(2, "flower"), visit(1, "Flowers")][::order]
    assert units_of_visits(visits) == (Units("flower", 6),)


def test_words_of_the_growers_own_are_kept_as_first_written():
    assert units_of_visits([visit(1, "Head"), visit(2, "head")]) == (Units("Head", 3),)
    assert units_told("Umbel", 2).words == "Umbel: 2"


def test_the_same_flowers_again_are_of_no_kind():
    visits = [visit(3), visit(2, "raceme", flowers="same again")]
    assert units_of_visits(visits) == (Units("flower", 3),)
    assert in_all(units_of_visits(visits)) == 3
    assert kinds_of([visit(3, "raceme"), visit(2, "head", flowers="same again")]) == "raceme"


def test_no_sum_is_told_where_a_part_is_unknown():
    assert total([0, 0]) == 0
    assert total([None]) is None
    assert total(iter(())) is None
    assert in_words([Units("flower", 1), Units("raceme", 2)]) == "1 flower and 2 racemes"
    assert in_words([]) == ""
