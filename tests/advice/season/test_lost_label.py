from __future__ import annotations

from datetime import date

import pytest

from crosscompat.advice.season.labels import Clues, candidates
from crosscompat.book.records import Cross, Determination, Plant, Pollen, Pollination
from crosscompat.book.store import open_store

MOTHER = Plant(name="COC-1", clone="COC")
OFFSET = Plant(name="COC-2", clone="COC")
FATHER = Plant(name="DAS-1")


@pytest.fixture
def found():
    """Find in a book of three crosses, two of them on offsets of one plant."""
    book = open_store("sqlite://")
    plants = [MOTHER, OFFSET, FATHER, Determination(plant=FATHER.id, name="Echinocereus dasyacanthus")]
    plants += [Determination(plant=one.id, name="Echinocereus coccineus") for one in (MOTHER, OFFSET)]
    written = []
    for number, seed, day, marker in (
        ("26-01", MOTHER, date(2026, 5, 1), "raceme 2, red thread"),
        ("26-02", OFFSET, date(2026, 5, 4), "blue wool"),
        ("26-03", FATHER, date(2026, 5, 4), None),
    ):
        cross = Cross(number=number, seed_plant=seed.id)
        visit = Pollination(cross=cross.id, date=day, marker=marker)
        father = {"plant": FATHER.id} if seed is not FATHER else {"name": "Echinocereus coccineus"}
        written += [cross, visit, Pollen(pollination=visit.id, **father)]
    with book.writing("written") as pen:
        pen.add(*plants, *written)

    def found(**clues):
        with book.reading() as page:
            likeliest = candidates(page, Clues(**clues), most=9).candidates
        return [(one.cross, round(one.fit, 2), one.why) for one in likeliest]

    return found


@pytest.mark.parametrize(
    ("clues", "fits"),
    [
        ({"plant": "coc 1"}, {"26-01": 1.0}),
        ({"plant": "COC"}, {"26-01": 0.7, "26-02": 0.7}),
        ({"plant": "Echinocereus coccineus"}, {"26-01": 0.7, "26-02": 0.7}),
        ({"pollen": "DAS-1"}, {"26-01": 1.0, "26-02": 1.0}),
        ({"pollen": "Echinocereus coccineus"}, {"26-03": 1.0}),
        ({"day": date(2026, 5, 4)}, {"26-02": 1.0, "26-03": 1.0, "26-01": 0.8}),
        ({"day": date(2026, 7, 4)}, {}),
        ({"between": (date(2026, 5, 2), date(2026, 5, 4))}, {"26-02": 1.0, "26-03": 1.0}),
        ({"marker": "red thread"}, {"26-01": 1.0}),
        ({"marker": "red thred"}, {"26-01": 0.95}),
        ({"plant": "COC-1", "day": date(2026, 5, 4)}, {"26-01": 0.9, "26-02": 0.5, "26-03": 0.5}),
        ({"plant": "nobody"}, {}),
    ],
)
def test_crosses_are_ranked_by_how_well_the_clues_fit(found, clues, fits):
    result = found(**clues)
    assert {number: fit for number, fit, _ in result} == pytest.approx(fits, abs=0.011)
    assert [fit for _, fit, _ in result] == sorted((fit for _, fit, _ in result), reverse=True)


def test_each_says_what_fits_and_what_does_not(found):
    first, second, _ = found(plant="COC-1", day=date(2026, 5, 4))
    assert first[2] == ["on COC-1", "pollinated on 1 May 2026, 3 days away"]
    assert second[2] == ["not on that plant (on COC-2)", "pollinated on 4 May 2026"]


def test_of_equals_the_latest_comes_first(found):
    assert [number for number, _, _ in found(pollen="DAS-1")] == ["26-02", "26-01"]
