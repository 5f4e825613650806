"""The copy of a book that is taken before the first writing of a day, and the ten that are kept."""

from __future__ import annotations

import os
import random
import sqlite3
import subprocess
import sys
import warnings
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from crosscompat.book.records import Plant
from crosscompat.book.store import Damaged, Unreachable, open_store
from crosscompat.book.store.backup import back_up, backups_of, last_sound, restore
from crosscompat.book.store.database import daily_copies, transaction
from crosscompat.book.store.seal import digest_of
from crosscompat.book.store.tables import to_sql
from crosscompat.collection.settings import Settings, open_book
from crosscompat.ground.errors import BookWarning

NOW = datetime.now().astimezone()
TODAY = NOW.date().isoformat()


def planted(store, *names):
    with store.writing("planted") as pen:
        pen.add(*(Plant(name=name) for name in names))


def aged(where, days=3, mode=None):
    """A book whose changes were written some days ago; what is written next is today's."""
    store = open_store(where)
    with transaction(store.database, writing=True) as connection:
        connection.execute("UPDATE changes SET at = ?", (to_sql(NOW - timedelta(days=days), "sqlite"),))
        for (number,) in connection.execute("SELECT id FROM changes ORDER BY id").fetchall():
            digest = digest_of(connection.execute, number)
            connection.execute("UPDATE changes SET digest = ? WHERE id = ?", (digest, number))
    store.close()
    if mode:
        with sqlite3.connect(where) as connection:
            connection.execute(f"PRAGMA journal_mode = {mode}")
        connection.close()


def names_in(path):
    store = open_store(path)
    with store.reading() as page:
        found = [plant.name for plant in page.current(Plant)]
    store.close()
    return found


@pytest.fixture
def old(tmp_path):
    """A book with one plant, written three days ago."""
    store = open_store(tmp_path / "book.sqlite")
    planted(store, "coc-1")
    store.close()
    aged(tmp_path / "book.sqlite")
    return tmp_path / "book.sqlite"


@pytest.mark.parametrize("mode", ["WAL", "DELETE"])
def test_before_the_first_writing_of_a_day_the_book_is_copied_as_it_stood(old, mode):
    aged(old, mode=mode)
    store = open_store(old, copied_daily=True)
    planted(store, *(f"das-{i}" for i in range(3_000)))
    planted(store, "pec-1")
    store.close()
    ((day, copy),) = daily_copies(old)
    assert day == TODAY
    assert names_in(copy) == ["coc-1"]
    assert last_sound(old) == (copy, [])
    assert len(names_in(old)) == 3_002
    again = open_store(old, copied_daily=True)
    planted(again, "tri-1")
    again.close()
    assert backups_of(old) == [copy]


def test_a_book_that_was_begun_today_has_nothing_to_copy_yet(tmp_path):
    store = open_store(tmp_path / "book.sqlite", copied_daily=True)
    planted(store, "coc-1")
    planted(store, "das-1")
    assert not (tmp_path / "backups").exists()


def test_what_writes_nothing_copies_nothing(old):
    store = open_store(old, copied_daily=True)
    with store.writing("nothing") as pen:
        pen.add()
    with store.writing("a trial", dry_run=True) as pen:
        pen.add(Plant(name="das-1"))
    with store.reading() as page:
        assert [plant.name for plant in page.current(Plant)] == ["coc-1"]
    assert not (old.parent / "backups").exists()


def test_corrections_and_withdrawals_are_writing_too(old):
    store = open_store(old, copied_daily=True)
    with store.reading() as page:
        (plant,) = page.current(Plant)
    with store.writing("gone") as pen:
        pen.withdraw(plant)
    assert [names_in(copy) for _, copy in daily_copies(old)] == [["coc-1"]]
    assert names_in(old) == []


def test_the_book_of_a_collection_is_copied_and_any_other_only_when_asked(old):
    store = open_store(old)
    planted(store, "das-1")
    assert backups_of(old) == []
    aged(old)
    store = open_book(old.parent, Settings())
    planted(store, "pec-1")
    assert [names_in(copy) for copy in backups_of(old)] == [["coc-1", "das-1"]]


def test_the_last_ten_are_kept_and_those_that_somebody_made_for_ever(old):
    mine, earlier, elsewhere = back_up(old), back_up(old, "0001"), old.parent / "backups" / "mine.sqlite"
    back_up(old, to=elsewhere)
    days = [(NOW.date() - timedelta(days=n)).isoformat() for n in range(1, 13)]
    for day in days:
        mine.with_name(f"book-{day}-080000-daily.sqlite").write_bytes(mine.read_bytes())
        mine.with_name(f"book-{day}-090000.sqlite").write_bytes(mine.read_bytes())
    other = mine.with_name(f"other-{days[-1]}-080000-daily.sqlite")
    other.write_bytes(b"of another book")
    store = open_store(old, copied_daily=True)
    planted(store, "das-1")
    assert [day for day, _ in daily_copies(old)] == [TODAY, *days[:9]]
    assert {mine, earlier} <= set(backups_of(old))
    assert sum("-090000" in path.name for path in backups_of(old)) == 12
    assert elsewhere.exists()
    assert other.exists()


def test_ten_copies_dated_in_the_future_stop_no_copying_and_are_not_taken_for_the_latest(old):
    first = back_up(old)
    for n in range(1, 13):
        day = (NOW.date() + timedelta(days=n)).isoformat()
        first.with_name(f"book-{day}-080000-daily.sqlite").write_bytes(first.read_bytes())
    first.unlink()
    planted(open_store(old), "das-1")
    aged(old)
    planted(open_store(old, copied_daily=True), "pec-1")
    ((day, copy), *others) = daily_copies(old)
    assert day == TODAY
    assert names_in(copy) == ["coc-1", "das-1"]
    assert len(others) == 9
    assert last_sound(old) == (copy, [])


def test_of_two_histories_that_parted_the_copy_with_the_later_change_is_the_latest(old):
    planted(open_store(old), *(f"das-{i}" for i in range(3)))
    fork = back_up(old)
    planted(open_store(old), "pec-1")
    planted(open_store(old), "pec-2")
    gone = back_up(old)
    restore(old, fork)
    planted(open_store(old), "tri-1")
    copy = back_up(old)
    clock_went_back = copy.rename(copy.with_name("book-2001-01-01-000000.sqlite"))
    assert backups_of(old) == [clock_went_back, gone, fork]


def test_a_folder_of_copies_that_is_a_link_is_not_followed(old, tmp_path_factory):
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    (old.parent / "backups").symlink_to(elsewhere)
    with pytest.warns(BookWarning, match="leads elsewhere"):
        planted(open_store(old, copied_daily=True), "das-1")
    with pytest.raises(Unreachable, match="leads elsewhere"):
        back_up(old)
    assert list(elsewhere.iterdir()) == []
    assert names_in(old) == ["coc-1", "das-1"]


def test_what_a_killed_copying_left_goes_with_the_next_copy(old):
    back_up(old)
    left = [
        old.with_name(".book.sqlite.0a1b2c3d.part"),
        old.with_name(".model.json.ab_c1d2e.part"),
        old.parent / "backups" / ".book-2026-05-01-080000-daily.sqlite.0a1b2c3d.part-journal",
    ]
    mine = [old.with_name(".mine.part"), old.with_name("a.0a1b2c3d.part")]
    for path in (*left, *mine):
        path.write_bytes(b"half")
    back_up(old)
    assert all(path.exists() for path in left)  # somebody may be writing them
    for path in (*left, *mine):
        os.utime(path, (1e9, 1e9))
    back_up(old)
    assert [path.exists() for path in (*left, *mine)] == [False] * 3 + [True] * 2


def test_after_a_copy_was_put_back_the_next_day_begins_from_there(old):
    copy = back_up(old)
    store = open_store(old, copied_daily=True)
    planted(store, "das-1")
    store.close()
    restore(old, copy)
    aged(old)
    for _, path in daily_copies(old):
        path.rename(path.with_name(f"book-{date(2026, 1, 1)}-080000-daily.sqlite"))
    store = open_store(old, copied_daily=True)
    planted(store, "pec-1")
    assert [names_in(path) for _, path in daily_copies(old)] == [["coc-1"], ["coc-1"]]


def test_where_no_copy_can_be_made_that_is_told_and_what_is_new_is_written_all_the_same(old):
    blocked = old.parent / "backups"
    blocked.write_text("no folder")
    store = open_store(old, copied_daily=True)
    for name in ("das-1", "pec-1"):
        with pytest.warns(
            BookWarning, match=r"could not be copied.*backups: File exists.*itself is sound.*backup FILE"
        ):
            planted(store, name)
    assert names_in(old) == ["coc-1", "das-1", "pec-1"]
    blocked.unlink()
    planted(store, "tri-1")
    assert [names_in(copy) for copy in backups_of(old)] == [["coc-1", "das-1", "pec-1"]]


def test_a_full_disk_takes_the_copy_and_not_the_writing(small_disk):
    book = small_disk / "book.sqlite"
    store = open_store(book)
    with store.writing("planted") as pen:
        pen.add(Plant(name="coc-1", note="x" * 90_000, papers="x" * 90_000))
    store.close()
    aged(book)
    (small_disk / "photographs").write_bytes(b"x" * (1_048_576 - book.stat().st_size - 150_000))
    store = open_store(book, copied_daily=True)
    with pytest.warns(BookWarning, match="disk is full"):
        planted(store, "das-1")
    store.close()
    assert names_in(book) == ["coc-1", "das-1"]
    assert list((small_disk / "backups").iterdir()) == []


def test_nothing_is_written_in_a_book_that_turns_out_to_be_damaged_while_it_is_copied(old):
    store = open_store(old)
    planted(store, *(f"das-{i}" for i in range(2_000)))
    store.close()
    aged(old)
    store = open_store(old, copied_daily=True)
    content = bytearray(old.read_bytes())
    for start in range(8192, len(content), 4096):
        content[start : start + 4096] = random.Random(start).randbytes(len(content[start : start + 4096]))
    old.write_bytes(content)
    with pytest.raises(Damaged), warnings.catch_warnings():
        planted(store, "pec-1")
    store.close()
    assert old.read_bytes() == bytes(content)
    assert backups_of(old) == []


TWO = """
import sys
from pathlib import Path
from crosscompat.book.records import Plant
from crosscompat.book.store import open_store
book = open_store(Path(sys.argv[1]), copied_daily=True)
sys.stdin.readline()
for i in range(5):
    with book.writing("planted") as pen:
        pen.add(Plant(name=f"{sys.argv[2]}-{i}"))
"""


def test_of_two_who_begin_the_day_at_once_one_copies_the_book(old):
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    home = Path(__file__).parents[3]
    both = [subprocess.Popen([sys.executable, "-c", TWO, old, name], cwd=home, text=True, **pipes) for name in "ab"]
    for running in both:
        running.stdin.write("\n")
        running.stdin.flush()
    told = [running.communicate(timeout=120) for running in both]
    assert [running.returncode for running in both] == [0, 0], told
    assert len(names_in(old)) == 11
    assert [names_in(copy) for copy in backups_of(old)] == [["coc-1"]]


def test_a_book_on_a_server_is_copied_by_its_own_tools(postgres):
    store = open_store(postgres)
    planted(store, "coc-1")
    store.close()
    aged(postgres)
    store = open_store(postgres, copied_daily=True)
    planted(store, "das-1")
    store.close()
    assert names_in(postgres) == ["coc-1", "das-1"]
