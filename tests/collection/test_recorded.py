"""A book is told from memory only while it is, byte for byte, the book that was read."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from dataclasses import fields
from datetime import UTC, date, datetime
from typing import get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.book import records
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant
from crosscompat.book.records import GivenForecast
from crosscompat.book.store import Damaged, open_store
from crosscompat.collection import recorded
from crosscompat.collection.recorded import Recorded, keep, key_of_book, recall, rows_from, text_of
from crosscompat.collection.settings import Settings

CACHE = ".book.cache"
SETTINGS = Settings()


def read_book(folder, settings, **how):
    """As a command reads it."""
    return recorded.read_book(folder, settings, **{"remember": True, **how})


VALUES = {
    str: st.text(st.characters()),
    int: st.integers(),
    float: st.floats(allow_nan=False),
    bool: st.booleans(),
    date: st.dates(),
    datetime: st.datetimes(timezones=st.just(UTC)).map(lambda moment: moment.replace(fold=0)),
    type(None): st.none(),
}


def rows_of(kind):
    """Rows of a dataclass with any value that its fields can hold, whichever fields it has."""
    hints = get_type_hints(kind)

    def values(hint):
        parts = getattr(hint, "__args__", (hint,))
        return st.one_of([VALUES[part] for part in parts])

    return st.lists(st.builds(kind, **{item.name: values(hints[item.name]) for item in fields(kind)}), max_size=4)


@given(rows_of(Plant), rows_of(Cross), rows_of(GivenForecast))
def test_rows_of_every_kind_come_back_as_they_were(plants, crosses, forecasts):
    found = rows_from(text_of(plants, crosses, forecasts), Plant, Cross, GivenForecast)
    assert found == [tuple(plants), tuple(crosses), tuple(forecasts)]
    assert repr(found) == repr([tuple(plants), tuple(crosses), tuple(forecasts)])  # 1 is no True, and 1.0 no 1


@pytest.fixture
def own(demo, tmp_path):
    """The demonstration's folder with nothing remembered."""
    folder = shutil.copytree(demo, tmp_path / "own")
    (folder / CACHE).unlink(missing_ok=True)
    return folder


@pytest.fixture
def unopened(monkeypatch):
    """Let the book be read from memory only, within a block."""

    def refuse(*_):
        raise AssertionError("the book was opened")

    class Unopened:
        def __enter__(self):
            self.patch = pytest.MonkeyPatch()
            self.patch.setattr(recorded, "open_book", refuse)

        def __exit__(self, *_):
            self.patch.undo()

    return Unopened


def fresh(folder):
    """What the book says, with nothing remembered before or after."""
    kept = (folder / CACHE).read_bytes() if (folder / CACHE).exists() else None
    (folder / CACHE).unlink(missing_ok=True)
    found = recorded.read_book(folder, SETTINGS)
    assert not (folder / CACHE).exists()
    if kept is not None:
        (folder / CACHE).write_bytes(kept)
    return found


def plant_added(book, name, *, dispose=True):
    store = open_store(book)
    with store.writing("plant added") as pen:
        pen.add(records.Plant(name=name))
    if dispose:
        store.engine.dispose()
    return store


def test_a_book_is_read_once_until_it_changes(own, unopened):
    first = read_book(own, SETTINGS)
    assert len(first.plants.by_name) == 32
    assert len(first.crosses) == 86
    assert first.forecasts
    assert first.crosses[0].recorded_at is None or first.crosses[0].recorded_at.tzinfo is not None
    with unopened():
        again = read_book(own, SETTINGS)
        alone = read_book(own, SETTINGS, crosses=False)
    assert again == first
    assert repr(again) == repr(first)
    assert list(again.plants.by_name) == list(first.plants.by_name)
    assert alone == Recorded(first.plants)
    plant_added(own / "book.sqlite", "NEW-1")
    assert "NEW-1" in read_book(own, SETTINGS).plants.by_name
    with unopened():
        assert "NEW-1" in read_book(own, SETTINGS).plants.by_name


def test_reading_the_plants_alone_remembers_nothing(own):
    read_book(own, SETTINGS, crosses=False)
    assert not (own / CACHE).exists()


def test_what_another_has_written_and_not_yet_put_away_is_seen(own):
    book = own / "book.sqlite"
    read_book(own, SETTINGS)
    before = book.read_bytes()
    store = plant_added(book, "NEW-1", dispose=False)
    assert book.read_bytes() == before  # the change stands in the file beside it
    assert "NEW-1" in read_book(own, SETTINGS).plants.by_name
    assert "NEW-1" in read_book(own, SETTINGS).plants.by_name
    plant_added(book, "NEW-2", dispose=False).engine.dispose()
    assert "NEW-2" in read_book(own, SETTINGS).plants.by_name
    store.engine.dispose()
    assert {"NEW-1", "NEW-2"} <= set(read_book(own, SETTINGS).plants.by_name)


def test_what_stands_beside_the_file_that_a_link_leads_to_is_seen(own, tmp_path):
    real = tmp_path / "kept elsewhere.sqlite"
    (own / "book.sqlite").rename(real)
    (own / "book.sqlite").symlink_to(real)
    read_book(own, SETTINGS)
    before = real.read_bytes()
    store = plant_added(real, "NEW-1", dispose=False)
    assert real.read_bytes() == before
    assert "NEW-1" in read_book(own, SETTINGS).plants.by_name
    store.engine.dispose()


def test_a_copy_that_has_the_same_last_number_and_another_change_is_told_apart(own, tmp_path):
    book, other = own / "book.sqlite", tmp_path / "other.sqlite"
    shutil.copy(book, other)
    plant_added(book, "HERE-1")
    plant_added(other, "THERE-1")
    with sqlite3.connect(book) as one, sqlite3.connect(other) as two:
        last = "SELECT max(id) FROM changes"
        assert one.execute(last).fetchone() == two.execute(last).fetchone()
    assert "HERE-1" in read_book(own, SETTINGS).plants.by_name
    times = book.stat()
    shutil.copy(other, book)
    os.utime(book, ns=(times.st_atime_ns, times.st_mtime_ns))
    found = read_book(own, SETTINGS)
    assert "THERE-1" in found.plants.by_name
    assert "HERE-1" not in found.plants.by_name


def test_a_row_changed_by_hand_is_seen(own):
    read_book(own, SETTINGS)
    with sqlite3.connect(own / "book.sqlite") as connection:
        connection.execute("UPDATE plants SET name = 'COC-X1' WHERE name = 'COC-F1'")
    connection.close()
    found = read_book(own, SETTINGS)
    assert "COC-X1" in found.plants.by_name
    assert found == fresh(own)


def test_a_damaged_book_is_told_and_not_passed_over(own):
    read_book(own, SETTINGS)
    book = own / "book.sqlite"
    content, times = book.read_bytes(), book.stat()
    book.write_bytes(content[: len(content) // 2])
    os.utime(book, ns=(times.st_atime_ns, times.st_mtime_ns))
    with pytest.raises(Damaged):
        read_book(own, SETTINGS)


def test_a_book_that_is_gone_is_not_remembered(own):
    read_book(own, SETTINGS)
    (own / "book.sqlite").unlink()
    assert read_book(own, SETTINGS) == Recorded()


def cut(content):
    return content[: len(content) // 2]


def flipped(content):
    return content[:-3] + bytes([content[-3] ^ 1]) + content[-2:]


def of_no_key(content):
    return bytes(32) + content[32:]


@pytest.mark.parametrize(
    "damage",
    [cut, flipped, of_no_key, lambda _: b"", lambda _: b"garbage" * 100],
    ids=["cut", "flipped", "of_no_key", "empty", "garbage"],
)
def test_a_damaged_snapshot_is_not_used_and_is_made_again(own, unopened, damage):
    first = read_book(own, SETTINGS)
    kept = (own / CACHE).read_bytes()
    (own / CACHE).write_bytes(damage(kept))
    with pytest.raises(AssertionError, match="opened"), unopened():
        read_book(own, SETTINGS)
    assert read_book(own, SETTINGS) == first
    assert (own / CACHE).read_bytes() == kept


def test_the_snapshot_of_another_collection_is_not_used(own, tmp_path):
    other = shutil.copytree(own, tmp_path / "other")
    plant_added(other / "book.sqlite", "THERE-1")
    assert "THERE-1" in read_book(other, SETTINGS).plants.by_name
    shutil.copy(other / CACHE, own / CACHE)
    assert "THERE-1" not in read_book(own, SETTINGS).plants.by_name


def test_the_snapshot_of_another_version_is_not_used(own, unopened, monkeypatch):
    read_book(own, SETTINGS)
    monkeypatch.setattr(recorded, "__version__", "0.0.0")
    with pytest.raises(AssertionError, match="opened"), unopened():
        read_book(own, SETTINGS)


def test_where_nothing_can_be_written_the_book_is_read_every_time(own, monkeypatch, capsys):
    def frozen(path, content, **how):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(recorded, "write_atomically", frozen)
    assert read_book(own, SETTINGS) == read_book(own, SETTINGS)
    assert capsys.readouterr() == ("", "")


def test_a_book_named_by_a_url_is_read_every_time(own):
    named = Settings(book=f"sqlite:///{own / 'book.sqlite'}")
    assert read_book(own, named) == fresh(own)
    assert not (own / CACHE).exists()


def test_a_book_elsewhere_is_remembered_with_the_collection(own, unopened):
    (own / "book.sqlite").rename(own.parent / "shared.sqlite")
    named = Settings(book="../shared.sqlite")
    first = read_book(own, named)
    assert len(first.plants.by_name) == 32
    with unopened():
        assert read_book(own, named) == first


KEY, CONTENT = b"key of a file", b"what took time to make"


@pytest.fixture
def kept(tmp_path):
    keep(tmp_path / "cache", KEY, CONTENT)
    return tmp_path / "cache"


def test_what_was_kept_comes_back_under_its_key_alone(kept):
    assert recall(kept, KEY) == CONTENT
    assert recall(kept, b"key of another") is None
    assert recall(kept.with_name("none"), KEY) is None


@given(st.binary(max_size=200), st.binary(max_size=200))
def test_any_content_comes_back(tmp_path_factory, key, content):
    path = tmp_path_factory.mktemp("any") / "cache"
    keep(path, key, content)
    assert recall(path, key) == content


@pytest.mark.parametrize("at", range(32 + len(CONTENT)))
def test_a_cache_with_one_bit_changed_is_not_believed(kept, at):
    damaged = bytearray(kept.read_bytes())
    damaged[at] ^= 1
    kept.write_bytes(damaged)
    assert recall(kept, KEY) is None


@pytest.mark.parametrize("length", range(32 + len(CONTENT)))
def test_a_cache_cut_short_is_not_believed(kept, length):
    kept.write_bytes(kept.read_bytes()[:length])
    assert recall(kept, KEY) is None


@pytest.mark.parametrize("content", [b"", b"\0" * 32, CONTENT, b"{}", os.urandom(1000)], ids=len)
def test_something_else_in_its_place_is_not_believed(kept, content):
    kept.write_bytes(content)
    assert recall(kept, KEY) is None


def test_a_folder_in_its_place_is_no_error(tmp_path):
    (tmp_path / "cache").mkdir()
    keep(tmp_path / "cache", KEY, CONTENT)
    assert recall(tmp_path / "cache", KEY) is None
    assert (tmp_path / "cache").is_dir()


def test_where_nothing_can_be_written_nothing_is_kept_and_nothing_said(tmp_path, monkeypatch, capsys):
    def full(path, content, **how):
        raise OSError(errno.ENOSPC, "No space left on device", str(path))

    keep(tmp_path / "no such folder" / "cache", KEY, CONTENT)
    monkeypatch.setattr(recorded, "write_atomically", full)
    keep(tmp_path / "cache", KEY, CONTENT)
    assert recall(tmp_path / "cache", KEY) is None
    assert capsys.readouterr() == ("", "")


def test_only_its_owner_may_read_it(kept):
    assert kept.stat().st_mode & 0o777 == 0o600
    keep(kept, KEY, b"again")
    assert kept.stat().st_mode & 0o777 == 0o600


def test_one_byte_makes_another_key_whatever_the_clock_says(tmp_path):
    file = tmp_path / "file"
    file.write_bytes(b"0123456789")
    before, times = key_of_book(file), file.stat()
    file.write_bytes(b"0123456780")
    os.utime(file, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert key_of_book(file) != before
    file.write_bytes(b"0123456789")
    assert key_of_book(file) == before


def test_a_key_covers_what_lies_beside_a_book(tmp_path):
    book, beside = tmp_path / "book.sqlite", tmp_path / "book.sqlite-wal"
    book.write_bytes(b"12")
    beside.write_bytes(b"3")
    keys = [key_of_book(book)]
    book.write_bytes(b"1")
    beside.write_bytes(b"23")
    keys.append(key_of_book(book))
    beside.write_bytes(b"")
    keys.append(key_of_book(book))
    assert len({*keys}) == len(keys)
    beside.unlink()
    assert key_of_book(book) == keys[-1]


def test_what_cannot_be_read_has_no_key(tmp_path):
    assert key_of_book(tmp_path) is None


def test_another_version_and_changed_code_make_another_key(tmp_path, monkeypatch):
    absent = tmp_path / "book.sqlite"
    package = shutil.copytree(recorded._PACKAGE, tmp_path / "package")
    monkeypatch.setattr(recorded, "_PACKAGE", package)
    keys = [key_of_book(absent)]
    monkeypatch.setattr(recorded, "__version__", "0.0.0")
    keys.append(key_of_book(absent))
    os.utime(package / "book" / "cross_summary.py", ns=(1, 1))
    keys.append(key_of_book(absent))
    os.utime(package / "carried.py", ns=(1, 1))
    keys.append(key_of_book(absent))
    with (package / "book" / "cross_summary.py").open("a") as stream:
        stream.write("\n")
    os.utime(package / "book" / "cross_summary.py", ns=(1, 1))
    keys.append(key_of_book(absent))
    assert len({*keys}) == len(keys)
    os.utime(package / "show" / "label.py", ns=(1, 1))
    assert key_of_book(absent) == keys[-1]


@pytest.mark.parametrize("there", [True, False])
def test_what_is_kept_replaces_a_link_and_not_what_it_points_to(tmp_path, there):
    mine = tmp_path / "mine.txt"
    if there:
        mine.write_text("mine", encoding="utf-8")
    (tmp_path / "cache").symlink_to(mine)
    keep(tmp_path / "cache", KEY, CONTENT)
    assert recall(tmp_path / "cache", KEY) == CONTENT
    assert (mine.read_text(encoding="utf-8") == "mine") if there else not mine.exists()
