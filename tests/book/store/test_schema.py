from __future__ import annotations

import pytest

from crosscompat.book.records import KINDS
from crosscompat.book.store import open_store
from crosscompat.book.store.database import transaction
from crosscompat.book.store.tables import FORMAT
from crosscompat.ground.errors import WrongUse

INDEXES = {
    "sqlite": "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL",
    "postgresql": "SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
}


def indexes(store):
    """What makes the indexes of a book, by their names."""
    with store.reading() as page:
        return dict(page.connection.execute(INDEXES[page.connection.dialect]).fetchall())


def test_a_new_book_has_all_tables_and_says_its_format(book):
    with book.reading() as page:
        for table in (*KINDS, "changes", "records"):
            assert page.connection.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
        assert page.connection.execute("SELECT format FROM book_format").fetchall() == [(FORMAT,)]


@pytest.mark.parametrize("found", [0, FORMAT + 1, 9999])
def test_a_book_of_another_format_is_left_alone(place, found):
    store = open_store(place)
    with transaction(store.database, writing=True) as connection:
        connection.execute(f"UPDATE book_format SET format = {found}")
    store.close()
    with pytest.raises(WrongUse, match=f"another version of crosscompat .its tables have format {found}"):
        open_store(place)


@pytest.mark.parametrize("mark", ["made_in", "replaced_in"])
def test_what_a_change_touched_is_found_by_an_index(book, mark):
    made = indexes(book)
    for table in KINDS:
        assert made[f"ix_{table}_{mark}"].endswith(f"({mark})")


def test_the_indexes_of_what_points_elsewhere_cover_the_standing_rows_alone(book):
    standing = {name: sql for name, sql in indexes(book).items() if name.endswith("_standing")}
    assert len(standing) > 15
    assert all("replaced_in IS NULL" in sql for sql in standing.values())
