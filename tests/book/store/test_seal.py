"""A history that is not as it was written is noticed: writing stops at it, reading does not."""

from __future__ import annotations

import random
import shutil
import sqlite3
import warnings
from dataclasses import replace
from datetime import date

import pytest

from crosscompat.book.records import KINDS, Cross, Finding, Observation, Plant, Pollination
from crosscompat.book.store import Damaged, open_store
from crosscompat.book.store.backup import back_up, is_book, restore
from crosscompat.book.store.database import transaction
from crosscompat.book.store.seal import first_altered, last_altered
from crosscompat.collection.settings import Settings, open_book
from crosscompat.ground.errors import BookWarning, CrosscompatError, WrongUse

PLANT = Plant(name="coc-1", place="bench 1", note="ä × ß")


def filled(where):
    """Four changes: a plant, a cross with its counts, the plant moved, a count taken back."""
    store = open_store(where)
    cross = Cross(number="26-01", seed_plant=PLANT.id)
    visit = Pollination(cross=cross.id, date=date(2026, 5, 1), units=4, temperature=21)
    seen = Observation(cross=cross.id, what="pods_set", count=3)
    with store.writing("planted") as pen:
        pen.add(PLANT)
    with store.writing("pollinated") as pen:
        pen.add(cross, visit, seen)
    with store.writing("moved") as pen:
        pen.replace(replace(PLANT, place="bench 2"))
    with store.writing("taken back") as pen:
        pen.withdraw(seen)
    return store


@pytest.fixture
def path(tmp_path):
    filled(tmp_path / "book.sqlite").close()
    return tmp_path / "book.sqlite"


def everything(store):
    with store.reading() as page:
        return page.changes(), {kind: page.versions(kind) for kind in KINDS.values()}


def one_more(store):
    with store.writing("one more") as pen:
        pen.add(Plant(name="das-1"))


def test_what_was_written_comes_to_its_digests(place):
    store = filled(place)
    assert store.altered() is None
    one_more(store)
    assert store.altered() is None
    changes, _ = everything(store)
    assert len({change.digest for change in changes}) == len({change.uid for change in changes}) == 5
    store.close()


ALTERED = [
    ("UPDATE plants SET note = 'a x b' WHERE place = 'bench 1'", 1),
    ("UPDATE plants SET place = 'bench 3' WHERE place = 'bench 2'", 3),
    ("UPDATE pollinations SET units = 5", 2),
    ("UPDATE pollinations SET units = 'four'", 2),
    ("UPDATE pollinations SET temperature = 21.000000000000004", 2),
    ("UPDATE plants SET replaced_in = 4 WHERE place = 'bench 1'", 3),
    ("UPDATE observations SET replaced_in = 3", 3),
    ("UPDATE observations SET made_in = 1", 1),
    ("DELETE FROM observations", 2),
    ("DELETE FROM plants WHERE made_in = 3", 3),
    ("DELETE FROM changes WHERE id = 3", 4),
    ("DELETE FROM changes WHERE id = 4", 4),
    ("UPDATE changes SET who = 'Ida' WHERE id = 2", 2),
    ("UPDATE changes SET uid = 'x' WHERE id = 2", 2),
    ("UPDATE changes SET at = '2020-01-01 00:00:00.000000' WHERE id = 4", 4),
    ("UPDATE changes SET digest = 'x' WHERE id = 3", 3),
    ("UPDATE records SET kind = 'crosses' WHERE kind = 'plants'", 1),
    ("DELETE FROM records WHERE kind = 'observations'", 2),
    ("INSERT INTO records (id, kind) VALUES ('x', 'plants')", 4),
    ("UPDATE plants SET note = CAST(x'c328' AS TEXT) WHERE place = 'bench 2'", 3),
]


@pytest.mark.parametrize(("sql", "number"), ALTERED)
def test_the_first_change_that_is_not_as_it_was_written_is_named_and_nothing_more_is_written(path, sql, number):
    copy = back_up(path)
    with sqlite3.connect(path) as connection:
        connection.execute(sql)
    connection.close()
    store = open_store(path)
    assert f"Change {number} in the cross book {path} is not as it was written." in str(store.altered())
    before = path.read_bytes()
    with pytest.raises(Damaged, match=f"Change {number} in .*restore --last"):
        one_more(store)
    with pytest.raises(Damaged, match=f"Change {number} in"):
        back_up(path)
    if "c328" not in sql:
        with store.reading() as page:
            assert page.current(Plant) is not None
    store.close()
    assert path.read_bytes() == before
    assert not is_book(path)
    assert not restore(path, copy).sound
    assert open_store(path).altered() is None


def test_a_digest_knows_which_of_several_records_was_replaced(tmp_path):
    store = open_store(tmp_path / "book.sqlite")
    plant = Plant(name="coc-1")
    one, other = (Finding(plant=plant.id, what="sex", value=value) for value in ("female", "male"))
    with store.writing("planted") as pen:
        pen.add(plant, one, other)
    with store.writing("a mistake") as pen:
        pen.withdraw(one)
    with transaction(store.database, writing=True) as connection:
        connection.execute("UPDATE findings SET replaced_in = CASE id WHEN ? THEN 2 END", (other.id,))
    with store.reading() as page:
        assert [finding.value for finding in page.current(Finding)] == ["female"]
    with pytest.raises(Damaged, match="Change 2 "):
        raise store.altered()
    store.close()


def test_a_copy_that_was_altered_is_not_put_back(path):
    copy = back_up(path)
    with sqlite3.connect(copy) as connection:
        connection.execute("UPDATE observations SET count = 4")
    connection.close()
    with pytest.raises(WrongUse, match=r"Change 2 in the copy .* is not as it was written"):
        restore(path, copy)


def test_a_large_book_and_one_on_a_server_are_judged_by_their_last_change_before_each_writing(place, monkeypatch):
    monkeypatch.setattr("crosscompat.book.store._SMALL", 0)
    store = filled(place)
    with transaction(store.database, writing=True) as connection:
        assert last_altered(connection.execute) is None
        connection.execute("UPDATE plants SET place = 'bench 3' WHERE place = 'bench 1'")
        assert last_altered(connection.execute) is None
        assert first_altered(connection.execute) == 1
    one_more(store)
    with transaction(store.database, writing=True) as connection:
        connection.execute("UPDATE plants SET place = 'bench 3' WHERE name = 'das-1'")
    with pytest.raises(Damaged, match="Change 5 in"), store.writing("one more") as pen:
        pen.add(Plant(name="pec-1"))
    assert "Change 1 in" in str(store.altered())
    store.close()


def test_what_was_not_yet_taken_in_at_another_time_makes_no_book(tmp_path):
    """A file of one time with the ``-wal`` of another beside it, as a careless copying leaves them."""
    path = tmp_path / "book.sqlite"
    store = filled(path)
    store.close()
    early = path.read_bytes()
    store = open_store(path)
    for i in range(40):
        with store.writing("planted") as pen:
            pen.add(*(Plant(name=f"das-{i}-{j}", note="x" * 300) for j in range(10)))
        if i == 30:
            with sqlite3.connect(path) as connection:
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.close()
    wal = path.with_name("book.sqlite-wal").read_bytes()
    store.close()
    path.write_bytes(early)
    path.with_name("book.sqlite-wal").write_bytes(wal)
    with pytest.raises(Damaged):
        one_more(open_store(path))


def test_no_bit_is_turned_unnoticed(path):
    chance = random.Random(7)
    sound, content = everything(open_store(path)), path.read_bytes()
    filled_bytes = [at for at, byte in enumerate(content) if byte]
    noticed = 0
    for _ in range(150):
        harmed = bytearray(content)
        harmed[chance.choice(filled_bytes)] ^= 1 << chance.randrange(8)
        path.write_bytes(bytes(harmed))
        for ending in ("-wal", "-shm"):
            path.with_name(path.name + ending).unlink(missing_ok=True)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", BookWarning)
                store = open_store(path)
                found = everything(store)
        except CrosscompatError:
            noticed += 1
            continue
        with_damage = store.damage or store.altered()
        store.close()
        noticed += with_damage is not None
        assert with_damage or found == sound
    assert noticed > 40


def test_of_a_book_that_is_damaged_in_one_place_the_rest_is_read(path):
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (root,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'seed_lots'").fetchone()
    connection.close()
    content = bytearray(path.read_bytes())
    content[(root - 1) * 4096 : root * 4096] = random.Random(3).randbytes(4096)
    path.write_bytes(content)
    store = open_store(path)
    with pytest.warns(BookWarning, match="nothing more is written in it"), store.reading() as page:
        assert [plant.name for plant in page.current(Plant)] == ["coc-1"]
    with pytest.raises(Damaged, match="is damaged"):
        one_more(store)


def test_another_book_in_its_place_is_read_and_not_written_in(path, tmp_path):
    own = open_store(path).identity
    other = filled(tmp_path / "other.sqlite")
    other.close()
    assert len({own, other.identity}) == 2
    shutil.copy(tmp_path / "other.sqlite", path)
    one_more(open_book(tmp_path, Settings()))
    one_more_there = open_book(tmp_path, Settings(book_id=own))
    with pytest.raises(Damaged, match="not the one that belongs to this collection"):
        one_more(one_more_there)
    with pytest.warns(BookWarning, match=other.identity), one_more_there.reading() as page:
        assert len(page.current(Plant)) == 2


def test_an_empty_book_becomes_that_of_the_collection(place):
    open_store(place).close()
    store = open_store(place, identity="that of the collection")
    assert store.damage is None
    one_more(store)
    store.close()
    again = open_store(place)
    assert again.identity == "that of the collection"
    again.close()
