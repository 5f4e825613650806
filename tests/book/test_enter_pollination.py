"""Which cross a visit goes to, on a book in a file and on one on a server."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crosscompat.book import records
from crosscompat.book.cross_summary import Units, cross_records, crosses_of, in_all
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.correct import take_back
from crosscompat.book.entry.enter_pollination import (
    PollinationEntry,
    pollination_records,
    write_pollination,
)
from crosscompat.book.numbers_and_names import OURS, find_cross, read_pattern
from crosscompat.ground.errors import UnknownName, WrongUse

NUMBERS = read_pattern(OURS)
MAY = date(2026, 5, 1)
F, M, N = (records.Plant(name=name) for name in ("F", "M", "N"))


def asked(*pollen, day=MAY, kind=None, seed=F, number=None, continues=None, aim=None, wanted=None, **visit):
    brought = {"pollen_kind": "one" if len(pollen) == 1 else "several"} | visit
    made = records.Pollination(cross="", date=day, **brought)
    given = tuple(
        records.Pollen(pollination=made.id, **({"name": one} if isinstance(one, str) else {"plant": one.id}))
        for one in pollen
    )
    mother = {"seed_parent": seed} if isinstance(seed, str) else {"seed_plant": seed.id}
    cross = records.Cross(kind=kind or "cross", aim=aim, wanted=wanted, number=number, **mother)
    return PollinationEntry(cross=cross, visit=made, pollen=given, continues=continues)


@pytest.fixture
def visit(book):
    """Write a visit down and return what was planned."""
    with book.writing("plants") as pen:
        pen.add(F, M, N)

    def visit(*pollen, season_start="01-01", continues=None, **more):
        with book.writing("a visit") as pen:
            named = continues and cross_records(pen, continues)
            plan = pollination_records(pen, asked(*pollen, continues=named, **more), NUMBERS, season_start)
            write_pollination(pen, plan, Bounds(date(2027, 12, 31)))
        return plan

    return visit


def test_the_same_pollen_on_the_same_plant_in_the_same_season_goes_on_with_the_cross(book, visit):
    first = visit(M, units=4)
    second = visit(M, day=date(2026, 5, 9), units=3)
    assert (first.before, second.before) == (None, first.cross)
    assert (len(second.visits), in_all(second.units)) == (2, 7)
    with book.reading() as page:
        [cross] = crosses_of(page)
    assert (cross.cross, cross.units, cross.date, cross.pollen_plant) == (first.cross.number, 7, MAY, "M")


@pytest.mark.parametrize(
    "other",
    [
        {"day": date(2027, 5, 1)},
        {"kind": "check of the pollen"},
        {"technique": "cut style"},
        {"pollen_kind": "several"},
        {"seed": N},
        {"number": "mine"},
    ],
    ids=lambda other: next(iter(other)),
)
def test_anything_else_begins_a_new_one(visit, other):
    first = visit(M)
    second = visit(M, **other)
    assert second.before is None
    assert second.cross.number != first.cross.number


def test_other_pollen_begins_a_new_one_and_the_old_one_can_still_go_on(visit):
    first, second = visit(M), visit(N)
    assert second.before is None
    assert visit(M, N).before is None
    assert visit(M, technique="plain").cross.id == first.cross.id
    assert visit(N).cross.id == second.cross.id


def test_a_season_that_runs_over_the_new_year_is_one(visit):
    first = visit(M, day=date(2026, 12, 30), season_start="07-01")
    assert visit(M, day=date(2027, 1, 3), season_start="07-01").cross.id == first.cross.id
    assert first.cross.number == NUMBERS.number(2026, 1)
    assert visit(M, day=date(2027, 7, 3), season_start="07-01").cross.number == NUMBERS.number(2027, 1)


def test_species_alone_are_enough(visit):
    first = visit("Aus bus", seed="Aus cus", units=2)
    assert (first.cross.seed_plant, first.cross.seed_parent) == (None, "Aus cus")
    assert visit("Aus  bus", seed="Aus cus").cross.id == first.cross.id
    assert visit("Aus dus", seed="Aus cus").before is None
    assert visit("Aus bus", seed="Aus dus").before is None


@pytest.mark.parametrize("ending", ["closed", "doubtful", "lost"])
def test_a_cross_that_is_over_or_doubtful_does_not_go_on(book, visit, ending):
    cross = visit(M).cross
    with book.writing(ending) as pen:
        if ending == "lost":
            pen.add(records.Loss(cross=cross.id, cause="mice"))
        else:
            pen.replace(
                replace(cross, **{"closed": {"closed_stage": "set"}, "doubtful": {"doubt": "no label"}}[ending])
            )
    assert visit(M).before is None


def test_the_same_flowers_again_add_no_unit(visit):
    visit(M, units=4)
    again = visit(M, flowers="same again", units=4)
    assert (len(again.visits), in_all(again.units)) == (2, 4)


def test_flowers_that_were_never_pollinated_cannot_be_pollinated_again(book, visit):
    with pytest.raises(WrongUse, match="none to repeat"):
        visit(M, flowers="same again")
    with book.reading() as page:
        assert len(page.current(records.Pollination)) == 0


def test_units_that_were_not_all_counted_are_not_added_up(visit):
    visit(M, units=4)
    assert in_all(visit(M).units) is None


def test_unlike_units_are_told_apart_and_nowhere_added_up(book, visit):
    visit(M, units=4)
    second = visit(M, day=date(2026, 5, 9), units=2, unit_kind="raceme")
    assert second.before is not None
    assert (second.units, in_all(second.units)) == ((Units("flower", 4), Units("raceme", 2)), None)
    with book.reading() as page:
        [cross] = crosses_of(page)
    assert (cross.units, cross.unit_kind) == (None, "flower; raceme")


def test_a_cross_that_is_named_takes_only_its_own_pollen(book, visit):
    cross = visit(M).cross
    later = visit(M, continues=cross, day=date(2027, 1, 5))
    assert later.cross.id == cross.id
    with pytest.raises(WrongUse, match="other pollen"):
        visit(N, continues=cross)
    with pytest.raises(WrongUse, match="another technique"):
        visit(M, continues=cross, technique="stump")


@pytest.mark.parametrize(
    ("there", "said"),
    [
        ("cross", "check of the pollen"),
        ("check of the seed parent", "check of the pollen"),
        ("check of the pollen", "left alone"),
        ("left alone", "check of the seed parent"),
    ],
)
def test_a_cross_that_is_named_stays_of_its_kind(book, visit, there, said):
    cross = visit(M, kind=there).cross
    with pytest.raises(WrongUse, match=f"{cross.number} is .*{there.removeprefix('cross')} and not .*{said}"):
        visit(M, kind=said, continues=cross)
    with book.reading() as page:
        assert len(page.current(records.Pollination)) == 1
    assert [len(visit(M, kind=kind, continues=cross).visits) for kind in (there, None)] == [2, 3]


def test_a_visit_that_makes_earlier_counts_impossible_is_refused(book, visit):
    """Three pods of flowers nobody had counted, and then one flower in all."""
    first = visit(M, units=4)
    visit(M, flowers="same again", day=date(2026, 5, 3))
    with book.writing("withdrawn") as pen:
        pen.add(records.Observation(cross=first.cross.id, what="pods_set", count=3, date=date(2026, 5, 20)))
        pen.replace(replace(first.visit, flowers="same again"))
    with pytest.raises(WrongUse, match=r"more pods set than units pollinated \(3 > 1\)"):
        visit(M, units=1)
    with book.reading() as page:
        assert len(page.current(records.Pollination)) == 2
    assert in_all(visit(M, units=3).units) == 3


def test_aim_and_want_are_taken_over_where_they_are_said(book, visit):
    visit(M, aim="hardy", wanted=3)
    same, changed = visit(M), visit(M, wanted=5)
    assert same.cross == same.before
    assert (changed.cross.aim, changed.cross.wanted) == ("hardy", 5)
    with book.reading() as page:
        assert page.current(records.Cross) == (changed.cross,)


def test_own_numbers_are_kept_verbatim_and_none_is_given_twice(visit):
    own = " Ida's  7 / 2026".strip()
    assert visit(M, number=own).cross.number == own
    with pytest.raises(WrongUse, match="is another cross"):
        visit(N, number=own)
    with pytest.raises(WrongUse, match="blank"):
        visit(N, number="  ")


def test_a_number_that_was_taken_back_is_not_given_again(book, visit):
    first = visit(M).cross
    with book.writing("undo") as pen:
        take_back(pen, None, Bounds(date.max))
    assert visit(M).cross.number == NUMBERS.number(2026, 2)
    assert first.number == NUMBERS.number(2026, 1)


def test_a_cross_is_found_by_number_or_identifier(book, visit):
    cross = visit(M).cross
    with book.reading() as page:
        assert find_cross(page, cross.number.lower(), NUMBERS) == find_cross(page, cross.id, NUMBERS) == cross
        with pytest.raises(UnknownName) as unknown:
            find_cross(page, "26-011", NUMBERS)
    assert unknown.value.nearest == (cross.number,)
