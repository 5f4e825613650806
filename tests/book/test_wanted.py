from __future__ import annotations

import pytest

from crosscompat.book.crosses import Wanted, read_wanted
from crosscompat.ground.errors import BadInput


@pytest.fixture
def written(tmp_path):
    def write(text, name="wanted.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_the_crosses_wanted_keep_their_order_and_names_as_written(written):
    found = read_wanted(
        written('Pollen parent,Seed parent,note,want\nE. ×roetteri,C-1,"red, and hardy",5\n\nAus_bus,A b,,\n')
    )
    assert found == (Wanted("C-1", "E. ×roetteri", 5, "red, and hardy", 2), Wanted("A b", "Aus_bus", None, None, 4))


def test_an_empty_list_is_no_fault(written):
    assert read_wanted(written("seed_parent,pollen_parent\n")) == ()


def test_every_fault_is_told_at_once(written):
    path = written("seed_parent,pollen_parent,want,colour\nA b,,6,red\n,C d,0,\nA b,C d,much,\n")
    with pytest.raises(BadInput) as caught:
        read_wanted(path)
    assert [(str(fault.place), fault.what) for fault in caught.value.faults] == [
        ("wanted.csv, row 1", "Nothing here is called “colour”."),
        ("wanted.csv, row 2, column pollen_parent", "This must be filled in."),
        ("wanted.csv, row 2, column want", "“6” is out of range."),
        ("wanted.csv, row 3, column seed_parent", "This must be filled in."),
        ("wanted.csv, row 3, column want", "“0” is out of range."),
        ("wanted.csv, row 4, column want", "“much” is no whole number."),
    ]
