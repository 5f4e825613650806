from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.book.current_plants import HEADER, Plant, Plants, read_plants
from crosscompat.book.records import SEXES
from crosscompat.ground.errors import BadInput


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "plants.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def faults_of(path):
    with pytest.raises(BadInput) as caught:
        read_plants(path)
    return [(str(fault.place), fault.what) for fault in caught.value.faults]


def test_every_column_is_read_and_blank_is_unknown(written):
    path = written(
        ",".join(HEADER) + "\nC-1,E. coccineus,C,Female,44,no,gift,hardy\nC-2,Echinocereus_coccineus,,,,,,\n"
    )
    bench = read_plants(path)
    assert bench.find("C-1") == Plant("C-1", "E. coccineus", "C", "female", 44, self_fertile=False, source="gift",
                                      note="hardy", row=2)  # fmt: skip
    assert bench.find("C-2") == Plant("C-2", "Echinocereus_coccineus", "C-2", row=3)
    assert bench.find("C-3") is None
    assert bench.find(None) is None


def test_two_columns_are_enough(written):
    assert read_plants(written("species,plant\nAus bus,1\n")).by_name.keys() == {"1"}
    assert read_plants(written("plant,species\n")).by_name == {}


@pytest.mark.parametrize("sex", SEXES)
def test_every_sex_is_a_word(written, sex):
    found = read_plants(written(f"plant,species,sex\n1,Aus bus,{sex.upper().replace(' ', '_')}\n"))
    assert found.find("1").sex == sex


def test_every_fault_is_told_at_once_in_the_order_of_the_file(written):
    path = written(
        "plant,species,sex,2n,self_fertile\n1,Aus bus,neuter,22,yes\n,Aus bus,,,\n1,,,many,perhaps\n1,Aus bus,,,\n"
        "1,Aus cus,,,\n"
    )
    assert [place for place, _ in faults_of(path)] == [
        "plants.csv, row 2, column sex",
        "plants.csv, row 3, column plant",
        "plants.csv, row 4, column species",
        "plants.csv, row 4, column 2n",
        "plants.csv, row 4, column self_fertile",
        "plants.csv, row 5, column plant",
        "plants.csv, row 6, column plant",
    ]
    assert faults_of(path)[-1][1] == "The plant “1” is also in row 2."


def test_columns_that_are_missing_or_unknown_are_faults(written):
    assert faults_of(written("plant,sexes\n1,male\n")) == [
        ("plants.csv, row 1", "Nothing here is called “sexes”."),
        ("plants.csv, row 1", "The column “species” is missing."),
        ("plants.csv, row 2, column species", "This must be filled in."),
    ]


BENCH = Plants.of([Plant("A1", "Aus bus", "A"), Plant("A2", "Aus bus", "A"), Plant("B", "Aus bus", "B")])


@pytest.mark.parametrize(
    ("one", "two", "same"),
    [
        ("A1", "A1", True),
        ("A1", "A2", True),
        ("A1", "B", False),
        ("A1", "A", True),  # the mother of the offsets, which stands in no row of her own
        ("X", "X", True),
        ("X", "Y", False),
        ("X", "A1", False),
        (None, "A1", False),
        (None, None, False),  # two plants nobody noted may well be two
    ],
)
def test_offsets_of_one_plant_are_one_clone(one, two, same):
    assert BENCH.one_clone(one, two) is same
    assert BENCH.one_clone(two, one) is same


@given(st.lists(st.sampled_from("ABC"), min_size=3, max_size=6))
def test_clones_part_the_plants_into_groups(clones):
    bench = Plants.of(Plant(f"p{i}", "Aus bus", clone) for i, clone in enumerate(clones))
    for i, one in enumerate(clones):
        for j, two in enumerate(clones):
            assert bench.one_clone(f"p{i}", f"p{j}") == (one == two)


def test_a_name_that_is_no_plants_is_taken_for_a_species():
    assert (BENCH.species("A1"), BENCH.species("Aus cus")) == ("Aus bus", "Aus cus")
