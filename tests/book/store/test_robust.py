"""What happens to a book when the process is killed, the disk is full, two write at once or the file is damaged."""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

import crosscompat
from crosscompat.book.records import Plant
from crosscompat.book.store import Damaged, Unreachable, open_store
from crosscompat.book.store.backup import back_up, backups_of, changes_lacking, last_sound, restore
from crosscompat.ground.errors import Busy, WrongUse

HOME = Path(crosscompat.__file__).parents[1]
NOBODY = 65534

WRITER = """
import sys
from pathlib import Path
from crosscompat.book.records import Plant
from crosscompat.book.store import open_store
where, name, n = sys.argv[1], sys.argv[2], int(sys.argv[3])
for i in range(n):
    book = open_store(where if "://" in where else Path(where))
    with book.writing("planted") as pen:
        pen.add(Plant(name=f"{name}-{i}", note="x" * 2000))
    print(f"{name}-{i}", flush=True)
    if len(sys.argv) <= 4:
        book.close()
"""


def start(*arguments, code=WRITER, **options):
    environment = os.environ | {"PYTHONPATH": str(HOME), "PYTHONDONTWRITEBYTECODE": "1"}
    words = [sys.executable, "-c", code, *map(str, arguments)]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    return subprocess.Popen(words, env=environment, text=True, **pipes, **options)


def planted(where, names=("coc-1",)):
    store = open_store(where)
    try:
        with store.writing("planted") as pen:
            pen.add(*(Plant(name=name) for name in names))
    finally:
        store.close()
    return store


def names_in(where):
    store = open_store(where)
    with store.reading() as page:
        found = [plant.name for plant in page.current(Plant)]
    store.close()
    return found


def integrity(path):
    with sqlite3.connect(path) as connection:
        found = connection.execute("PRAGMA integrity_check").fetchone()[0]
        loose = connection.execute("PRAGMA foreign_key_check").fetchall()
    connection.close()
    return found, loose


@pytest.mark.skipif(sys.platform == "win32", reason="there is no kill -9 on Windows")
def test_a_writer_that_is_killed_loses_nothing_that_it_has_acknowledged(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book)
    chance = random.Random(4)
    acknowledged = {"coc-1"}
    for kill in range(4):
        running = start(book, f"k{kill}", 200)
        for _ in range(chance.randint(1, 60)):
            acknowledged.add(running.stdout.readline().strip())
        time.sleep(chance.random() * 0.02)
        running.send_signal(signal.SIGKILL)
        rest, _ = running.communicate(timeout=60)
        assert running.returncode == -signal.SIGKILL
        acknowledged |= {line for line in rest.split("\n")[:-1] if line}
        found = names_in(book)
        assert acknowledged <= set(found)
        assert len(found) - len(acknowledged) <= kill + 1  # at most one a kill was written and not yet acknowledged
    assert integrity(book) == ("ok", [])


def test_of_two_who_write_at_once_neither_loses_a_record(place):
    where = place if isinstance(place, str) else str(place)
    both = [start(where, name, 40) for name in ("a", "b")]
    told = [running.communicate(timeout=120) for running in both]
    acknowledged = {line for stdout, _ in told for line in stdout.split()}
    for running, (_, stderr) in zip(both, told, strict=True):
        assert running.returncode == 0 or "Busy" in stderr.splitlines()[-1], stderr
    assert len(acknowledged) >= 40
    assert set(names_in(place)) == acknowledged


def test_who_waits_too_long_is_told_that_the_book_is_busy_and_nothing_is_written(place, monkeypatch):
    monkeypatch.setattr("crosscompat.book.store.database._WAIT_SECONDS", 1)
    one, other = open_store(place), open_store(place)
    with one.writing("slow") as pen:
        pen.add(Plant(name="a"))
        with pytest.raises(Busy, match="Nothing has been written"), other.writing("hasty") as second:
            second.add(Plant(name="b"))
    assert names_in(place) == ["a"]
    for store in (one, other):
        store.close()


def test_a_book_has_all_its_tables_from_the_moment_that_it_has_its_name(tmp_path):
    many = [start(tmp_path / "book.sqlite", name, 3) for name in "abcd"]
    told = [running.communicate(timeout=120) for running in many]
    assert [running.returncode for running in many] == [0] * 4, told
    assert len(names_in(tmp_path / "book.sqlite")) == 12
    assert [path.name for path in tmp_path.iterdir() if path.suffix == ".part"] == []


SHORT_FILES = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[4]), resource.RLIM_INFINITY))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="a limit on the size of files stands in for a full disk")
def test_on_a_full_disk_nothing_acknowledged_is_harmed_and_it_is_said(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book)
    limit = 400_000
    running = start(book, "full", 400, limit, code=SHORT_FILES + WRITER)
    stdout, stderr = running.communicate(timeout=120)
    assert running.returncode == 1
    assert stderr.splitlines()[-1].startswith("crosscompat.book.store.database.Unreachable"), stderr
    assert "Nothing has been changed" in stderr
    acknowledged = stdout.split()
    assert acknowledged
    assert names_in(book) == ["coc-1", *acknowledged]
    assert integrity(book) == ("ok", [])


def test_a_disk_that_is_really_full(small_disk):
    book = small_disk / "book.sqlite"
    planted(book)
    stdout, stderr = start(book, "full", 2000, "keep open").communicate(timeout=120)
    assert "disk is full" in stderr
    assert names_in(book) == ["coc-1", *stdout.split()]
    with pytest.raises(Unreachable, match="full"):
        back_up(book)
    assert backups_of(book) == []
    assert list((small_disk / "backups").iterdir()) == []


def filled(folder):
    with (folder / "photographs").open("wb", buffering=0) as photographs, contextlib.suppress(OSError):
        while True:
            photographs.write(b"x" * 4096)


@pytest.mark.parametrize("left", ["settled", "killed"])
def test_on_a_full_disk_the_book_is_read_and_not_written(small_disk, left):
    book = small_disk / "book.sqlite"
    planted(book)
    if left == "killed":
        kept_open = open_store(book)
        with kept_open.writing("planted") as pen:
            pen.add(Plant(name="das-1"))
        files = {path: path.read_bytes() for path in (book, book.with_name("book.sqlite-wal"))}
        kept_open.close()
        for path, content in files.items():
            path.write_bytes(content)
    filled(small_disk)
    assert names_in(book) == (["coc-1", "das-1"] if left == "killed" else ["coc-1"])
    with pytest.raises(Unreachable, match="full"):
        planted(book, ["pec-1"])


AS_NOBODY = f"""
import os, sys
from pathlib import Path
from crosscompat.book.records import Plant
from crosscompat.book.store import Unreachable, open_store
with open_store("sqlite://").writing("loads what is needed, for nobody may not read where Python lies") as pen:
    pen.add(Plant(name="warm"))
try:
    open_store(Path("/proc/no such book"))
except Unreachable:
    pass
os.setgid({NOBODY}); os.setuid({NOBODY})
book = open_store(Path(sys.argv[1]))
with book.reading() as page:
    print(*(plant.name for plant in page.current(Plant)), flush=True)
with book.writing("planted") as pen:
    pen.add(Plant(name="never"))
"""


@pytest.fixture
def open_to_all():
    """A folder that other users may enter, whatever holds the tests' own."""
    import tempfile

    with tempfile.TemporaryDirectory(dir="/tmp") as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


@pytest.mark.skipif(not hasattr(os, "getuid") or os.getuid() != 0, reason="needs root to become somebody else")
@pytest.mark.parametrize("left", ["settled", "killed"])
@pytest.mark.parametrize("name", ["shelf", "50% #1 of ?"])
def test_a_folder_that_is_read_only_is_read_and_not_written(open_to_all, left, name):
    folder = open_to_all / name
    folder.mkdir()
    book = folder / "book.sqlite"
    planted(book)
    if left == "killed":
        kept_open = open_store(book)
        with kept_open.writing("planted") as pen:
            pen.add(Plant(name="das-1"))
        other = open_to_all / f"{name} copied"
        shutil.copytree(folder, other)
        kept_open.close()
        book = other / "book.sqlite"
        assert book.with_name("book.sqlite-wal").stat().st_size
    before = {path.name: path.read_bytes() for path in book.parent.iterdir()}
    stdout, stderr = start(book, code=AS_NOBODY).communicate(timeout=60)
    assert stdout.split() == (["coc-1", "das-1"] if left == "killed" else ["coc-1"]), stderr
    assert stderr.splitlines()[-1].startswith("crosscompat.book.store.database.Unreachable"), stderr
    assert {path.name: path.read_bytes() for path in book.parent.iterdir()} == before


def truncated(path):
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def emptied(path):
    path.write_bytes(b"")


def scribbled(path):
    content = bytearray(path.read_bytes())
    content[5000:9000] = random.Random(1).randbytes(4000)
    path.write_bytes(content)


def headless(path):
    content = bytearray(path.read_bytes())
    content[:100] = b"hello" * 20
    path.write_bytes(content)


def gone(path):
    path.unlink()


@pytest.mark.parametrize("damage", [truncated, emptied, scribbled, headless, gone])
def test_damage_is_noticed_at_opening_and_the_way_back_works(tmp_path, damage):
    book = tmp_path / "book.sqlite"
    planted(book, [f"coc-{i}" for i in range(200)])
    copy = back_up(book)
    damage(book)
    harmed = book.read_bytes() if book.exists() else None
    with pytest.raises(Damaged) as told:
        planted(book)
    assert str(copy) in str(told.value)
    assert "crosscompat restore --last" in str(told.value)
    assert (book.read_bytes() if book.exists() else None) == harmed
    assert last_sound(book) == (copy, [])
    done = restore(book, copy)
    assert not done.sound
    assert (done.kept.read_bytes() if done.kept else None) == harmed
    assert len(names_in(book)) == 200
    assert backups_of(book) == [copy]
    store = open_store(book)
    with store.reading() as page:
        assert page.connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    store.close()


def test_without_a_copy_the_damage_is_told_all_the_same(tmp_path):
    planted(tmp_path / "book.sqlite")
    truncated(tmp_path / "book.sqlite")
    with pytest.raises(Damaged, match="no copy"):
        open_store(tmp_path / "book.sqlite")


def test_the_database_of_another_program_is_no_book_and_is_left_alone(tmp_path):
    other = tmp_path / "book.sqlite"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE songs (title TEXT)")
    connection.close()
    before = other.read_bytes()
    with pytest.raises(WrongUse, match="not a cross book"):
        open_store(other)
    assert other.read_bytes() == before


def test_a_copy_is_one_plain_file_of_one_moment_though_somebody_writes(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book)
    running = start(book, "w", 60)
    running.stdout.readline()
    copies = [back_up(book, to=tmp_path / f"copy {i}.sqlite") for i in range(5)]
    running.communicate(timeout=120)
    counts = [len(names_in(copy)) for copy in copies]
    assert counts == sorted(counts)
    assert counts[0] >= 2
    for copy in copies:
        assert integrity(copy) == ("ok", [])
    assert not [path for path in tmp_path.iterdir() if path.name.endswith((".part", "-journal"))]


def test_copies_are_listed_from_the_newest_whatever_else_lies_there(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book)
    copies = [back_up(book, "daily" if i == 1 else "") for i in range(4)]
    for other in ("set-aside-book-2026-01-01-000000.sqlite", "book-old-2026-01-01-000000.sqlite", "book.sqlite"):
        (tmp_path / "backups" / other).write_bytes(b"")
    found = backups_of(book)
    assert set(found) == set(copies)
    first = [copy for copy in copies if "daily" not in copy.name]
    assert [path for path in found if path in first] == first[::-1]


def test_a_copy_never_overwrites_a_file(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book)
    (tmp_path / "mine.sqlite").write_text("mine")
    with pytest.raises(WrongUse, match="there already"):
        back_up(book, to=tmp_path / "mine.sqlite")
    assert (tmp_path / "mine.sqlite").read_text() == "mine"
    with pytest.raises(WrongUse, match="not a cross book"):
        back_up(tmp_path / "none.sqlite")


def test_a_damaged_book_is_not_copied_as_if_it_were_sound(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book, [f"coc-{i}" for i in range(200)])
    scribbled(book)
    with pytest.raises(Damaged):
        back_up(book)
    assert backups_of(book) == []


@pytest.mark.parametrize("content", [b"", b"hello", None])
def test_what_is_no_sound_copy_is_not_put_back(tmp_path, content):
    book, copy = tmp_path / "book.sqlite", tmp_path / "copy.sqlite"
    planted(book)
    if content is not None:
        copy.write_bytes(content)
    with pytest.raises(WrongUse, match="not a good copy"):
        restore(book, copy)
    assert names_in(book) == ["coc-1"]
    assert copy.exists() == (content is not None)


def test_a_sound_book_is_kept_when_a_copy_takes_its_place_and_others_see_it_at_once(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book)
    copy = back_up(book)
    planted(book, ["das-1"])
    reader = open_store(book)
    assert changes_lacking(book, copy) == 1
    done = restore(book, copy)
    assert done.sound
    assert names_in(done.kept) == ["coc-1", "das-1"]
    with reader.writing("planted") as pen:
        pen.add(Plant(name="pec-1"))
    reader.close()
    assert names_in(book) == ["coc-1", "pec-1"]
    assert backups_of(book) == [copy]


@pytest.mark.parametrize("mode", ["WAL", "DELETE"])
def test_nobody_writes_between_the_comparing_and_the_overwriting_of_a_book(tmp_path, monkeypatch, mode):
    book = tmp_path / "book.sqlite"
    planted(book)
    with sqlite3.connect(book) as connection:
        connection.execute(f"PRAGMA journal_mode = {mode}")
    connection.close()
    copy = back_up(book)
    planted(book, ["das-1"])
    monkeypatch.setattr("crosscompat.book.store.database._WAIT_SECONDS", 0.1)
    lacked = []

    def write_meanwhile(lacking):
        lacked.append(lacking)
        with pytest.raises(Busy):
            planted(book, ["pec-1"])

    kept = restore(book, copy, write_meanwhile).kept
    assert lacked == [1]
    assert names_in(kept) == ["coc-1", "das-1"]
    assert names_in(book) == ["coc-1"]


def test_who_does_not_agree_keeps_the_book_and_no_copy_of_it(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book)
    copy = back_up(book)
    planted(book, ["das-1"])

    def never(lacking):
        raise WrongUse(str(lacking))

    with pytest.raises(WrongUse, match="1"):
        restore(book, copy, never)
    assert names_in(book) == ["coc-1", "das-1"]
    assert list((tmp_path / "backups").iterdir()) == [copy]


def test_a_kill_or_a_full_disk_while_a_copy_is_put_back_leaves_all_of_the_one_or_the_other(tmp_path, monkeypatch):
    book = tmp_path / "book.sqlite"
    planted(book)
    copy = back_up(book)
    planted(book, ["das-1"])

    def half(connection):
        connection.execute("DELETE FROM plants")
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr("crosscompat.book.store.backup._overwrite", half)
    with pytest.raises(Unreachable):
        restore(book, copy)
    assert names_in(book) == ["coc-1", "das-1"]


def test_files_are_made_safe_where_only_a_handle_for_writing_can_be(tmp_path, monkeypatch):
    """As on Windows."""
    real, opened = os.fsync, os.open

    def strict(handle):
        import fcntl

        if fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY:
            raise OSError(9, "Bad file descriptor")
        real(handle)

    def no_folders(path, *how):
        if Path(path).is_dir():
            raise PermissionError(13, "Permission denied")
        return opened(path, *how)

    monkeypatch.setattr("crosscompat.book.store.backup.os.fsync", strict)
    monkeypatch.setattr("crosscompat.book.store.backup.os.open", no_folders)
    book = tmp_path / "book.sqlite"
    planted(book)
    copy = back_up(book)
    restore(book, copy)
    assert names_in(book) == ["coc-1"]


def test_nothing_is_put_in_the_place_of_a_book_that_somebody_writes_in(tmp_path, monkeypatch):
    monkeypatch.setattr("crosscompat.book.store.database._WAIT_SECONDS", 0.2)
    book = tmp_path / "book.sqlite"
    planted(book)
    copy = back_up(book)
    store = open_store(book)
    with store.writing("planted") as pen:
        pen.add(Plant(name="das-1"))
        with pytest.raises(Busy):
            restore(book, copy)
    store.close()
    assert names_in(book) == ["coc-1", "das-1"]


def test_an_unsound_copy_is_passed_over_for_the_last_sound_one(tmp_path):
    book = tmp_path / "book.sqlite"
    planted(book, [f"coc-{i}" for i in range(200)])
    one, other = back_up(book), back_up(book)
    truncated(other)
    assert last_sound(book) == (one, [other])
