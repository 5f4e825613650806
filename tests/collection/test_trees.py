"""A tree is read again as soon as its file, or the way of reading, is another."""

from __future__ import annotations

import os

import numpy as np
import pytest

from crosscompat.collection import caches, opening, trees
from crosscompat.ground.errors import BadInput
from crosscompat.phylogeny.newick import parse_newick

CACHE = ".tree.cache"
NEWICK = "((Aus_bus:1,Aus_cus:1)Aus:2,Aus_dus:3);\n"
NEXUS = "#NEXUS\nbegin trees;\ntree one = [&R] ((Aus_bus:1,Aus_cus:1):2,Aus_dus:3);\nend;\n"


@pytest.fixture
def folder(tmp_path):
    """A collection with a tree and nothing else."""

    def make(tree=NEWICK, name="tree.nwk", **settings):
        lines = {"format": 1, "tree": f'"{name}"', **settings}
        text = "".join(f"{key} = {value}\n" for key, value in lines.items())
        (tmp_path / "collection.toml").write_text(text, encoding="utf-8")
        (tmp_path / name).write_text(tree, encoding="utf-8")
        return tmp_path

    return make


def open_collection(place):
    """As a command opens it."""
    return opening.open_collection(place, remember=True)


def distance(place):
    return open_collection(place).distances.patristic("Aus bus", "Aus cus")


def reads(monkeypatch):
    """Count how often the tree is read."""
    counted = []
    whole = trees.remembered_tree

    def counting(folder, file, read, *how, remember):
        def once():
            counted.append(file.name)
            return read()

        return whole(folder, file, once, *how, remember=remember)

    monkeypatch.setattr("crosscompat.collection.opening.remembered_tree", counting)
    return counted


@pytest.mark.parametrize(
    ("tree", "name"),
    [(NEWICK, "tree.nwk"), (NEXUS, "tree.nex"), ("species,section\nAus bus,A\nAus cus,A\nAus dus,B\n", "t.csv")],
    ids=["newick", "nexus", "checklist"],
)
def test_a_tree_is_read_once(folder, monkeypatch, tree, name):
    place, counted = folder(tree, name), reads(monkeypatch)
    first, again = open_collection(place).distances, open_collection(place).distances
    assert counted == [name]
    assert (again.labels, again.unit, again.rooted) == (first.labels, first.unit, first.rooted)
    for array in ("parent", "length", "support"):
        np.testing.assert_array_equal(getattr(again, array), getattr(first, array))
        assert not getattr(again, array).flags.writeable
    assert again.fingerprint == first.fingerprint


def test_one_byte_of_the_file_counts_whatever_the_clock_says(folder):
    place = folder()
    assert distance(place) == 2.0
    file, times = place / "tree.nwk", (place / "tree.nwk").stat()
    file.write_text(NEWICK.replace("Aus_bus:1", "Aus_bus:4"), encoding="utf-8")
    os.utime(file, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert file.stat().st_size == times.st_size
    assert distance(place) == 5.0
    file.write_text(NEWICK, encoding="utf-8")
    assert distance(place) == 2.0


def test_settings_that_decide_how_a_tree_is_read_count(folder):
    both = NEWICK + NEWICK.replace("Aus_bus:1", "Aus_bus:4")
    assert distance(folder(both, tree_index=0)) == 2.0
    assert distance(folder(both, tree_index=1)) == 5.0
    assert open_collection(folder(both, tree_index=1, tree_unit='"My"')).distances.unit == "My"
    assert distance(folder(both, tree_index=1, tree_unit='"unit"')) == 2.0


@pytest.mark.parametrize(
    "damage",
    [
        lambda kept: kept[: len(kept) // 2],
        lambda kept: kept[:40] + bytes([kept[40] ^ 1]) + kept[41:],
        lambda _: b"",
        lambda _: b"garbage" * 50,
    ],
    ids=["cut", "one bit", "empty", "garbage"],
)
def test_a_damaged_cache_is_not_used_and_is_made_again(folder, monkeypatch, damage):
    place, counted = folder(), reads(monkeypatch)
    assert distance(place) == 2.0
    kept = (place / CACHE).read_bytes()
    (place / CACHE).write_bytes(damage(kept))
    assert distance(place) == 2.0
    assert len(counted) == 2
    assert (place / CACHE).read_bytes() == kept


def test_the_cache_of_another_tree_is_not_used(folder, tmp_path_factory):
    place = folder(NEWICK.replace("Aus_bus:1", "Aus_bus:4"))
    assert distance(place) == 5.0
    other = (place / CACHE).read_bytes()
    folder()
    (place / CACHE).write_bytes(other)
    assert distance(place) == 2.0


def test_the_cache_of_another_version_is_not_used(folder, monkeypatch):
    place, counted = folder(), reads(monkeypatch)
    distance(place)
    monkeypatch.setattr(caches, "__version__", "0.0.0")
    distance(place)
    assert len(counted) == 2


def test_a_faulty_tree_is_told_every_time_and_a_table_is_read_every_time(folder, monkeypatch):
    place = folder("((Aus_bus:1,Aus_cus:x):2,Aus_dus:3);")
    for _ in range(2):
        with pytest.raises(BadInput, match=r"tree\.nwk"):
            open_collection(place)
    counted = reads(monkeypatch)
    place = folder(",Aus bus,Aus cus\nAus bus,0,7\nAus cus,7,0\n", "distances.csv")
    assert (distance(place), distance(place), len(counted)) == (7.0, 7.0, 2)
    assert not (place / CACHE).exists()


def test_where_nothing_can_be_written_the_tree_is_read_every_time(folder, monkeypatch, capsys):
    def frozen(path, content):
        raise PermissionError(13, "Permission denied", str(path))

    place, counted = folder(), reads(monkeypatch)
    monkeypatch.setattr(caches, "write_atomically", frozen)
    assert (distance(place), distance(place), len(counted)) == (2.0, 2.0, 2)
    assert capsys.readouterr() == ("", "")


def test_a_file_that_changes_while_it_is_read_is_not_remembered(tmp_path):
    file = tmp_path / "tree.nwk"
    file.write_text(NEWICK, encoding="utf-8")

    def read():
        found = parse_newick(file.read_bytes())
        file.write_text(NEWICK.replace("Aus_bus:1", "Aus_bus:4"), encoding="utf-8")
        return found

    trees.remembered_tree(tmp_path, file, read, remember=True)
    assert not (tmp_path / CACHE).exists()


def test_what_only_opens_a_collection_leaves_its_folder_alone(folder, monkeypatch):
    place, counted = folder(), reads(monkeypatch)
    opening.open_collection(place)
    assert not (place / CACHE).exists()
    open_collection(place)
    opening.open_collection(place)
    assert len(counted) == 2
