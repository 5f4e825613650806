"""Names as they stand, as they fold and as plant names; tables of distances."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosscompat.ground.errors import BadInput, UnknownName
from crosscompat.phylogeny.distances import DistanceTable, read_distances
from crosscompat.phylogeny.newick import parse_newick

NAN = np.nan


def known(labels):
    return DistanceTable(labels, np.zeros((len(labels), len(labels))))


@pytest.mark.parametrize("many", [1, 300])
def test_few_and_many_names_are_found_alike(many):
    labels = ("Aloe_vera", "Aloe ferox", "Aloe_aristata", "Aloe_" + "long" * 30, "Aloe ×spinosissima")
    asked = ["Aloe vera", "Aloe_ferox", "Aloe aristata Haw.", labels[3], "Aloe x spinosissima", "Aloe_vera"] * many
    assert known(labels).positions(asked).tolist() == [0, 1, 2, 3, 4, 0] * many
    assert known(labels).positions(name for name in asked).tolist() == [0, 1, 2, 3, 4, 0] * many


@pytest.mark.parametrize("many", [1, 200])
def test_all_unknown_names_are_told_at_once(many):
    table = known(("Aloe_vera", "Aloe_ferox"))
    with pytest.raises(UnknownName) as caught:
        table.patristic_pairs(["Aloe vera", "Agave rara"] * many, ["Aloe ferrox", "Agave rara"] * many)
    assert str(caught.value).splitlines() == [
        "“Agave rara” is not a name known here. Did you mean Aloe vera or Aloe ferox?",
        "“Aloe ferrox” is not a name known here. Did you mean Aloe ferox or Aloe vera?",
    ]
    assert caught.value.name == "Agave rara"


def test_many_unknown_names_are_counted():
    with pytest.raises(UnknownName) as caught:
        known(("Aloe_vera",)).positions([*(f"Agave rara{'a' * i}" for i in range(25)), "Aloe_vera L.", "Aloe vera"])
    lines = str(caught.value).splitlines()
    assert len(lines) == 21
    assert lines[-1] == "5 more names are not known here."


@pytest.fixture
def read(tmp_path):
    def put(text, **how):
        path = tmp_path / "distances.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_distances(path, **how)

    return put


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (",a,b\na,0,1.5\nb,1.5,0\n", 1.5),
        (";a;b\na;0;1,5\nb;1,5;0\n", 1.5),
        (";a;b\r\na;0;1.5\r\nb;1.5;0\r\n", 1.5),
        ("\ta\tb\na\t\t1,5\nb\t\t\n", 1.5),
        ("species,a,b\na,,\nb,1.5,\n", 1.5),
        (",a,b\na\nb,1.5\n", 1.5),
        (",a,b\nb,1.5,0\na,0,1.5\n", 1.5),
        (b"\xef\xbb\xbf,a,b\na,0,1.5\nb,1.5,0\n", 1.5),
        ('"","a","b"\n"a",0,15e-1\n"b",NA,0\n', 1.5),
        (",a,b\n\na,0,1.5\n\nb,1.5,0\n\n", 1.5),
        (",a,b,\na,0,1.5,\nb,1.5,0,\n", 1.5),
        (",a,b\na,0,1.50000000001\nb,1.5,0\n", 1.500000000005),
        (",a,b\na,0,\nb,,0\n", NAN),
        (",a,b\na,0,0\nb,0,0\n", 0),
    ],
)
def test_tables_as_programs_write_them(read, text, wanted):
    table = read(text)
    assert table.tips == ("a", "b")
    np.testing.assert_allclose(table.patristic_matrix(), [[0, wanted], [wanted, 0]], rtol=1e-15)


@pytest.mark.parametrize(
    ("text", "places"),
    [
        (",a,b,c\na,0,1,x\nb,1,0,-4\nc,2,,0\n", {(2, "c", "“x”"), (3, "c", "negative")}),
        (",a,b\na,0,1\nb,2,0\n", {(2, "b", "Here stands 1, and in row 3, column a stands 2")}),
        (",a,b\na,7,1\nb,1,0\n", {(2, "a", "distance 7 to itself")}),
        (",a,a\na,0,1\n", {(1, "a", "named like the column a")}),
        (",a_b,b\na_b,0,1\na b,0\nb,1\n", {(3, "1", "has a row already, row 2")}),
        (",a,b\na,0,1\nq,1,0\n", {(3, "1", "“q” has a row and no column"), (1, "b", "“b” has a column and no row")}),
        (",a,b\na,0,1,5\nb,1,0\n", {(2, None, "more cells")}),
        (",a,b\na,0,1\n,1,0\n", {(3, "1", "A name is missing"), (1, "b", "no row")}),
        (",a,,b\na,0,1,2\nb,2,3,0\n", {(1, "3", "A name is missing")}),
        (",a,b\na,0,inf\nb,,0\n", {(2, "b", "“inf”")}),
        (",a,b\na,0,1_0\nb,,0\n", {(2, "b", "“1_0”")}),
        ("a\n", {(1, None, "names no species")}),
        ("", {(None, None, "empty")}),
        ("(a:1,b:1);", {(None, None, "looks like a tree")}),
        ("#NEXUS\n", {(None, None, "looks like a tree")}),
    ],
)
def test_every_fault_is_told_with_its_row_and_column(read, text, places):
    with pytest.raises(BadInput) as caught:
        read(text)
    found = [(fault.place.row, fault.place.column, fault.what) for fault in caught.value.faults]
    assert len(found) == len(places)
    for row, column, words in places:
        assert any((row, column) == (place[0], place[1]) and words in place[2] for place in found)
    assert [place[0] or 0 for place in found] == sorted(place[0] or 0 for place in found)


def test_a_table_in_another_encoding_is_told(read):
    with pytest.raises(BadInput, match="not UTF-8"):
        read(",\xe9,b\n\xe9,0,1\nb,1,0\n".encode("latin-1"))


def test_a_cell_that_never_ends_is_told(read):
    with pytest.raises(BadInput, match="quotation mark is not closed"):
        read(',a\na,"' + "0" * 200_000)


def test_many_faults_are_counted(read):
    lines = [",".join(["", *(f"t{i}" for i in range(30))])]
    lines += [",".join([f"t{i}", *["x"] * 30]) for i in range(30)]
    with pytest.raises(BadInput) as caught:
        read("\n".join(lines))
    assert len(caught.value.faults) == 21
    assert caught.value.faults[-1].what == "880 more cells are no number."


def test_only_the_pairs_used_must_be_known(read):
    table = read(",a,b,c\na,0,1,\nb,1,0,\nc,,,0\n", unit="My")
    assert table.unit == "My"
    assert table.patristic_pairs(["a", "b"], ["b", "b"]).tolist() == [1, 0]
    assert np.array_equal(table.patristic_from("a"), [0, 1, NAN], equal_nan=True)
    assert np.array_equal(table.patristic_matrix(["c", "a"]), [[0, NAN], [NAN, 0]], equal_nan=True)
    with pytest.raises(BadInput) as caught:
        table.patristic_pairs(["a", "a", "c", "a"], ["b", "c", "b", "c"])
    assert ["a and c" in caught.value.faults[0].what, "c and b" in caught.value.faults[1].what] == [True, True]
    assert len(caught.value.faults) == 2
    with pytest.raises(BadInput):
        table.patristic("a", "c")


def test_names_are_resolved_as_on_a_tree():
    table = DistanceTable(("Aloe_vera", "Aloe ferox"), [[0, 2], [2, 0]])
    assert table.patristic("Aloe vera (L.) Burm. f.", "Aloe_ferox") == 2
    with pytest.raises(UnknownName):
        table.patristic("Aloe vera", "nobody")


@pytest.mark.parametrize(
    "values",
    [[[0, 1]], [[0, 1], [2, 0]], [[1, 1], [1, 0]], [[0, -1], [-1, 0]], [[0, np.inf], [np.inf, 0]], [[NAN, 1], [1, 0]]],
)
def test_values_that_are_no_distances_are_a_wrong_call(values):
    with pytest.raises(ValueError, match="values must"):
        DistanceTable(("a", "b"), values)


def test_the_values_cannot_be_written_to():
    table = DistanceTable(("a", "b"), [[0, 1], [1, 0]])
    with pytest.raises(ValueError, match="read-only"):
        table.values[0, 1] = 5
    table.patristic_matrix()[0, 1] = 5
    assert table.patristic("a", "b") == 1


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), size=st.integers(1, 12))
def test_a_trees_matrix_written_and_read_is_the_same_table(seed, size, grow, tmp_path_factory):
    tree = parse_newick(grow(seed, size).newick())
    matrix = tree.patristic_matrix()
    lines = [",".join(["", *tree.tips])]
    lines += [",".join([tip, *map(repr, row.tolist())]) for tip, row in zip(tree.tips, matrix, strict=True)]
    path = tmp_path_factory.mktemp("table") / "d.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    table = read_distances(path)
    assert np.array_equal(table.patristic_matrix(), matrix)
    assert table.fingerprint == DistanceTable(tree.tips[::-1], matrix[::-1, ::-1]).fingerprint
    assert table.fingerprint != DistanceTable(tree.tips, matrix, "My").fingerprint


def test_two_columns_of_one_name_are_told_by_the_first(tmp_path):
    path = tmp_path / "d.csv"
    path.write_text(",a x,b,c,a_x\na x,0\nb,1,0\nc,1,1,0\na_x,1,1,1,0\n", encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        read_distances(path)
    assert "named like the column a x;" in str(caught.value)
