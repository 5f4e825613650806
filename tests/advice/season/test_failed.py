"""Why a cross failed: each suspect by the other crosses, and the check that would tell."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from crosscompat.advice.season.bridge import why_failed
from crosscompat.book.current_plants import Plant
from crosscompat.ground.errors import UnknownName, WrongUse

MAY = date(2024, 5, 10)
PLANTS = [
    Plant("B1", "Aus bus", "B1"), Plant("B2", "Aus bus", "B2"), Plant("C1", "Aus cus", "C1"),
    Plant("D1", "Aus dus", "D1"), Plant("E1", "Aus eus", "E1"),
]  # fmt: skip


@pytest.fixture
def asked(collection, cross):
    """Ask of cross X, B1 × C1 in May, beside others given as (seed plant, pollen plant, took, days later)."""
    species = {plant.plant: plant.species for plant in PLANTS}

    def build(*others, plants=PLANTS, **more):
        failed = cross("Aus bus", "Aus cus", 6, 0, cross="X", seed_plant="B1", pollen_plant="C1", day=MAY, **more)
        beside = [
            cross(
                species[seed], species[pollen], 6, took, cross=f"O{i}", seed_plant=seed, pollen_plant=pollen,
                day=MAY + timedelta(days=later),
            )
            for i, (seed, pollen, took, later) in enumerate(others)
        ]  # fmt: skip
        answer = why_failed(collection([failed, *beside], plants), "x")
        return answer, {suspect.what: suspect for suspect in answer.suspects}

    return build


def test_alone_nothing_is_known_and_no_check_is_at_hand(asked):
    answer, by = asked()
    assert [suspect.verdict for suspect in answer.suspects] == ["open"] * 4
    assert by["mother"].says == "The mother B1 was in no other finished cross."
    assert "No proven plant" in answer.check


def test_a_mother_that_took_elsewhere_is_clear_and_one_that_never_did_is_suspect(asked):
    _, by = asked(("B1", "E1", 1, 60))
    assert (by["mother"].verdict, by["mother"].took, by["mother"].crosses) == ("clear", 1, 1)
    answer, by = asked(
        *[("B1", other, 0, 60 + i) for i, other in enumerate(("D1", "C1", "D1", "C1"))], ("D1", "E1", 2, 90)
    )
    assert by["mother"].verdict == "suspect"
    assert by["mother"].expected >= 1.5
    assert answer.check.endswith("crosscompat pollinate B1 E1 3 --check seed")


def test_few_failures_blame_nobody(asked):
    _, by = asked(("B1", "E1", 0, 60))
    assert by["mother"].verdict == "open"
    assert by["mother"].says == "The mother B1: her only other cross failed too, which is too little to blame her."


def test_pollen_is_checked_on_a_mother_that_took(asked):
    answer, by = asked(("B1", "E1", 1, 60), ("D1", "C1", 0, 60))
    assert (by["mother"].verdict, by["pollen"].verdict) == ("clear", "open")
    assert "crosscompat pollinate" not in answer.check  # B1 itself is the only mother that took
    answer, _ = asked(("B1", "E1", 1, 60), ("D1", "E1", 2, 60))
    assert answer.check.endswith("crosscompat pollinate D1 C1 3 --check pollen")


def test_both_proven_leave_the_pair(asked):
    answer, by = asked(("B1", "E1", 1, 60), ("D1", "C1", 1, 60))
    assert (by["mother"].verdict, by["pollen"].verdict, by["pair"].crosses) == ("clear", "clear", 0)
    assert answer.check.endswith('crosscompat bridge "B1" "C1"')


def test_a_pair_that_never_took_is_not_repeated(asked):
    answer, by = asked(("B1", "E1", 1, 60), ("D1", "C1", 1, 60), *[("B2", "C1", 0, 90 + i) for i in range(6)])
    assert by["pair"].verdict == "suspect"
    assert "way round" in answer.check
    assert "Repeat" not in answer.check


def test_chromosomes_that_differ_are_told(asked, collection, cross):
    answer, _ = asked()
    assert answer.chromosomes == "Their chromosomes differ: 2n = 22 on B1, 44 on C1. That alone can empty the seed."
    made = collection([cross("Aus bus", "Aus dus", 6, 0, cross="Y")])
    assert why_failed(made, "Y").chromosomes == ""


def test_the_pair_counts_both_ways_round_and_other_plants(asked):
    _, by = asked(("C1", "B2", 1, 60), ("B2", "C1", 0, 60))
    assert (by["pair"].took, by["pair"].crosses) == (1, 2)


def test_the_days_are_those_of_the_week(asked):
    _, by = asked(("D1", "E1", 1, 3), ("D1", "E1", 1, -3), ("D1", "E1", 0, 4))
    assert (by["days"].took, by["days"].crosses, by["days"].verdict) == (2, 2, "clear")


def test_a_dead_plant_proves_nothing_any_more(asked):
    dead = [Plant("D1", "Aus dus", "D1", died=date(2025, 1, 1)) if p.plant == "D1" else p for p in PLANTS]
    answer, _ = asked(("B1", "E1", 1, 60), ("D1", "E1", 2, 60), plants=dead)
    assert "D1" not in answer.check


@pytest.mark.parametrize(
    ("counts", "stopped"),
    [
        ({"units": 6, "pods_set": 0}, "No pods set from 6 flowers."),
        ({"units": 6, "pods_set": 2, "pods_held": 0}, "Some pods set, but none ripened."),
        ({"units": 6, "pods_set": 2, "pods_held": 2, "seeds": 0}, "The pods held no good seed."),
        (
            {"units": 6, "pods_set": 2, "pods_held": 2, "seeds": 9, "seeds_sown": 9, "seedlings": 0},
            "There was seed, but none came up: sowing and seed age count here too.",
        ),
    ],
)
def test_it_says_where_it_stopped(collection, cross, counts, stopped):
    made = collection([cross("Aus bus", "Aus cus", cross="X", day=MAY, **counts)])
    assert why_failed(made, "X").stopped == stopped


def test_what_did_not_fail_is_told(collection, cross):
    made = collection([
        cross("Aus bus", "Aus cus", 6, 2, cross="T"),
        cross("Aus bus", "Aus cus", cross="U", units=3),
        cross("Aus bus", "Aus cus", cross="L", units=3, lost_to="frost"),
    ])  # fmt: skip
    for number, words in (("T", "gave a seedling"), ("U", "not finished"), ("L", "lost to frost")):
        with pytest.raises(WrongUse, match=words):
            why_failed(made, number)
    with pytest.raises(UnknownName):
        why_failed(made, "9")
