"""The trees that come along: listed, and started from."""

from __future__ import annotations

import pytest

from crosscompat.advice.ask import known_near
from crosscompat.carried import carried_tree, carried_trees
from crosscompat.collection.opening import open_collection


def test_every_carried_tree_is_listed_with_size_unit_source_and_licence(run, answer):
    shown = " ".join(run("trees").stdout.split())
    listed = answer("trees")["trees"]
    assert [entry["name"] for entry in listed] == [tree.name for tree in carried_trees()]
    for entry, tree in zip(listed, carried_trees(), strict=True):
        assert (entry["species"], entry["unit"], entry["doi"]) == (tree.tips, tree.unit, tree.doi)
        for word in (f"{tree.tips:,} species", "million years", tree.source, tree.doi, tree.licence, tree.changes):
            assert word in shown
        known = {trait["name"]: trait["known"] for trait in entry["traits"]}
        assert known["section"] > 0
        assert all(known.values())
        assert not any(name.endswith("_source") for name in known)


@pytest.mark.parametrize("tree", carried_trees(), ids=lambda tree: tree.name)
def test_a_collection_starts_from_a_carried_tree(run, answer, empty_folder, tree):
    assert answer("new", "mine", "--tree", tree.name)["tree"] == tree.name
    settings = (empty_folder / "mine" / "collection.toml").read_text(encoding="utf-8")
    assert f'group = "{tree.group}"' in settings
    assert f'fruit_word = "{tree.fruit_word}"' in settings
    found = answer("check", "--collection", "mine")
    assert found["unmatched"] == []
    assert found["species"] >= tree.tips


def test_any_two_of_a_thousand_species_are_answered_without_a_record(answer, run):
    run("new", "mine", "--tree", "euphorbia")
    near = answer("ask", "Euphorbia milii", "E. lophogona", "--flowers", "5", "--collection", "mine")
    far = answer("ask", "Euphorbia milii", "E. esula", "--flowers", "5", "--collection", "mine")
    for found in (near, far):
        assert found["basis"]["kind"] == "prior"
        assert found["handling"]
    assert near["pairing"]["chance"]["low"] < 0.2
    assert near["pairing"]["chance"]["high"] > 0.5
    assert far["pairing"]["chance"]["high"] < 0.05  # of two subgenera, between which no hybrid is known
    assert near["pairing"]["distance"]["clade_name"] == "sect. Goniostema"
    assert near["pairing"]["chance"]["mean"] > far["pairing"]["chance"]["mean"]
    assert near["pairing"]["distance"]["relative"] < 1 < far["pairing"]["distance"]["relative"]


CHECKLIST = """species,genus,section
Echinocereus albatus,Echinocereus,One
Echinocereus brevis,Echinocereus,One
Echinocereus curtus,Echinocereus,Two
Mammillaria dura,Mammillaria,
"""


def test_a_checklist_of_several_genera_is_asked_and_checked(run, answer, empty_folder):
    (empty_folder / "list.csv").write_text(CHECKLIST, encoding="utf-8")
    assert answer("new", "mine", "--classification", "list.csv")["tree"] == "list.csv"
    assert answer("check", "--collection", "mine")["unmatched"] == []
    near = answer("ask", "Echinocereus albatus", "E. brevis", "--collection", "mine")["pairing"]["distance"]
    far = answer("ask", "Echinocereus albatus", "Mammillaria dura", "--collection", "mine")["pairing"]["distance"]
    assert (near["patristic"], near["clade_name"], far["patristic"]) == (2, "sect. One", 6)
    assert "2 rank steps" in run("ask", "Echinocereus albatus", "E. brevis", "--why", "--collection", "mine").stdout


def test_sequences_are_joined_to_a_tree(run, answer, empty_folder):
    (empty_folder / "its.fasta").write_text(">E_a\nAAAAAAAC\n>E_b\nAAAAAAAA\n>E_c\nAAAACGTA\n", encoding="utf-8")
    made = answer("new", "mine", "--alignment", "its.fasta", "--outgroup", "E c")
    assert made["files"][-1] == "tree.nwk"
    assert answer("check", "--collection", "mine")["species"] == 3
    run("new", "other", "--alignment", "its.fasta", "--outgroup", "E d", code=2)
    run("new", "other", "--alignment", "its.fasta", "--tree", "echinocereus", code=2)
    assert not (empty_folder / "other").exists()


def test_a_far_outgroup_in_the_tree_moves_no_forecast(run, answer, empty_folder, with_tables):
    """What is usual is measured among the grower's own species, not over the whole tree."""
    text = carried_tree("echinocereus").tree.read_text(encoding="utf-8")
    newick = text.strip().removeprefix("[&R] ").removesuffix(";")
    trees = {"plain": f"[&R] {newick};", "wider": f"[&R] ({newick}:126,Pereskia_aculeata:128.5);"}
    plants = "plant,species\nA,Echinocereus coccineus\nB,Echinocereus dasyacanthus\nC,Echinocereus pentalophus\n"
    found = {}
    for name, text in trees.items():
        (empty_folder / f"{name}.nwk").write_text(text, encoding="utf-8")
        run("new", name, "--tree", f"{name}.nwk", "--unit", "My")
        with_tables(empty_folder / name, plants_csv=plants)
        found[name] = answer("ask", "A", "C", "--flowers", "4", "--collection", name)
    plain, wider = found["plain"], found["wider"]
    assert wider["tree"]["species"] == plain["tree"]["species"] + 1
    for way in ("pairing", "reciprocal"):
        for figure in ("mean", "low", "high"):
            assert wider[way]["chance"][figure] == pytest.approx(plain[way]["chance"][figure], abs=1e-9)


def test_a_published_failure_by_ploidy_is_flagged(run, answer, empty_folder, with_tables):
    """Poinsettia, 2x mother and 4x father: under 1 in 100 viable seedlings (Milbocker & Sink 1969, from memory)."""
    run("new", "mine", "--tree", "euphorbia")
    plants = "plant,species,2n\nP2,Euphorbia pulcherrima,28\nP4,Poinsettia pulcherrima,56\nQ2,E. pulcherrima,28\n"
    with_tables(empty_folder / "mine", plants_csv=plants.replace("E. p", "Euphorbia p"))
    uneven, even = (answer("ask", "P2", pollen, "--collection", "mine")["pairing"] for pollen in ("P4", "Q2"))
    (told,) = [caution["says"] for caution in uneven["cautions"] if caution["kind"] == "ploidy"]
    assert "2n 28 on the seed parent, 56 on the pollen parent" in told
    assert "ploidy" not in {caution["kind"] for caution in even["cautions"]}
    tree = open_collection(empty_folder / "mine").distances
    label = uneven["seed_parent"].replace(" ", "_")
    assert "under 1 in 100" in known_near(label, label, tree)[0].words
