"""What a book holds that a copy does not, whatever the numbers of the changes are."""

from __future__ import annotations

import random
import shutil
import sqlite3

import pytest

from crosscompat.book.records import Plant
from crosscompat.book.store import open_store
from crosscompat.book.store.backup import back_up, changes_lacking, restore
from crosscompat.ground.errors import Busy


@pytest.fixture
def book(tmp_path):
    planted(tmp_path / "book.sqlite", *(f"coc-{i}" for i in range(100)))
    return tmp_path / "book.sqlite"


def planted(path, *names):
    store = open_store(path)
    with store.writing("planted") as pen:
        pen.add(*(Plant(name=name) for name in names))
    store.close()


def done(path, sql, *values):
    with sqlite3.connect(path) as connection:
        connection.execute(sql, values)
    connection.close()


def scribbled(path, table):
    """Make the pages of one table unreadable."""
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (root,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()
    connection.close()
    content = bytearray(path.read_bytes())
    content[(root - 1) * 4096 : root * 4096] = random.Random(3).randbytes(4096)
    path.write_bytes(content)


def test_a_copy_of_the_book_as_it_stands_lacks_nothing(book):
    assert changes_lacking(book, back_up(book)) == 0


def test_what_was_written_since_is_counted_change_by_change(book):
    copy = back_up(book)
    planted(book, "das-1")
    planted(book, "pec-1", "pec-2")
    assert changes_lacking(book, copy) == 2
    assert changes_lacking(copy, book) == 0


def test_a_copy_that_went_its_own_way_lacks_the_changes_though_it_has_as_many_or_more(book):
    copy = back_up(book)
    planted(book, "das-1")
    planted(copy, "das-1")
    assert changes_lacking(book, copy) == 1
    planted(copy, "pec-1")
    assert changes_lacking(book, copy) == 1
    assert changes_lacking(copy, book) == 2


def test_the_same_change_by_another_hand_is_not_the_same(book):
    copy = back_up(book)
    done(copy, "UPDATE changes SET who = 'Ida'")
    assert changes_lacking(book, copy) == 1


def test_a_damaged_book_is_compared_by_the_changes_that_can_still_be_read(book):
    copy = back_up(book)
    same = book.with_name("same.sqlite")
    shutil.copy(copy, same)
    scribbled(same, "plants")
    assert changes_lacking(same, copy) == 0
    planted(book, "das-1")
    scribbled(book, "plants")
    assert changes_lacking(book, copy) == 1


def test_of_a_book_in_which_nothing_can_be_read_nothing_is_lacking(book):
    copy = back_up(book)
    for content in (b"", b"hello" * 5000, book.read_bytes()[:5000]):
        book.write_bytes(content)
        assert changes_lacking(book, copy) == 0
    book.unlink()
    assert changes_lacking(book, copy) == 0


def test_a_book_that_somebody_holds_is_busy_and_not_damaged(book, monkeypatch):
    monkeypatch.setattr("crosscompat.book.store.database._WAIT_SECONDS", 0.1)
    copy = back_up(book)
    done(book, "PRAGMA journal_mode = DELETE")
    holding = sqlite3.connect(book, isolation_level=None)
    holding.execute("BEGIN EXCLUSIVE")
    with pytest.raises(Busy):
        restore(book, copy)
    holding.close()
    assert restore(book, copy).sound
