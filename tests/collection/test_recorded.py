"""What a cross book comes to is read from it anew each time."""

from __future__ import annotations

import shutil

import pytest

from crosscompat.book import records
from crosscompat.book.store import Damaged, open_store
from crosscompat.collection.opening import Recorded, read_book
from crosscompat.collection.settings import Settings

SETTINGS = Settings()


@pytest.fixture
def own(demo, tmp_path):
    return shutil.copytree(demo, tmp_path / "own")


def test_a_book_is_read_with_its_crosses_or_for_its_plants_alone(own):
    found = read_book(own, SETTINGS)
    assert len(found.plants.by_name) == 32
    assert len(found.crosses) == 86
    assert found.forecasts
    assert found.crosses[0].recorded_at is None or found.crosses[0].recorded_at.tzinfo is not None
    assert read_book(own, SETTINGS, crosses=False) == Recorded(found.plants)


def test_what_another_has_written_and_not_yet_put_away_is_seen(own):
    book = own / "book.sqlite"
    before = book.read_bytes()
    with open_store(book) as store:
        with store.writing("plant added") as pen:
            pen.add(records.Plant(name="NEW-1"))
        assert book.read_bytes() == before  # the change stands in the file beside it
        assert "NEW-1" in read_book(own, SETTINGS).plants.by_name


def test_reading_leaves_nothing_in_the_folder(own):
    before = {path.name for path in own.iterdir()}
    read_book(own, SETTINGS)
    assert {path.name for path in own.iterdir()} == before


def test_a_damaged_book_is_told_and_not_passed_over(own):
    book = own / "book.sqlite"
    content = book.read_bytes()
    book.write_bytes(content[: len(content) // 2])
    with pytest.raises(Damaged):
        read_book(own, SETTINGS)


def test_a_book_that_is_not_there_holds_nothing(own):
    (own / "book.sqlite").unlink()
    assert read_book(own, SETTINGS) == Recorded()


def test_a_book_is_found_by_a_url_and_by_a_path_out_of_the_folder(own):
    named = Settings(book=f"sqlite:///{own / 'book.sqlite'}")
    found = read_book(own, named)
    assert len(found.plants.by_name) == 32
    (own / "book.sqlite").rename(own.parent / "shared.sqlite")
    assert read_book(own, Settings(book="../shared.sqlite")) == found
