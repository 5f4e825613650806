from __future__ import annotations

from datetime import date

import pytest

from crosscompat.book.cross_summary import CrossRecords, totals
from crosscompat.book.entry import impossibilities
from crosscompat.book.records import Cross, Emergence, Loss, Observation, Pollination, Proof, SeedLot, Sowing

MADE, LATER, TODAY = date(2026, 5, 1), date(2026, 8, 1), date(2026, 11, 1)
CROSS = Cross(id="c", number="26-01")


def visit(**more):
    return Pollination(**({"cross": "c", "date": MADE, "units": 4} | more))


def pods(what, count, day=LATER):
    return Observation(cross="c", what=what, count=count, date=day)


def lot(**more):
    return SeedLot(**({"id": "l", "cross": "c", "name": "A", "date": LATER} | more))


def tray(**more):
    return Sowing(**({"id": "t", "cross": "c", "place": "T1", "date": LATER} | more))


def look(day=LATER, **more):
    return Emergence(sowing="t", date=day, **more)


def told(visits=None, **parts):
    visits = [visit()] if visits is None else visits
    return impossibilities(
        CrossRecords(CROSS, tuple(visits), **{key: tuple(part) for key, part in parts.items()}), TODAY, 30
    )


def test_unlike_units_are_no_limit_to_pods():
    flowers, racemes = visit(units=3), visit(units=2, unit_kind="raceme")
    five = {"counts": [pods("pods_set", 5), pods("pods_dropped", 4)]}
    assert told([flowers, racemes], **five) == []
    assert "(5 > 3)" in told([flowers], **five)[0]
    assert totals(CrossRecords(CROSS, (flowers, racemes)))["units"] is None
    assert totals(CrossRecords(CROSS, (flowers, visit(units=2, unit_kind="flowers"))))["units"] == 5


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ({"counts": [pods("pods_set", 5)]}, "more pods set than units pollinated (5 > 4)"),
        ({"counts": [pods("pods_set", 2), pods("pods_held", 3)]}, "pods held to ripeness than pods set (3 > 2)"),
        ({"counts": [pods("pods_set", 2)], "lots": [lot(pods=3)]}, "pods held to ripeness than pods set (3 > 2)"),
        ({"counts": [pods("pods_set", 0)], "lots": [lot(seeds=9)]}, "seeds is 9 but"),
        ({"counts": [pods("pods_set", 3), pods("pods_dropped", 2), pods("pods_dropped", 2)]}, "4 pods dropped"),
        ({"counts": [pods("pods_set", 3), pods("pods_dropped", 2), pods("pods_held", 2)]}, "2 pods dropped and 2 ripe"),
        ({"counts": [pods("pods_dropped", 5)]}, "units pollinated (4)"),
        ({"lots": [lot(seeds=10, filled=11)]}, "A has more filled seeds"),
        ({"lots": [lot(seeds=10, left=11)]}, "more seed left than it held (11 > 10)"),
        ({"lots": [lot(filled=5, left=6)]}, "more seed left than it held (6 > 5)"),
        ({"lots": [lot(pods=1, seeds=31)]}, "more than one pod can hold (30)"),
        ({"lots": [lot(seeds=10)], "trays": [tray(lot="l", seeds=6), tray(id="u", lot="l", seeds=5)]}, "(11 > 10)"),
        ({"lots": [lot(filled=10)], "trays": [tray(lot="l", seeds=11)]}, "(11 > 10)"),
        ({"trays": [tray(lot="of another")]}, "another cross's lot"),
        ({"trays": [tray(seeds=5)], "looks": [look(up=6)]}, "T1 has more seedlings than seeds sown (6 > 5)"),
        ({"trays": [tray(seeds=5)], "looks": [look(highest=6)]}, "(6 > 5)"),
        ({"trays": [tray()], "looks": [look(up=3, highest=2)]}, "(3 > 2)"),
        ({"losses": [Loss(cross="c", sowing="of another", cause="mice")]}, "a tray of another cross"),
        ({"trays": [tray()], "looks": [look(highest=0)], "proofs": [Proof(cross="c", verdict="proved")]}, "“proved”"),
        ({"visits": []}, "at least one pollination"),
        ({"counts": [pods("pods_set", 1, date(2026, 4, 30))]}, "30 April is before the pollination (1 May)"),
        ({"counts": [pods("pods_set", 1, date(2026, 11, 2))]}, "2 November is in the future"),
        ({"visits": [visit(date=date(2027, 5, 1))]}, "1 May 2027 is in the future"),
        ({"lots": [lot()], "trays": [tray(lot="l", date=date(2026, 7, 31))]}, "before it was harvested"),
        ({"trays": [tray()], "looks": [look(date(2026, 7, 31), up=1)]}, "before you sowed it"),
        (
            {"trays": [tray()], "losses": [Loss(cross="c", sowing="t", cause="mice", date=date(2026, 7, 31))]},
            "lost (31 July) before it was sown",
        ),
    ],
)
def test_what_cannot_be_is_said_with_its_numbers(parts, says):
    reasons = told(**parts)
    assert any(says in reason for reason in reasons), reasons


@pytest.mark.parametrize(
    "parts",
    [
        {},
        {"visits": [visit(units=None)], "counts": [pods("pods_set", 50)]},
        {"visits": [visit(), visit(units=3)], "counts": [pods("pods_set", 7)]},
        {"counts": [pods("pods_set", 4), pods("pods_dropped", 2), pods("pods_held", 2)]},
        {"counts": [pods("pods_set", 0, date(2026, 5, 3)), pods("pods_set", 2)]},
        {"lots": [lot(filled=10)], "trays": [tray(lot="l", seeds=10)], "looks": [look(up=4, highest=10)]},
        {"lots": [lot(weight=12.5)], "trays": [tray(lot="l", seeds=400)]},
        {"trays": [tray(seeds=None)], "looks": [look(up=9)], "proofs": [Proof(cross="c", verdict="proved")]},
        {"counts": [pods("pods_set", 1, None)], "trays": [tray(date=None)], "looks": [look(None, highest=3)]},
        {"trays": [tray()], "looks": [look(highest=0)], "proofs": [Proof(cross="c", verdict="not checked")]},
    ],
)
def test_what_can_be_or_is_unknown_is_left_alone(parts):
    assert told(**parts) == []


def test_the_same_flowers_again_add_no_unit():
    again = (visit(), visit(units=4, flowers="same again"))
    assert totals(CrossRecords(CROSS, again))["units"] == 4
    assert told(again, counts=[pods("pods_set", 5)])


def test_the_sum_of_parts_is_unknown_where_one_of_them_is():
    found = totals(CrossRecords(CROSS, (visit(),), lots=(lot(seeds=3, filled=2), lot(id="m", filled=4))))
    assert (found["seeds"], found["seeds_filled"], found["seedlings"]) == (None, 6, None)
