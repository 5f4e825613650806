"""Photos and notes that are kept with a book."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import date
from hashlib import sha256

import pytest

from crosscompat.book import records
from crosscompat.book.attachments import FOLDER, MOST_BYTES, content_of, copy_files, fault_of, faults_in, keep, put
from crosscompat.book.store import open_store
from crosscompat.ground.errors import WrongUse

PHOTO = b"\xff\xd8 no real photo"
NAME = f"{sha256(PHOTO).hexdigest()}.jpg"


@pytest.fixture
def photo(tmp_path):
    file = tmp_path / "Seedling.JPG"
    file.write_bytes(PHOTO)
    return file


@pytest.fixture
def collection(tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    return folder


def test_a_file_is_copied_under_the_name_of_its_content(photo, collection):
    kept = keep(collection, photo, of="x", date=date(2026, 5, 1), note="red hooks")
    assert (kept.file, kept.kept_as, kept.size, kept.note) == ("Seedling.JPG", NAME, len(PHOTO), "red hooks")
    assert content_of(collection, NAME) == PHOTO
    assert keep(collection, photo, of="y").kept_as == NAME
    assert [path.name for path in (collection / FOLDER).iterdir()] == [NAME]


def test_a_dry_run_copies_nothing(photo, collection):
    assert keep(collection, photo, dry_run=True, of="x").kept_as == NAME
    assert list(collection.iterdir()) == []


@pytest.mark.parametrize("ending", ["", ".a b", ".toolongending", ".tar.gz", ".é"])
def test_an_ending_that_is_none_is_left_out_of_the_name(tmp_path, collection, ending):
    file = tmp_path / f"notes{ending}"
    file.write_bytes(PHOTO)
    assert keep(collection, file, of="x").kept_as in {NAME[:64], f"{NAME[:64]}.gz"}


def test_what_is_no_plain_file_or_too_big_is_refused(photo, collection, tmp_path):
    (tmp_path / "link.jpg").symlink_to(photo)
    os.mkfifo(tmp_path / "pipe")
    with (tmp_path / "film.mp4").open("wb") as film:
        film.truncate(MOST_BYTES + 1)
    for name, says in (("link.jpg", "link"), ("pipe", "plain file"), ("mine", "mine"), ("film.mp4", "20 MB"),
                       ("none.jpg", "cannot be read")):  # fmt: skip
        with pytest.raises(WrongUse, match=says):
            keep(collection, tmp_path / name, of="x")
    assert list(collection.iterdir()) == []


@pytest.mark.parametrize(
    "name", ["../secret.txt", "/etc/hostname", f"../{FOLDER}/{NAME}", f"{NAME}/x", "", NAME.upper()]
)
def test_no_name_in_a_book_leads_out_of_the_collection(collection, photo, name):
    keep(collection, photo, of="x")
    (collection / "secret.txt").write_bytes(PHOTO)
    for use in (lambda: content_of(collection, name), lambda: put(collection, name, PHOTO)):
        with pytest.raises(WrongUse, match="cannot be kept"):
            use()


def test_links_in_the_folder_are_not_followed(collection, photo, tmp_path):
    (collection / FOLDER).mkdir()
    (collection / FOLDER / NAME).symlink_to(photo)
    assert "is a link" in fault_of(collection, NAME)
    keep(collection, photo, of="x")
    assert not (collection / FOLDER / NAME).is_symlink()
    other, elsewhere = tmp_path / "other", tmp_path / "elsewhere"
    other.mkdir()
    elsewhere.mkdir()
    (other / FOLDER).symlink_to(elsewhere)
    with pytest.raises(WrongUse, match="cannot be kept"):
        keep(other, photo, of="x")
    assert list(elsewhere.iterdir()) == []


def test_missing_and_altered_files_are_named(collection, photo):
    with (store := open_store("sqlite://")).writing("kept") as pen:
        plant = records.Plant(name="coc-1")
        kept = keep(collection, photo, of=plant.id)
        pen.add(plant, kept, replace(kept, id=records.new_id(), file="label.txt", kept_as="0" * 64))
        faults = faults_in(pen, collection)
        assert [fault.split(" (")[0] for fault in faults] == ["coc-1; label.txt"]
        (collection / FOLDER / NAME).write_bytes(PHOTO + b"!")
        assert "is not as it was kept" in faults_in(pen, collection)[0]
        keep(collection, photo, of=plant.id)
        assert len(faults_in(pen, collection)) == 1
    store.close()


def test_only_sound_files_are_copied(collection, photo, tmp_path):
    keep(collection, photo, of="x")
    (collection / FOLDER / ("0" * 64)).write_bytes(b"not what its name says")
    (collection / FOLDER / "notes.txt").write_bytes(PHOTO)
    (tmp_path / "other").mkdir()
    copy_files(collection, tmp_path / "other")
    assert [path.name for path in (tmp_path / "other" / FOLDER).iterdir()] == [NAME]
    copy_files(tmp_path / "nowhere", collection)
