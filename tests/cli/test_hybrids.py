"""Hybrids as parents, and what leaves a distance open, as a grower meets them; the outcomes are invented."""

from __future__ import annotations

import re

import pytest

from crosscompat.carried import carried_trees
from crosscompat.collection.opening import open_collection

ROETTERI = "Echinocereus coccineus × Echinocereus dasyacanthus"

PLANTS = """plant,species,clone,2n
ROE-1,Echinocereus ×roetteri,ROE,44
ROE-2,Echinocereus ×roetteri,ROE,
DAS-1,Echinocereus dasyacanthus,,
VIE-1,Echinocereus viereckii,,
MIX-1,(Echinocereus coccineus × E. dasyacanthus) × E. viereckii,,33
"""

CROSSES = """cross,date,seed_parent,pollen_parent,seed_plant,pollen_plant,units,pods_set,seeds,seedlings
23-1,2023-05-01,Echinocereus ×roetteri,E. dasyacanthus,ROE-1,DAS-1,4,3,120,40
23-2,2023-05-02,Echinocereus dasyacanthus,E. coccineus × E. dasyacanthus,DAS-1,ROE-2,3,2,80,10
23-3,2023-05-02,Echinocereus viereckii,E. ×roetteri,VIE-1,ROE-1,5,0,0,0
23-4,2023-05-04,Echinocereus dasyacanthus,E. viereckii,DAS-1,VIE-1,5,1,0,0
23-5,2023-05-05,Echinocereus scheeri,E. viereckii,,VIE-1,5,4,100,20
24-1,2024-05-04,Echinocereus ×roetteri,E. scheeri,ROE-2,,5,2,50,9
"""

WANTED = """seed_parent,pollen_parent,want
ROE-1,ROE-2,3
MIX-1,ROE-1,4
Echinocereus engelmannii,(E. coccineus × E. viereckii) × E. scheeri,4
"""


@pytest.fixture
def nursery(run, empty_folder, with_tables):
    run("new", "mine", "--tree", "echinocereus")
    (empty_folder / "mine" / "wanted.csv").write_text(WANTED, encoding="utf-8")
    with_tables(empty_folder / "mine", plants_csv=PLANTS, crosses_csv=CROSSES)
    return "mine"


def in_a_row(text):
    return " ".join(text.split())


def test_hybrids_are_asked_by_name_formula_and_plant(answer, nursery):
    names = ("Echinocereus ×roetteri", "Echinocereus x lloydii", "Echinocereus coccineus × E. dasyacanthus", "ROE-1")
    found = [answer("ask", name, "VIE-1", "--collection", nursery)["pairing"] for name in names]
    assert {one["seed_parent"] for one in found} == {ROETTERI}
    assert len({one["distance"]["patristic"] for one in found}) == 1
    kinds = [caution["kind"] for caution in found[0]["cautions"]]
    assert kinds.count("hybrid") == 2  # where it stands, and that it has given seedlings
    assert found[0]["chance"] == found[1]["chance"] == found[2]["chance"]


def test_a_hybrid_is_told_with_its_shares_and_its_parents_distance(run, nursery):
    shown = in_a_row(run("ask", "MIX-1", "Echinocereus scheeri", "--why", "--collection", nursery).stdout)
    assert f"({ROETTERI} × Echinocereus viereckii) [MIX-1] × Echinocereus scheeri" in shown
    assert "25% Echinocereus coccineus, 25% Echinocereus dasyacanthus, 50% Echinocereus viereckii" in shown
    assert "its parents, which are 4.42 My apart: the farther apart they are, the less sure its chances" in shown
    assert "MIX-1 has an odd chromosome number (2n 33): such hybrids are mostly sterile" in shown
    assert "a hybrid parent has uneven chromosomes" in shown
    assert "give or take" in shown


def test_a_season_with_hybrids_is_read_learned_scored_ranked_and_labelled(run, answer, nursery, empty_folder):
    at = ("--collection", nursery)
    assert answer("check", *at)["unmatched"] == []
    learned = answer("retrain", "--as-of", "2026-01-01", *at)
    assert (learned["after"]["crosses"], learned["left_out"]) == (6, [])
    assert answer("ask", "ROE-1", "DAS-1", *at)["pairing"]["past"][0]["number"] == "23-1"
    ranking = answer("rank", *at, code=1)
    assert [row["seed_plant"] for row in ranking["rows"] if row["seed_plant"]] == ["MIX-1"]
    assert "one plant, or offsets of one" in ranking["refused"][0]["why"]
    partners = answer("rank", "--partners-of", "Echinocereus ×roetteri", *at)["rows"]
    assert len(partners) == 2 * 32
    shown = run("rank", "--partners-of", "Echinocereus ×roetteri", *at).stdout
    assert re.search(rf"[(]{ROETTERI.replace('Echinocereus', 'E.')}[)] +E. dasyacanthus", shown)
    assert answer("score", *at)["crosses"] == 6
    said = {
        (one.seed_parent, one.pollen_parent, one.seed_plant)
        for one in open_collection(empty_folder / nursery).forecasts
    }
    assert (f"{ROETTERI} × Echinocereus viereckii", ROETTERI, "MIX-1") in said
    page = run("label", "23-2", *at, "-o", "-").stdout
    assert "Echinocereus coccineus" in re.sub(r"</?tspan[^>]*>", "", page)


def test_a_hybrid_is_no_tip_and_the_tree_says_so(run, answer, nursery, empty_folder):
    for out in ((), ("-o", "tree.svg")):
        said = run("tree", "MIX-1", "--collection", nursery, *out, code=2).stderr
        assert "is not on the tree" in said
        assert "Echinocereus coccineus, Echinocereus dasyacanthus, Echinocereus viereckii" in in_a_row(said)
    assert not (empty_folder / "tree.svg").exists()
    seen = answer("tree", "MIX-1", "--collection", nursery)
    assert len([partner for partner in seen["partners"] if partner["chance"]]) == 32


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("Echinocereus coccineus × dasyacanthus", "the name after the × has no genus"),
        ("(Echinocereus coccineus + E. viereckii)", "a + marks a graft-chimaera"),
        ("Echinocereus coccineus × Opuntia ficus-indica", "is not a name known here"),
    ],
)
def test_a_formula_that_cannot_be_read_says_why_without_a_collection_too(run, name, says):
    assert says in in_a_row(run("ask", name, "Echinocereus scheeri", code=2).stderr)


def test_what_a_sample_leaves_open_is_said_with_the_distance(run, answer, empty_folder):
    """By hand: 2, 2 and 3 My are off the tree's own 2 by the root of a third in the square mean."""
    shape = "((Echinocereus_coccineus:{0},Echinocereus_scheeri:{0}):{1},(Echinocereus_a:{1},Echinocereus_b:{1}):{0});"
    plain, other = shape.format(1, 1), shape.format(1.5, 0.5)
    (empty_folder / "tree.nwk").write_text(plain, encoding="utf-8")
    trees = "".join(f"tree t{i} = [&R] {text}\n" for i, text in enumerate((plain, plain, other)))
    (empty_folder / "posterior.nex").write_text(f"#NEXUS\nbegin trees;\n{trees}end;\n", encoding="utf-8")
    run("new", "mine", "--tree", "tree.nwk", "--unit", "My")
    (empty_folder / "mine" / "posterior.nex").write_bytes((empty_folder / "posterior.nex").read_bytes())
    ask = ("ask", "Echinocereus coccineus", "E. scheeri", "--collection", "mine")
    before = answer(*ask)["pairing"]
    assert (before["distance"]["spread"], before["distance"]["trees"]) == (0, None)
    assert "give or take" not in run(*ask, "--why").stdout
    settings = empty_folder / "mine" / "collection.toml"
    settings.write_text('tree_sample = "posterior.nex"\n' + settings.read_text(encoding="utf-8"), encoding="utf-8")
    after = answer(*ask)["pairing"]
    assert after["distance"]["trees"] == 3
    assert after["distance"]["spread"] == pytest.approx((1 / 3) ** 0.5)
    assert "2 million years, give or take 0.58 over 3 trees" in in_a_row(run(*ask, "--why").stdout)
    assert all(
        wide["logit_sd"] > narrow["logit_sd"] for wide, narrow in zip(after["stages"], before["stages"], strict=True)
    )


def test_a_species_that_was_only_placed_is_told_and_asked_with_a_hybrid(run, answer, empty_folder):
    newick = carried_trees()[0].tree.read_text(encoding="utf-8")
    (empty_folder / "tree.nwk").write_text(newick, encoding="utf-8")
    run("new", "mine", "--tree", "tree.nwk", "--unit", "My")
    settings = empty_folder / "mine" / "collection.toml"
    names = 'traits = "traits.csv"\nsynonyms = "names.csv"\n'
    settings.write_text(names + settings.read_text(encoding="utf-8"), encoding="utf-8")
    mine = empty_folder / "mine"
    (mine / "traits.csv").write_text("species,section\nEchinocereus novus,\n", encoding="utf-8")
    (mine / "names.csv").write_text("name,accepted\nRed Giant,Echinocereus novus × E. scheeri\n", encoding="utf-8")
    named = answer("ask", "Red Giant", "Echinocereus coccineus", "--collection", "mine")["pairing"]
    found = answer("ask", "Echinocereus novus × E. scheeri", "E. coccineus", "--collection", "mine")["pairing"]
    assert named == found
    alone = answer("ask", "Echinocereus novus", "E. coccineus", "--collection", "mine")["pairing"]
    assert "placed" in [caution["kind"] for caution in alone["cautions"]]
    assert "placed" in [caution["kind"] for caution in found["cautions"]]
    assert found["distance"]["spread"] > 0 < alone["distance"]["spread"]


def test_a_row_of_the_traits_tells_of_a_hybrid_too(run, answer, empty_folder):
    """Whether by its name, by its formula or by a name of the grower's own; without one its traits are unknown."""
    newick = carried_trees()[0].tree.read_text(encoding="utf-8")
    (empty_folder / "tree.nwk").write_text(newick, encoding="utf-8")
    run("new", "mine", "--tree", "tree.nwk", "--unit", "My")
    mine = empty_folder / "mine"
    settings = (mine / "collection.toml").read_text(encoding="utf-8")
    names = 'traits = "traits.csv"\nsynonyms = "names.csv"\n'
    (mine / "collection.toml").write_text(names + settings, encoding="utf-8")
    (mine / "names.csv").write_text("name,accepted\nRed Giant,Echinocereus coccineus × E. scheeri\n", encoding="utf-8")
    species = "Echinocereus coccineus,44\nEchinocereus dasyacanthus,44\nEchinocereus scheeri,22\n"
    hybrids = "Echinocereus ×roetteri,44\nRed Giant,33\nEchinocereus scheeri × Echinocereus dasyacanthus,44\n"
    (mine / "traits.csv").write_text(f"species,2n\n{species}{hybrids}", encoding="utf-8")
    assert answer("check", "--collection", "mine")["unmatched"] == []

    def kinds(name):
        found = answer("ask", name, "Echinocereus coccineus", "--collection", "mine")["pairing"]["cautions"]
        return [caution["kind"] for caution in found if caution["kind"] in {"hybrid", "ploidy", "unknown", "placed"}]

    assert kinds("Echinocereus coccineus × E. dasyacanthus") == kinds("Echinocereus ×roetteri") == ["hybrid"]
    assert kinds("Echinocereus coccineus × E. scheeri") == kinds("Red Giant") == ["ploidy", "hybrid", "hybrid"]
    assert kinds("Echinocereus scheeri × E. dasyacanthus") == ["hybrid"]
    assert kinds("Echinocereus dasyacanthus × E. scheeri") == ["hybrid", "hybrid", "unknown"]
