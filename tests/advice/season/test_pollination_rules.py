"""Every rule as a table: when it holds, and how little has to be otherwise for it not to."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from crosscompat.advice.season.mating import DEAD_POLLEN, DEAD_SEED, FEMALE_POLLEN, MALE_SEED, ONE_CLONE
from crosscompat.advice.season.pollination_rules import (
    ANOTHER_SEASON,
    ASKED_ONLY,
    CROSS_LOST,
    CROSS_OVER,
    LATER_POLLEN,
    Visit,
    VisitParent,
    contradicted,
    obstacles,
    risks,
    shedding,
)
from crosscompat.book.cross_summary import CrossRecords
from crosscompat.book.current_plants import Plant, Window
from crosscompat.book.records import Cross, Loss, PollenLot, Pollination

DAY = date(2026, 5, 10)
BEFORE, AFTER = date(2026, 5, 9), date(2026, 5, 11)


def side(name="F", *, clone=None, sex=None, died=None, **more):
    return VisitParent(name, "Aus bus", Plant(name, "Aus bus", clone or name, sex, died=died), **more)


SPECIES = VisitParent("Aus cus", "Aus cus")


def visit(seed=None, *pollen, kind="one", isolation=None, stamens_removed=None, **more):
    made = Pollination(cross="", date=DAY, pollen_kind=kind, isolation=isolation, stamens_removed=stamens_removed)
    return Visit(made=made, seed=seed or side(), pollen=pollen or ((side("M"),) if kind == "one" else ()), **more)


def lot(**more):
    return PollenLot(name="L", **more)


@pytest.mark.parametrize(
    ("asked", "kinds"),
    [
        (visit(), []),
        (visit(VisitParent("Aus bus", "Aus bus"), SPECIES), []),
        # a male as seed parent
        (visit(side(sex="male")), [MALE_SEED]),
        (visit(side(sex="male"), kind="open"), [MALE_SEED]),
        (visit(side(sex="male"), kind="none"), [MALE_SEED]),
        (visit(side(sex="male that sometimes fruits")), []),
        (visit(side(sex="both")), []),
        (visit(side(sex="unknown")), []),
        (visit(side(sex="female")), []),
        # a female as pollen parent
        (visit(side(), side("M", sex="female")), [FEMALE_POLLEN]),
        (visit(side(), side("M", sex="female"), SPECIES, kind="several"), [FEMALE_POLLEN]),
        (visit(side(sex="female"), side(sex="female"), kind="self"), [FEMALE_POLLEN]),
        (visit(side(), side("M", sex="male")), []),
        (visit(side(), side("M", sex="unknown")), []),
        # selfing within a clone by mistake
        (visit(side("A1", clone="A"), side("A2", clone="A")), [ONE_CLONE]),
        (visit(side("A1", clone="A"), side("A1", clone="A")), [ONE_CLONE]),
        (visit(side("A1", clone="A"), side("B"), side("A2", clone="A"), kind="several"), [ONE_CLONE]),
        (visit(side("A1", clone="A"), side("A1", clone="A"), kind="self"), []),
        (visit(side("A1", clone="A"), side("B")), []),
        # the dead
        (visit(side(died=BEFORE)), [DEAD_SEED]),
        (visit(side(died=DAY)), []),
        (visit(side(died=AFTER)), []),
        (visit(side(), side("M", died=BEFORE)), [DEAD_POLLEN]),
        (visit(side(), side("M", died=DAY)), []),
        (visit(side(died=BEFORE), side(died=BEFORE), kind="self"), [DEAD_SEED]),
        (visit(side(), side("M", died=BEFORE), lot=lot(collected=date(2026, 5, 1))), []),
        (visit(side(), side("M", died=BEFORE), lot=lot()), []),
        (visit(side(), side("M", died=BEFORE), lot=lot(collected=DAY)), [DEAD_POLLEN]),
        # pollen that was not there yet
        (visit(lot=lot(collected=AFTER)), [LATER_POLLEN]),
        (visit(lot=lot(collected=DAY)), []),
        (visit(lot=lot()), []),
        # more than one at once, the seed parent first
        (visit(side(sex="male", died=BEFORE), side("M", sex="female", died=BEFORE)),
         [MALE_SEED, DEAD_SEED, FEMALE_POLLEN, DEAD_POLLEN]),
    ],
)  # fmt: skip
def test_what_cannot_be(asked, kinds):
    found = obstacles(asked)
    assert [one.kind for one in found] == kinds
    assert all(one.says.endswith(".") for one in found)


def named(first=None, over=None, lost=(), number="26-01"):
    """A cross as the book has it, with a visit on some day."""
    cross = Cross(number=number, closed_stage=over)
    visits = (Pollination(cross=cross.id, date=first),) if first else ()
    losses = tuple(Loss(cross=cross.id, cause=cause, sowing=tray) for cause, tray in lost)
    return CrossRecords(cross, visits=visits, losses=losses)


@pytest.mark.parametrize(
    ("cross", "kinds", "says"),
    [
        (named(DAY), [], []),
        (named(), [], []),
        (named(date(2025, 5, 10)), [ANOTHER_SEASON], ["made in 2025, and this visit is of 2026"]),
        (named(date(2027, 1, 1)), [ANOTHER_SEASON], ["made in 2027, and this visit is of 2026"]),
        (named(DAY, over="set"), [CROSS_OVER], ["over (set)"]),
        (named(DAY, lost=[("mice", None)]), [CROSS_LOST], ["was lost to mice"]),
        (named(DAY, lost=[("mice", "a tray")]), [], []),
        (named(date(2025, 5, 10), "hold", [("mice", None), ("frost", None)]), [ANOTHER_SEASON, CROSS_OVER, CROSS_LOST],
         ["made in 2025", "over (hold)", "lost to frost"]),
    ],
)  # fmt: skip
def test_a_cross_that_takes_no_more_flowers_by_itself_is_asked_about(cross, kinds, says):
    found = obstacles(visit(side(sex="male"), named=cross))
    assert [one.kind for one in found] == [MALE_SEED, *kinds]
    assert set(kinds) <= set(ASKED_ONLY)
    for one, part in zip(found[1:], says, strict=True):
        assert "26-01" in one.says
        assert part in one.says


@pytest.mark.parametrize(
    ("first", "day", "start", "other"),
    [
        (date(2026, 12, 30), date(2027, 1, 2), "07-01", False),
        (date(2026, 12, 30), date(2027, 7, 6), "07-01", True),
        (date(2026, 12, 30), date(2027, 1, 2), "01-01", True),
    ],
)
def test_a_season_that_runs_over_the_new_year_is_one(first, day, start, other):
    asked = visit(named=named(first), season_start=start)
    found = obstacles(replace(asked, made=replace(asked.made, date=day)))
    assert [one.kind for one in found] == [ANOTHER_SEASON] * other


MAY = Window("05-01", "05-20", 3)
MARCH = Window("03-01", "03-20", 3)
BOTH = side("B", sex="both")


def kinds(asked):
    return [one.kind for one in risks(asked)]


@pytest.mark.parametrize(
    ("other", "isolation", "expected"),
    [
        (BOTH, None, ["isolation"]),
        (BOTH, "none", ["isolation"]),
        (BOTH, "bag", []),
        (BOTH, "cap", []),
        (BOTH, "tied shut", []),
        (BOTH, "insect-free house", []),
        (side("B", sex="male"), None, ["isolation"]),
        (side("B", sex="male that sometimes fruits"), None, ["isolation"]),
        (side("B", sex="female"), None, []),
        (side("B"), None, []),
        (side("B", sex="unknown"), None, []),
        (side("B", sex="male", died=BEFORE), None, []),
        (side("B", sex="male", clone="F"), None, []),
        (side("B", sex="male", clone="M"), None, []),
        (replace(BOTH, place="house 1"), None, ["isolation"]),
        (replace(BOTH, place="house 2"), None, []),
        (replace(BOTH, window=MAY), None, ["isolation"]),
        (replace(BOTH, window=MARCH), None, []),
        (replace(BOTH, window=replace(MARCH, days=2)), None, ["isolation"]),
    ],
)
def test_no_bag_beside_a_male_of_its_own_kind(other, isolation, expected):
    asked = visit(side(place="house 1"), isolation=isolation, near=(other,))
    assert kinds(asked) == expected
    assert kinds(replace(asked, made=replace(asked.made, pollen_kind="open"))) == []
    assert [one.name for one in shedding(asked)] == (["B"] if expected or isolation not in {None, "none"} else [])


def test_flowers_left_alone_want_a_bag_beside_anything():
    assert kinds(visit(kind="none")) == ["isolation"]
    assert kinds(visit(kind="none", isolation="bag")) == []


@pytest.mark.parametrize(
    ("selfs", "sex", "removed", "says"),
    [
        (True, None, None, "no note that its stamens were removed"),
        (True, "both", False, "were left in"),
        (True, "both", True, None),
        (True, "female", False, None),
        (False, "both", False, None),
        (None, "both", False, None),
    ],
)
def test_stamens_left_in_on_a_self_fertile_mother(selfs, sex, removed, says):
    mother = side(sex=sex, self_fertile=selfs)
    told = [one.says for one in risks(visit(mother, stamens_removed=removed))]
    assert len(told) == (says is not None)
    assert says is None or says in told[0]
    for kind in ("open", "none", "self"):
        asked = visit(mother, kind=kind, isolation="bag", stamens_removed=removed)
        assert "stamens" not in kinds(asked)


@pytest.mark.parametrize(("selfs", "expected"), [(False, ["selfing"]), (True, []), (None, [])])
def test_selfing_a_plant_that_is_not_self_fertile(selfs, expected):
    mother = side(self_fertile=selfs)
    assert kinds(visit(mother, mother, kind="self")) == expected


@pytest.mark.parametrize(
    ("window", "expected"),
    [
        (None, []),
        (MAY, []),
        (MARCH, ["window"]),
        (replace(MARCH, days=2), []),
        (Window("04-01", "04-26", 3), []),
        (Window("04-01", "04-25", 3), ["window"]),
        (Window("05-24", "06-30", 3), []),
        (Window("05-25", "06-30", 3), ["window"]),
    ],
)
def test_a_day_on_which_a_parent_is_not_seen_open(window, expected):
    assert kinds(visit(side(window=window))) == expected
    assert kinds(visit(side(), side("M", window=window))) == expected
    assert kinds(visit(side(), side("M", window=window), lot=lot(collected=DAY))) == []


@pytest.mark.parametrize(
    ("kept", "collected", "tested", "says"),
    [
        (None, None, None, "no test"),
        (None, DAY, None, None),
        (None, date(2026, 5, 7), None, None),
        (None, date(2026, 5, 6), None, "was 4 days old and"),
        ("fridge, with silica gel", date(2026, 4, 10), None, None),
        ("Refrigerator", date(2026, 4, 9), None, "was 31 days old (kept: Refrigerator) and"),
        ("freezer", date(2025, 8, 13), None, None),
        ("freezer", date(2025, 8, 12), None, "was 271 days old"),
        ("freezer", date(2024, 5, 9), date(2026, 5, 1), None),
        ("a drawer", date(2024, 5, 9), date(2026, 5, 1), "last tested 9 days before"),
        ("a drawer", None, date(2026, 5, 9), None),
        ("a drawer", date(2024, 5, 9), AFTER, "was 731 days old"),
    ],
)
def test_an_old_lot_of_pollen(kept, collected, tested, says):
    told = [one.says for one in risks(visit(lot=lot(kept=kept, collected=collected, tested=tested)))]
    assert len(told) == (says is not None)
    assert says is None or says in told[0]


def test_each_is_told_once():
    mother = side(self_fertile=True, window=MARCH)
    asked = visit(mother, side("M"), side("M"), kind="several", near=(BOTH, BOTH))
    found = risks(asked)
    assert len(found) == len(set(found)) == 3


@pytest.mark.parametrize(
    ("sex", "marks", "found"),
    [
        ("male", [MALE_SEED], MALE_SEED),
        ("female", [DEAD_SEED, FEMALE_POLLEN], FEMALE_POLLEN),
        ("both", [MALE_SEED, FEMALE_POLLEN], None),
        (None, [MALE_SEED], None),
        ("male", [ONE_CLONE], None),
    ],
)
def test_a_visit_that_cannot_be_queries_the_finding_it_contradicts(sex, marks, found):
    assert contradicted(sex, marks) == found
