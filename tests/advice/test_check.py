from __future__ import annotations

from crosscompat.advice.check import check
from crosscompat.book.current_plants import Plant
from crosscompat.collection.settings import Settings
from crosscompat.phylogeny.table import DistanceTable, read_distances


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
