from __future__ import annotations

import os
import stat

import pytest

from crosscompat.ground.files import write_atomically


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    write_atomically(path, b"old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("crosscompat.ground.files.os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_atomically(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_permissions_and_links_outlive_a_write(tmp_path):
    path, link = tmp_path / "a.csv", tmp_path / "link.csv"
    write_atomically(path, b"old")
    path.chmod(0o640)
    link.symlink_to(path)
    write_atomically(link, b"new")
    assert link.is_symlink()
    assert (path.read_bytes(), stat.S_IMODE(path.stat().st_mode)) == (b"new", 0o640)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_a_new_file_can_be_read_by_others(tmp_path):
    write_atomically(tmp_path / "a.csv", b"new")
    assert stat.S_IMODE((tmp_path / "a.csv").stat().st_mode) == 0o644


def test_a_folder_that_is_not_there_is_told_by_the_file_that_was_asked_for(tmp_path):
    with pytest.raises(FileNotFoundError) as told:
        write_atomically(tmp_path / "none" / "due.ics", b"")
    assert told.value.filename == str(tmp_path / "none" / "due.ics")
