"""What a grower reads first: short answers, on a screen of 80 columns, in the demonstration and in new collections."""

from __future__ import annotations

import random

import pytest

from crosscompat.collection.opening import open_collection
from crosscompat.ground.names import correct_form

ACROSS, LINES, PAIRINGS = 80, 8, 30


def pairings(folder):
    """Thirty pairings of two species of a collection's tree, always the same."""
    names = sorted(correct_form(label) for label in open_collection(folder).distances.tips)
    chosen = random.Random(12)
    return [chosen.sample(names, 2) for _ in range(PAIRINGS)]


@pytest.fixture(params=["demo", "euphorbia", "aloe"])
def place(request, run, empty_folder, demo):
    """The demonstration, a new collection of spurges on their tree, a new checklist of aloes."""
    if request.param == "demo":
        return demo
    if request.param == "aloe":
        (empty_folder / "aloes.csv").write_text(ALOES, encoding="utf-8")
        run("new", "ours", "--classification", "aloes.csv")
    else:
        run("new", "ours", "--tree", request.param)
    return empty_folder / "ours"


ALOES = """species,genus,section
Aloe arborescens,Aloe,Arborescentes
Aloe mutabilis,Aloe,Arborescentes
Aloe ferox,Aloe,Pachydendron
Aloe candelabrum,Aloe,Pachydendron
Aloe maculata,Aloe,Pictae
Aloe greatheadii,Aloe,Pictae
Aloe striata,Aloe,Paniculatae
Aloe reynoldsii,Aloe,Paniculatae
"""


def test_an_answer_is_at_most_eight_lines_of_a_screen(run, place):
    for seed, pollen in pairings(place):
        lines = run("ask", seed, pollen, "--collection", place, columns=ACROSS).stdout.splitlines()
        assert len(lines) <= LINES, (seed, pollen, lines)
        assert max(map(len, lines)) <= ACROSS, (seed, pollen, max(lines, key=len))


def test_what_is_behind_it_comes_on_request(run, demo):
    asked = ("ask", "Echinocereus coccineus", "E. dasyacanthus", "--collection", demo)
    short, long = run(*asked).stdout, run(*asked, "--why").stdout
    assert long.startswith(short)
    assert len(long.splitlines()) > 2 * LINES


def test_flowers_that_nobody_named_are_said_to_be_the_usual_ones(run, demo, empty_folder):
    pair = ("ask", "Echinocereus dasyacanthus", "E. coccineus")
    named, usual = (run(*pair, *more, "--collection", demo).stdout for more in (["--flowers", 4], []))
    assert "  A seedling from 4 flowers: about" in named
    assert "  A seedling from your usual 4 flowers: about" in usual
    ranked = run("rank", "--collection", demo, code=1).stdout
    assert ranked.startswith("Chance of a seedling from your usual 4 flowers each")
    run("new", "ours", "--tree", "echinocereus")
    assert "  A seedling from 3 flowers: about" in run(*pair, "--collection", empty_folder / "ours").stdout


def test_own_experience_is_said_before_all_that_is_inferred(run, demo):
    lines = run(
        "ask", "Echinocereus dasyacanthus", "E. coccineus", "--collection", demo, columns=ACROSS
    ).stdout.splitlines()
    [own] = [i for i, line in enumerate(lines) if "You made this cross" in line]
    rest = [i for i, line in enumerate(lines) if line.strip().startswith(("For an even", "For: ", "Against: "))]
    assert all(own < i for i in rest)


def test_a_demonstration_is_a_few_screens(run, empty_folder):
    assert len(run("demo", empty_folder / "demo", columns=ACROSS).stdout.splitlines()) < ACROSS


def test_pairings_that_cannot_be_told_apart_share_a_place(answer, demo):
    rows = answer("rank", "--all", "--collection", demo)["rows"]
    for row in rows:
        assert row["equal"] == sum(other["place"] == row["place"] for other in rows)
    places = [row["place"] for row in rows]
    assert places == sorted(places)
