"""Photos and notes kept from the command line, and where they go from there."""

from __future__ import annotations

import zipfile

import pytest

PHOTO = b"\xff\xd8 no real photo"


@pytest.fixture
def photo(own):
    """A photo of invented seedlings, kept with a cross of the demonstration."""
    file = own.parent / "seedlings.jpg"
    file.write_bytes(PHOTO)
    return file


def kept(folder):
    return [path.read_bytes() for path in (folder / "attachments").iterdir()]


def test_a_photo_of_a_cross_stands_on_its_card_and_in_its_history_until_it_is_taken_back(run, answer, own, photo):
    told = answer("attach", "22-02", photo, "--note", "narrow leaves", "--on", "2026-05-01", "--collection", own)
    assert (told["of"], told["files"][0]["file"]) == ("cross 22-02", "seedlings.jpg")
    assert (own / told["files"][0]["path"]).read_bytes() == PHOTO
    (line,) = answer("observe", "22-02", "--collection", own)["attachments"]
    assert line["says"].startswith("1 May 2026; seedlings.jpg (attachments/")
    assert "Photos and notes" in run("observe", "22-02", "--collection", own).stdout
    assert "seedlings.jpg" in run("history", "22-02", "--collection", own).stdout
    again = answer("attach", "22-02", photo, "--collection", own)
    assert (again["files"], again["change"]) == ([], None)
    run("undo", "--collection", own)
    assert answer("observe", "22-02", "--collection", own)["attachments"] == []
    run("undo", str(told["change"] + 1), "--collection", own)
    assert len(answer("observe", "22-02", "--collection", own)["attachments"]) == 1


def test_a_plant_and_one_thing_seen_have_theirs(run, answer, own, photo):
    run("attach", "COC-F1", photo, "--collection", own)
    (line,) = answer("plant", "COC-F1", "--collection", own)["card"]["attachments"]
    assert "seedlings.jpg" in line["says"]
    assert "Photos and notes" in run("plant", "COC-F1", "--collection", own).stdout
    seen = answer("observe", "22-02", "--collection", own)["counts"][0]
    run("attach", seen["short"], photo, "--collection", own)
    (line,) = answer("observe", "22-02", "--collection", own)["attachments"]
    assert line["says"].startswith("count of fruit")
    assert "--with-rest" in run("correct", seen["short"], "--withdraw", "--collection", own, code=2).stderr


def test_a_dry_run_keeps_nothing(run, answer, own, photo):
    assert "would keep" in run("attach", "22-02", photo, "--dry-run", "--collection", own).stdout
    assert not (own / "attachments").exists()
    assert answer("observe", "22-02", "--collection", own)["attachments"] == []


def test_exports_imports_and_copies_take_them_along(run, answer, own, new, photo):
    run("attach", "22-02", photo, "--collection", own)
    run("export", "book.zip", "--collection", own)
    other = new("other")
    run("import", "book.zip", "--collection", other)
    assert kept(other) == [PHOTO]
    assert len(answer("observe", "22-02", "--collection", other)["attachments"]) == 1
    run("check", "--collection", other)
    run("backup", own.parent / "stick" / "book.sqlite", "--collection", own)
    third = new("third")
    run("restore", own.parent / "stick" / "book.sqlite", "--anyway", "--collection", third)
    assert kept(third) == [PHOTO]


def test_a_missing_or_altered_file_is_named_and_stays_behind(run, own, new, photo):
    run("attach", "22-02", photo, "--collection", own)
    (file,) = (own / "attachments").iterdir()
    file.write_bytes(b"another")
    assert "seedlings.jpg" in run("check", "--collection", own, code=1).stdout
    assert "1 attachment is not as kept" in run("export", "book.zip", "--collection", own).stdout
    with zipfile.ZipFile(own.parent / "book.zip") as package:
        assert not [name for name in package.namelist() if name.startswith("attachments/")]
    other = new("other")
    run("import", "book.zip", "--collection", other)
    assert "cannot be read" in run("check", "--collection", other, code=1).stdout


def test_an_export_with_a_file_of_another_content_is_not_taken_in(run, own, new, photo):
    run("attach", "22-02", photo, "--collection", own)
    run("export", "book.zip", "--collection", own)
    with zipfile.ZipFile(own.parent / "book.zip") as package:
        parts = {name: package.read(name) for name in package.namelist()}
    name = next(name for name in parts if name.startswith("attachments/"))
    for wrong in (parts | {name: b"another"}, parts | {"attachments/../../evil": b"x"}):
        with zipfile.ZipFile(own.parent / "bad.zip", "w") as package:
            for part, content in wrong.items():
                package.writestr(part, content)
        other = new(f"other-{len(wrong)}")
        run("import", "bad.zip", "--collection", other, code=3)
        assert not (other / "attachments").exists()
        assert not (own.parent / "evil").exists()
