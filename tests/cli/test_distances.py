"""Distances for a table of pairs from the command line, held against those of the tree pair by pair."""

from __future__ import annotations

import csv

import pytest

from crosscompat.advice import pair_distances
from crosscompat.collection.opening import open_collection


@pytest.fixture
def table(empty_folder):
    """Write a table of pairs."""

    def write(text):
        path = empty_folder / "pairs.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.mark.parametrize("size", [7, 10**6])
def test_every_pair_of_species_gets_the_trees_distance(size, run, answer, demo, table, empty_folder, monkeypatch):
    monkeypatch.setattr(pair_distances, "_BLOCK", size)
    tree = open_collection(demo).distances
    tips = [tip.replace("_", " ") if place % 2 else tip for place, tip in enumerate(tree.tips)]
    pairs = [(a, b) for a in tips for b in tips[::3]]
    path = table("number,seed_parent,pollen_parent\n" + "".join(f"{i},{a},{b}\n" for i, (a, b) in enumerate(pairs)))
    told = answer("distances", path, "-o", "out.csv", "--collection", demo)
    assert (told["pairs"], told["unit"], told["file"]) == (len(pairs), tree.unit, "out.csv")
    rows = list(csv.DictReader((empty_folder / "out.csv").read_text(encoding="utf-8").splitlines()))
    assert [(row["number"], row["seed_parent"], row["pollen_parent"]) for row in rows] == [
        (str(i), a, b) for i, (a, b) in enumerate(pairs)
    ]
    assert [float(row["distance"]) for row in rows] == pytest.approx([tree.patristic(a, b) for a, b in pairs], abs=1e-9)
    assert run("distances", path, "--collection", demo).stdout == (empty_folder / "out.csv").read_text(encoding="utf-8")


def test_plants_hybrids_and_short_names_are_found_and_rows_stay_as_they_are(run, demo, table):
    collection = open_collection(demo)
    written = [
        'Echinocereus coccineus;E. dasyacanthus;"a; b"',
        "COC-F1;Echinocereus fendleri;",
        "Echinocereus_fendleri;Echinocereus coccineus × E. dasyacanthus;ü",
    ]
    table("Seed parent;pollen_parent;note\n" + "\n".join(written) + "\n")
    head, *lines = run("distances", "pairs.csv", "--collection", demo).stdout.splitlines()
    assert head == "Seed parent;pollen_parent;note;distance"
    assert [line.rpartition(";")[0] for line in lines] == written
    apart = collection.distances.patristic
    hybrid = sum(apart("Echinocereus fendleri", f"Echinocereus {name}") for name in ("coccineus", "dasyacanthus")) / 2
    wanted = [
        apart("Echinocereus coccineus", "Echinocereus dasyacanthus"),
        apart("Echinocereus coccineus", "Echinocereus fendleri"),
        hybrid,
    ]
    assert [float(line.rpartition(";")[2]) for line in lines] == pytest.approx(wanted, abs=1e-9)


def test_all_faults_are_told_with_their_row_and_nothing_is_written(run, demo, table, empty_folder):
    table(
        "seed_parent,pollen_parent\n"
        "Echinocereus coccineus,Echinocereus dasyacanthus\n"
        "Echinocereus coccineus,Echinocereus dasyacantus\n"
        ",Echinocereus fendleri\n"
        "x,y,z\n"
        "Echinocereus dasyacantus,Echinocereus fendleri\n"
    )
    (empty_folder / "out.csv").write_text("old")
    said = run("distances", "pairs.csv", "-o", "out.csv", "--collection", demo, code=3).stderr.splitlines()
    assert said[0].startswith(
        "pairs.csv, row 3, column pollen_parent: “Echinocereus dasyacantus” is not a name known here"
    )
    assert said[1] == "  So it is in 1 row more."
    assert said[2] == "pairs.csv, row 4, column seed_parent: This must be filled in."
    assert said[3] == "pairs.csv, row 5: This row has 3 cells; the first row names 2 columns."
    assert (empty_folder / "out.csv").read_text() == "old"
    assert {path.name for path in empty_folder.iterdir()} == {"out.csv", "pairs.csv"}


def test_a_short_name_beside_an_unknown_one_is_no_fault_of_its_own(run, demo, table):
    table(
        "seed_parent,pollen_parent\nAgave rara,E. dasyacanthus\nEchinocereus coccineus,E. dasyacanthus\n"
        "E. dasyacanthus,Agave rara\n"
    )
    said = run("distances", "pairs.csv", "--collection", demo, code=3).stderr.splitlines()
    assert [line.split(": ")[0] for line in said] == [
        "pairs.csv, row 2, column seed_parent",
        "  So it is in 1 row more.",
    ]


def test_of_many_unknown_names_the_first_are_told_and_the_rest_counted(run, demo, table):
    names = [f"Echinocereus unheardof{'a' * i}" for i in range(pair_distances.SHOWN + 4)]
    table("seed_parent,pollen_parent\n" + "".join(f"{name},Echinocereus fendleri\n" for name in names * 3))
    said = run("distances", "pairs.csv", "--collection", demo, code=3).stderr.splitlines()
    assert sum("is not a name known here" in line for line in said) == pair_distances.SHOWN
    assert "pairs.csv: 4 more names are not known here." in said
    assert said.count("  So it is in 2 rows more.") == pair_distances.SHOWN


def test_gaps_in_a_table_of_distances_are_told(run, table, empty_folder):
    (empty_folder / "apart.csv").write_text(
        ",Aloe vera,Aloe ferox,Aloe rara\nAloe vera,0,2\nAloe ferox,2,0,3\nAloe rara,,3,0\n"
    )
    run("new", "mine", "--tree", "apart.csv")
    table("seed_parent,pollen_parent\nAloe vera,Aloe ferox\nAloe vera,Aloe rara\n")
    said = run("distances", "pairs.csv", "--collection", "mine", code=3).stderr
    assert "Aloe rara" in said
    assert "Aloe ferox" not in said


def test_a_table_without_rows_is_answered_by_its_header(run, demo, table):
    table("seed_parent,pollen_parent\n")
    assert run("distances", "pairs.csv", "--collection", demo).stdout == "seed_parent,pollen_parent,distance\n"


def test_json_needs_a_file_for_the_table(run, demo, table):
    table("seed_parent,pollen_parent\n")
    assert "-o" in run("distances", "pairs.csv", "--json", "--collection", demo, code=2).stderr
