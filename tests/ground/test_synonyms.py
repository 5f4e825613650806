from __future__ import annotations

import pytest

from crosscompat.ground.errors import BadInput
from crosscompat.ground.names import NameIndex
from crosscompat.ground.synonyms import for_labels, read_synonyms


@pytest.fixture
def read(tmp_path):
    def read(text):
        path = tmp_path / "synonyms.csv"
        path.write_text(text, encoding="utf-8")
        return read_synonyms(path)

    return read


def test_names_and_what_they_mean_are_kept_as_written(read):
    found = read("accepted;name;source\nAus bus;Bus_novus;somebody\nAus bus;Cus novus;\n")
    assert found == {"Bus_novus": "Aus bus", "Cus novus": "Aus bus"}


def test_every_fault_is_told_with_its_row(read):
    with pytest.raises(BadInput) as caught:
        read(
            "name,accepted\nBus novus,Aus bus\nBus_novus,Aus cus\n,Aus bus\nBus dus,\nAus eus,Aus_eus\n"
            "Aus fus,Aus fus × Aus bus\n"
        )
    told = [(fault.place.row, fault.place.column) for fault in caught.value.faults]
    assert told == [(3, "name"), (4, "name"), (5, "accepted"), (6, "accepted"), (7, "accepted")]
    assert "row 2 has it already" in str(caught.value)


@pytest.mark.parametrize("text", ["name\nAus bus\n", "synonym,accepted\nAus bus,Aus cus\n", ""])
def test_a_table_without_its_columns_is_refused(read, text):
    with pytest.raises(BadInput):
        read(text)


def test_a_label_is_found_from_either_side():
    labels = ["Aus_bus", "Bus_vetus"]
    index = NameIndex(labels, for_labels({"Aus novus": "Aus bus", "Bus vetus": "Bus currens"}, labels))
    assert index.match("Aus novus").label == "Aus_bus"
    assert index.match("Aus novus").how == "synonym"
    assert index.resolve("Bus currens") == "Bus_vetus"
    assert index.match("Bus currens").sentence


@pytest.mark.parametrize(
    ("synonyms", "labels"),
    [
        ({"Bus vetus": "Bus currens", "Bus alter": "Bus currens"}, ["Bus_vetus", "Bus_alter"]),  # which of the two?
        ({"Bus vetus": "Bus currens"}, ["Bus_vetus", "Bus_currens"]),  # it stands there itself
        ({"Bus vetus": "Bus currens", "Bus currens": "Aus bus"}, ["Bus_vetus", "Aus_bus"]),  # it means another
    ],
)
def test_the_way_back_is_only_taken_where_it_is_plain(synonyms, labels):
    assert for_labels(synonyms, labels) == synonyms


def test_synonyms_that_go_in_a_circle_find_nothing():
    synonyms = {"Aus bus": "Aus cus", "Aus cus": "Aus bus"}
    assert NameIndex(["Aus_dus"], for_labels(synonyms, ["Aus_dus"])).find("Aus bus") is None
