from __future__ import annotations

import pytest

from crosscompat.advice.check import botany_notes, check
from crosscompat.book.current_plants import Plant
from crosscompat.collection.opening import with_missing
from crosscompat.collection.settings import Settings
from crosscompat.phylogeny.distances import DistanceTable, read_distances
from crosscompat.phylogeny.formats import TreeSample
from crosscompat.phylogeny.newick import parse_newick, parse_newicks
from crosscompat.traits import TraitColumn, TraitTable


def places(made):
    return [(entry.where, entry.column, entry.name) for entry in check(made).unmatched]


def test_what_the_collection_holds_is_counted(collection, book):
    made = collection(
        book, [Plant("A", "Aus bus", "A")], [("Aus bus", "A. cus")], settings=Settings(name="ours", invented=True),
        notices=("Upgraded.",),
    )  # fmt: skip
    found = check(made)
    assert (found.name, found.tree, found.invented, found.notices) == ("ours", "ours", True, ["Upgraded."])
    assert (found.species, found.plants, found.crosses, found.wanted) == (5, 1, 12, 1)
    assert found.unmatched == []
    assert found.tree_notes[0] == "The tree holds 5 species."
    assert [(trait.name, trait.kind, trait.known) for trait in found.traits] == [
        ("spines_paired", "flag", 3), ("2n", "count", 4), ("style_mm", "measure", 3), ("flowering", "months", 3),
        ("sex", "text", 3),
    ]  # fmt: skip


def test_names_without_a_place_are_told_with_their_plant_cross_or_row(collection, cross):
    made = collection(
        [
            cross("Aus nus", "A. cus", row=2),
            cross("Aus bus", "A. nus", row=3, seed_plant="A", pollen_plant="Z"),
            cross("Aus bus", None, pollen_kind="open", row=4),
            cross("X. bus", "Aus cus", row=5),
        ],
        [Plant("A", "Aus bus", "A", row=2), Plant("N", "Aus nus", "N", row=3)],
        [("A", "A. cus"), ("Aus bus", "A. nus"), ("N", "Aus gus"), ("Z", "X. cus")],
    )
    assert places(made) == [
        ("plant N", "species", "Aus nus"),
        ("cross row 2 of 2024-05-01", "seed_parent", "Aus nus"),
        ("cross row 3 of 2024-05-01", "pollen_parent", "A. nus"),
        ("cross row 5 of 2024-05-01", "seed_parent", "X. bus"),
        ("wanted.csv, row 3", "pollen_parent", "A. nus"),
        ("wanted.csv, row 4", "pollen_parent", "Aus gus"),
        ("wanted.csv, row 5", "seed_parent", "Z"),
        ("wanted.csv, row 5", "pollen_parent", "X. cus"),
        ("cross row 3 of 2024-05-01", "pollen_plant", "Z"),
    ]
    why = {(entry.where, entry.column): entry.why for entry in check(made).unmatched}
    assert "Did you mean" in why["cross row 2 of 2024-05-01", "seed_parent"]
    assert why["cross row 3 of 2024-05-01", "pollen_plant"] == 'There is no plant "Z" in the cross book.'
    assert "Write the genus in full" in why["cross row 5 of 2024-05-01", "seed_parent"]


def test_without_a_table_of_plants_their_names_need_no_place(collection, cross):
    assert places(collection([cross("Aus bus", "A. cus", seed_plant="A", pollen_plant="Z")])) == []


def test_a_table_of_distances_and_no_traits_are_checked_too(collection, tmp_path):
    (tmp_path / "d.csv").write_text(",Aus bus,Aus cus\nAus bus,0,2\nAus cus,2,0\n", encoding="utf-8")
    distances = read_distances(tmp_path / "d.csv")
    assert isinstance(distances, DistanceTable)
    found = check(collection(distances=distances, traits=None))
    assert (found.species, found.traits) == (2, [])
    (usual,) = found.tree_notes
    assert usual.startswith("Distances are measured against 2,")


TREE = "((((Aus_bus:1,Aus_cus:1):1,(Aus_dus:1,Aus_eus:1):1):1,Aus_fus:3):1,Bus_gus:4);"


def traits_of(**section):
    names = tuple(f"Aus {name}" for name in section)
    return TraitTable(names, (TraitColumn("section", "category", True, tuple(section.values())),))


@pytest.fixture
def notes(collection):
    def notes(newick=TREE, traits=None, **more):
        """All but the last, which tells the usual distance."""
        tree, placed = with_missing(parse_newick(newick), traits, more.get("synonyms", {}))
        told = botany_notes(collection(distances=tree, traits=traits, placed=placed, **more))
        assert told[-1].startswith("Distances are measured against")
        return told[:-1]

    return notes


def test_groups_that_are_clades_are_counted(notes):
    traits = traits_of(bus="One", cus="One", dus="Two", eus="Two")
    assert notes(traits=traits) == ["3 groups of the traits and names are clades."]
    assert notes() == ["1 group of the traits or names is a clade."]


def test_who_strays_from_a_group_is_named(notes):
    (told,) = notes(traits=traits_of(bus="One", cus="One", dus="Two", eus="Two", fus="One"))
    assert told.startswith("sect. One is not a clade. These sit apart from its other 2 species: Aus fus.")


def test_a_single_species_in_between_is_named_rather_than_all_the_others(notes):
    traits = traits_of(bus="One", cus="Two", dus="One", eus="One", fus="One")
    (told,) = notes(traits=traits)
    assert told.startswith("sect. One is not a clade. Others sit among its species: Aus cus.")


def test_a_species_placed_by_the_traits_is_told_and_counts_for_no_clade(notes):
    told = notes(traits=traits_of(bus="One", cus="One", dus="Two", eus="Two", xus="One", yus=None))
    assert told[0].startswith("3 groups")
    assert told[1].startswith("2 of these species are known from the traits alone")
    assert "Aus xus (sect. One), Aus yus (Aus)" in told[1]


def test_species_without_any_place_are_named(notes):
    traits = TraitTable(("Aus bus", "Cus alienus", "Dus alienus"), ())
    assert notes(traits=traits)[-1] == "2 species of the traits are not on the tree: Cus alienus, Dus alienus."


def test_tips_that_nobody_has_determined_are_named(notes):
    told = notes("(Aus_bus:1,Aus_aff._cus:1,Aus_cf._dus:1,Bus_sp.:1);")
    assert "3 tips are not determined" in told[-1]
    assert "Aus aff. cus" in told[-1]


def test_synonyms_that_lead_nowhere_are_named(notes):
    told = notes(synonyms={"Bus vetus": "Aus bus", "Cus vetus": "Cus nullus", "Aus ×novus": "Aus bus × Aus cus"})
    assert told[-1] == "1 synonym leads to no species of the tree: Cus vetus."


def test_a_sample_is_told_and_what_it_lacks(notes):
    sample = TreeSample(parse_newicks("((Aus_bus:1,Aus_cus:1):1,Aus_dus:1);" * 2))
    told = notes(sample=sample)
    assert "A sample of 2 trees" in told[-2]
    assert told[-1] == "3 species are not in that sample: Aus eus, Aus fus, Bus gus."


def test_a_long_list_is_cut(notes):
    traits = TraitTable(tuple(f"Cus {letter}us" for letter in "bcdfghjklm"), ())
    assert notes(traits=traits)[-1].endswith("Cus kus and 2 more.")


@pytest.mark.parametrize("newick", ["[&U](Aus_bus:1,Aus_cus:1,Aus_dus:1);", "((Aus_bus:1,Aus_cus:-1):1,Bus_dus:1);"])
def test_no_clade_is_judged_where_none_can_be_told(notes, newick):
    assert notes(newick) == []


def test_a_table_of_distances_has_no_clades(collection):
    table = DistanceTable(("Aus bus", "Aus cus"), [[0, 1], [1, 0]])
    assert len(botany_notes(collection(distances=table, traits=None))) == 1


def test_what_distances_are_measured_against_is_told_and_no_cross_moves_it(collection, trained, book):
    made = collection(distances=parse_newick(TREE, unit="My"), traits=None)
    assert botany_notes(made) == [
        "1 group of the traits or names is a clade.",
        "Distances are measured against 6 My, the usual distance between two species of this tree.",
    ]
    assert botany_notes(trained(book))[-1] == botany_notes(collection())[-1]


def test_a_check_tells_it_with_the_tree(collection):
    made = collection(traits=None, distances=parse_newick(TREE))
    assert check(made).tree_notes[-1] == botany_notes(made)[-1]
