"""What only saves time is believed to the last byte or not at all."""

from __future__ import annotations

import errno
import os
import shutil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.collection import recorded
from crosscompat.collection.recorded import keep, key_of_book, recall

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
    def full(path, content):
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
    os.utime(package / "known_hybrids.py", ns=(1, 1))
    keys.append(key_of_book(absent))
    with (package / "book" / "cross_summary.py").open("a") as stream:
        stream.write("\n")
    os.utime(package / "book" / "cross_summary.py", ns=(1, 1))
    keys.append(key_of_book(absent))
    assert len({*keys}) == len(keys)
    os.utime(package / "show" / "label.py", ns=(1, 1))
    assert key_of_book(absent) == keys[-1]
