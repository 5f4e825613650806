"""Names that growers use: none is refused, and each gets a place on the tree once it is said what it is."""

from __future__ import annotations

import pytest

COC, PEC, FEN = "Echinocereus coccineus", "Echinocereus pectinatus", "Echinocereus fendleri"
PARENTS = f"{COC} x {PEC}"
SECTION = "Echinocereus sect. Triglochidiati"


def imported(answer, folder, table, name):
    file = table(f"No.;Mother;Father;Date;Flowers;Pods;Seedlings\n1;{name};{FEN};2024-04-03;2;1;7\n")
    done = answer("import", file, "--collection", folder, "--only-successes", "no", "--yes")
    assert (done["crosses"], done["faults"]) == (1, [])
    return [one["name"] for one in done["unplaced"]]


@pytest.mark.parametrize(
    "name",
    [
        COC, "Echinocereus coccineus 'Red Lamp'", "Echinocereus coccineus cv. Red Lamp", "Echinocereus cf. coccineus",
        "Echinocereus ×roetteri", f"({COC} × {PEC})", f"({COC} × {PEC}) 'Dusk'", "Echinocereus_coccineus",
        "Echinocereus coccineus QX 123", "Echinocereus coccineus Engelmann",
    ],
)  # fmt: skip
def test_a_name_with_its_species_or_formula_in_it_has_a_place(answer, new, table, name):
    folder = new()
    assert imported(answer, folder, table, name) == []
    assert answer("check", "--collection", folder)["unmatched"] == []


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("Twilight", ("--parents", PARENTS)),
        ("Twilight", ("--as", COC)),
        ("Twilight", ("--as", SECTION)),
        ("Echinocereus 'Twilight'", ("--parents", PARENTS)),
        ("Echinocereus hort. 'Dusk'", ("--parents", PARENTS)),
        ("Echinocereus aff. coccineus", ("--as", COC)),
        ("Echinocereus sp. nov.", ("--as", SECTION)),
        ("QX 123", ("--as", "Echinocereus section Triglochidiati")),
        ("Neighbour's red", ("--as", "Echinocereus cf. coccineus")),
    ],
)
def test_a_name_without_a_place_gets_one_from_its_parents_its_species_or_its_section(
    run, answer, new, table, name, said
):
    folder = new()
    assert imported(answer, folder, table, name) == [name]
    assert [one["name"] for one in answer("check", "--collection", folder, code=1)["unmatched"]] == [name]
    assert "no such" not in run("ask", name, PEC, "--collection", folder, code=2).stderr
    run("plant", name, "--new", *said, "--collection", folder)
    assert answer("check", "--collection", folder)["unmatched"] == []
    (past,) = answer("ask", name, FEN, "--collection", folder)["pairing"]["past"]
    assert (past["number"], past["outcome"]) == ("1", "took")
