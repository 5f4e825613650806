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


TABLE = f"""No.;Mother;Father;Pollen plant;Date;Flowers;Seedlings
1;Twilight;{FEN};;2024-04-03;2;7
2;{COC};Neighbour's red;;2024-04-04;2;0
3;{COC};Dusk;DUSK-1;2024-04-05;2;1
4;QX 1;{FEN};;2024-04-06;2;1
5;QX 2;{FEN};;2024-04-07;2;1
6;{COC};E. fendlerii;;2024-04-08;2;1
"""


def test_at_a_terminal_each_name_without_a_place_is_asked(at_a_terminal, answer, run, new, table):
    folder, file = new(), table()
    typed = ["no", "yes", "E. coccinus", PARENTS, "", "aff", SECTION, "-"]
    said = at_a_terminal(typed, "import", file, "--collection", folder)
    assert said.count("What is “Twilight”? Its species, its parents") == 2
    assert said.count("What is “Dusk”?") == 2
    assert "“aff” is not a name known here" in said
    assert "What is “QX 1”?" in said
    assert "What is “QX 2”?" not in said
    assert "What is “E. fendlerii”?" not in said  # a species that is misspelt is no plant
    left = [one["name"] for one in answer("check", "--collection", folder, code=1)["unmatched"]]
    assert left == ["Neighbour's red", "QX 1", "QX 2", "E. fendlerii"]
    card = answer("plant", "Twilight", "--collection", folder)["card"]
    assert (card["record"]["parents"], card["placed"]) == (f"{COC} x {PEC}", True)
    assert answer("plant", "DUSK-1", "--collection", folder)["card"]["species"] == SECTION
    (past,) = answer("ask", "Twilight", FEN, "--collection", folder)["pairing"]["past"]
    assert (past["number"], past["outcome"]) == ("1", "took")
    run("undo", "--collection", folder)
    assert answer("plant", "--collection", folder)["plants"] == []


def test_elsewhere_no_name_is_asked_and_the_fix_is_named(run, answer, new, table):
    folder, file = new(), table()
    said = " ".join(run("import", file, "--collection", folder, "--only-successes", "no", "--yes").stdout.split())
    assert "What is" not in said
    assert "`crosscompat plant NAME --as SPECIES`" in said
    assert [one["plant"] for one in answer("plant", "--collection", folder)["plants"]] == ["DUSK-1"]
