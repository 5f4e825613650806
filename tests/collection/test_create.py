from __future__ import annotations

from math import log

import numpy as np
import pytest

from crosscompat.book.crosses import WANTED_HEADER
from crosscompat.book.records import Plant
from crosscompat.book.store import open_store
from crosscompat.collection.create import create_collection
from crosscompat.collection.opening import open_collection
from crosscompat.collection.settings import open_book, read_settings
from crosscompat.ground.errors import BadInput, WrongUse

NEWICK = "((Aus_bus:1,Aus_cus:1):2,Bus_dus:3);\n"


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_new_collection_opens_and_is_empty(tmp_path):
    made = create_collection(tmp_path / "deep" / "hedgehogs")
    opened = open_collection(tmp_path / "deep" / "hedgehogs")
    assert made.tree == opened.tree_name == "echinocereus"
    assert opened.settings.name == "hedgehogs"
    assert (opened.settings.group, opened.settings.fruit_word, opened.settings.tree_unit) == ("cactus", "fruit", "My")
    assert opened.traits.column("2n").kind == "count"
    assert (opened.crosses, opened.wanted, opened.plants.by_name, opened.saved, opened.notices) == (
        (),
        (),
        {},
        None,
        (),
    )
    assert sorted(made.files) == sorted(contents(tmp_path / "deep" / "hedgehogs"))


def test_the_tables_name_their_columns(tmp_path):
    create_collection(tmp_path / "a")
    assert (tmp_path / "a" / "wanted.csv").read_text(encoding="utf-8") == ",".join(WANTED_HEADER) + "\n"


@pytest.mark.parametrize("unit", [None, "My", "unit", "substitutions per site"])
def test_a_tree_of_ones_own_is_copied(tmp_path, unit):
    tree = tmp_path / "mine.nwk"
    tree.write_text(NEWICK, encoding="utf-8")
    made = create_collection(tmp_path / "a", tree=str(tree), unit=unit)
    opened = open_collection(tmp_path / "a")
    assert made.tree == opened.tree_name == "mine.nwk"
    assert (opened.distances.tips, opened.distances.unit) == (("Aus_bus", "Aus_cus", "Bus_dus"), unit)
    assert (opened.settings.group, opened.traits) == ("", None)
    assert tree.read_text(encoding="utf-8") == NEWICK


def test_a_table_of_distances_may_stand_in(tmp_path):
    (tmp_path / "apart.csv").write_text(",Aus bus,Aus cus\nAus bus,0,2\nAus cus,2,0\n", encoding="utf-8")
    create_collection(tmp_path / "a", tree=str(tmp_path / "apart.csv"))
    assert open_collection(tmp_path / "a").distances.patristic("Aus bus", "Aus cus") == 2


@pytest.mark.parametrize(
    ("tips", "group", "fruit"),
    [
        (("Aloe_vera", "Gasteria_batesiana"), "", "capsule"),
        (("Mammillaria_elongata", "Rebutia_minuscula"), "cactus", "fruit"),
        (("Monadenium_ritchiei", "Monadenium_lugardiae"), "spurge", "pod"),
        (("Aloe_vera", "Rebutia_minuscula"), "", "fruit"),
        (("Mentha_aquatica", "Mentha_spicata"), "", "fruit"),
    ],
)
def test_the_group_and_the_word_for_the_fruit_are_those_of_the_genera(tmp_path, tips, group, fruit):
    (tmp_path / "own.nwk").write_text(f"({':1,'.join(tips)}:1);", encoding="utf-8")
    create_collection(tmp_path / "mine", tree=str(tmp_path / "own.nwk"))
    settings = read_settings(tmp_path / "mine" / "collection.toml")
    assert (settings.group, settings.fruit_word) == (group, fruit)


@pytest.mark.parametrize("name", ['say "hi"', "back\\slash", "naïve ×", "new\nline", "tab\tand\x7f"])
def test_whatever_a_folder_is_called_can_be_read_back(tmp_path, name):
    create_collection(tmp_path / name)
    assert open_collection(tmp_path / name).settings.name == name


@pytest.mark.parametrize(
    "left", [["wanted.csv"], ["wanted.csv", "book.sqlite"], ["my.nwk", "wanted.csv", "book.sqlite"]]
)
def test_what_was_cut_short_is_made_to_its_end_when_it_is_said_again(tmp_path, left):
    (tmp_path / "my.nwk").write_text("(a:1,b:1);", encoding="utf-8")
    whole, short = tmp_path / "whole", tmp_path / "short"
    create_collection(whole, tree=str(tmp_path / "my.nwk"))
    short.mkdir()
    for name in left:
        (short / name).write_bytes((whole / name).read_bytes())
    create_collection(short, tree=str(tmp_path / "my.nwk"))
    assert sorted(contents(short)) == sorted(contents(whole))
    assert read_settings(short / "collection.toml").book_id
    (short / "collection.toml").unlink()
    store = open_store(short / "book.sqlite")
    with store.writing("planted") as pen:
        pen.add(Plant(name="coc-1"))
    store.close()
    with pytest.raises(WrongUse, match="already holds"):
        create_collection(short, tree=str(tmp_path / "my.nwk"))


@pytest.mark.parametrize("there", ["collection.toml", "book.sqlite", "wanted.csv"])
def test_a_collection_is_never_written_over(tmp_path, there):
    (tmp_path / there).write_text("mine", encoding="utf-8")
    with pytest.raises(WrongUse, match=there):
        create_collection(tmp_path)
    assert contents(tmp_path) == {there: b"mine"}


def test_a_tree_that_is_nowhere_makes_nothing(tmp_path):
    with pytest.raises(WrongUse, match="echinocereus"):
        create_collection(tmp_path / "a", tree="echinocactus")
    assert not (tmp_path / "a").exists()


@pytest.mark.parametrize(
    ("name", "text"),
    [("tree.nwk", ""), ("tree.nwk", " \n"), ("tree.nwk", "(a:1,b:"), ("apart.csv", ""), ("apart.csv", ",a\n")],
)
def test_a_tree_or_table_that_cannot_be_read_makes_nothing(tmp_path, name, text):
    (tmp_path / name).write_text(text)
    with pytest.raises(BadInput, match=name):
        create_collection(tmp_path / "a", tree=str(tmp_path / name))
    assert not (tmp_path / "a").exists()


def test_of_a_file_with_several_trees_one_is_chosen_later(tmp_path):
    (tmp_path / "trees.nwk").write_text("(Aus_bus:1,Aus_cus:1);(Aus_bus:1,Aus_cus:2);")
    create_collection(tmp_path / "a", tree=str(tmp_path / "trees.nwk"))
    assert (tmp_path / "a" / "trees.nwk").exists()


def test_a_folder_with_other_files_keeps_them(tmp_path):
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    create_collection(tmp_path)
    assert contents(tmp_path)["notes.txt"] == b"mine"


def test_a_tree_that_is_in_the_folder_already_stays_where_it_is(tmp_path):
    tree = tmp_path / "mine.nwk"
    tree.write_text(NEWICK, encoding="utf-8")
    create_collection(tmp_path, tree=str(tree))
    assert open_collection(tmp_path).tree_name == "mine.nwk"
    assert tree.read_text(encoding="utf-8") == NEWICK


def test_another_tree_of_that_name_is_never_written_over(tmp_path):
    for place, text in ((tmp_path, NEWICK), (tmp_path / "a", "(x:1,y:1);")):
        place.mkdir(exist_ok=True)
        (place / "mine.nwk").write_text(text, encoding="utf-8")
    with pytest.raises(WrongUse, match=r"mine\.nwk"):
        create_collection(tmp_path / "a", tree=str(tmp_path / "mine.nwk"))
    assert contents(tmp_path / "a") == {"mine.nwk": b"(x:1,y:1);"}


CHECKLIST = "species,section,2n\nAus bus,One,22\nAus cus,One,44\nBus dus,Two,\n"
FASTA = ">Aus_bus\nTAAAAAAAAAAAAAAAAAAA\n>Aus_cus\nACAAAAAAAAAAAAAAAAAA\n>Bus_eus\nAAGGAAAAAAAAAAAAAAAA\n"


def test_a_checklist_is_tree_and_traits_at_once(tmp_path):
    (tmp_path / "list.csv").write_text(CHECKLIST, encoding="utf-8")
    made = create_collection(tmp_path / "a", classification=tmp_path / "list.csv")
    opened = open_collection(tmp_path / "a")
    assert made.tree == opened.tree_name == "list.csv"
    assert opened.distances.patristic_from("Aus bus", ["Aus cus", "Bus dus"]).tolist() == [2, 6]
    assert opened.distances.unit == "rank steps"
    assert (opened.traits.column("2n").kind, opened.traits.column("section").kind) == ("count", "text")
    assert sorted(made.files) == sorted(contents(tmp_path / "a"))


def test_a_checklist_with_a_fault_makes_nothing(tmp_path):
    (tmp_path / "list.csv").write_text("species,section\nAus bus,One\nAus_bus,One\n", encoding="utf-8")
    with pytest.raises(BadInput, match="row 3"):
        create_collection(tmp_path / "a", classification=tmp_path / "list.csv")
    assert not (tmp_path / "a").exists()


def test_aligned_sequences_become_a_tree(tmp_path):
    """They differ at 2 and 3 of 20 sites: Jukes & Cantor 1969. Any three distances are those of a tree."""
    (tmp_path / "its.fasta").write_text(FASTA, encoding="utf-8")
    made = create_collection(tmp_path / "a", alignment=tmp_path / "its.fasta", outgroup=["Bus eus"])
    tree = open_collection(tmp_path / "a").distances
    assert (made.tree, tree.unit, tree.rooted) == ("tree.nwk", "substitutions per site", True)
    assert sorted(made.files) == sorted(contents(tmp_path / "a"))
    near, far = (-0.75 * log(1 - 4 / 3 * share) for share in (0.1, 0.15))
    names = ["Aus bus", "Aus cus", "Bus eus"]
    assert tree.patristic_matrix(names) == pytest.approx(np.array([[0, near, far], [near, 0, far], [far, far, 0]]))
    assert tree.clade("Aus bus", "Aus cus").size == 2
    create_collection(tmp_path / "b", alignment=tmp_path / "its.fasta")
    levelled = open_collection(tmp_path / "b").distances
    assert levelled.patristic_matrix(names) == pytest.approx(tree.patristic_matrix(names))


def test_a_collection_has_one_start(tmp_path):
    for name, text in (("list.csv", CHECKLIST), ("its.fasta", FASTA)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    start = {"tree": "echinocereus", "classification": tmp_path / "list.csv", "alignment": tmp_path / "its.fasta"}
    for left_out in start:
        with pytest.raises(WrongUse, match="one thing"):
            create_collection(tmp_path / "a", **{key: value for key, value in start.items() if key != left_out})
    with pytest.raises(WrongUse, match="--alignment"):
        create_collection(tmp_path / "a", outgroup=["Aus bus"])
    assert not (tmp_path / "a").exists()


def test_a_collection_and_its_model_know_the_book_they_belong_to(tmp_path):
    create_collection(tmp_path / "ours")
    settings = read_settings(tmp_path / "ours" / "collection.toml")
    store = open_book(tmp_path / "ours", settings)
    store.close()
    assert settings.book_id == store.identity
    assert open_collection(tmp_path / "ours").fingerprints["book"] == store.identity


def test_nothing_is_written_through_a_link_that_lies_in_the_folder(tmp_path):
    folder, mine = tmp_path / "theirs", tmp_path / "mine.csv"
    folder.mkdir()
    (folder / "wanted.csv").symlink_to(mine)
    create_collection(folder)
    assert not mine.exists()
    assert not (folder / "wanted.csv").is_symlink()
