from __future__ import annotations

import pytest
from sqlalchemy import inspect

from crosscompat.book.store import open_store
from crosscompat.book.store.database import transaction
from crosscompat.book.store.tables import FORMAT, metadata
from crosscompat.ground.errors import WrongUse


def test_a_new_book_has_all_tables_and_says_its_format(book):
    with book.engine.connect() as connection:
        assert set(inspect(connection).get_table_names()) == {*metadata.tables, "book_format"}
        assert connection.exec_driver_sql("SELECT format FROM book_format").scalars().all() == [FORMAT]


@pytest.mark.parametrize("found", [0, FORMAT + 1, 9999])
def test_a_book_of_another_format_is_left_alone(place, found):
    store = open_store(place)
    with transaction(store.engine, writing=True) as connection:
        connection.exec_driver_sql(f"UPDATE book_format SET format = {found}")
    store.engine.dispose()
    with pytest.raises(WrongUse, match=f"another version of crosscompat .its tables have format {found}"):
        open_store(place)


@pytest.mark.parametrize("mark", ["made_in", "replaced_in"])
def test_what_a_change_touched_is_found_by_an_index(book, mark):
    with book.engine.connect() as connection:
        for table in set(metadata.tables) - {"changes", "records"}:
            assert [mark] in [index["column_names"] for index in inspect(connection).get_indexes(table)]


def test_on_a_server_too_the_indexes_cover_the_standing_rows_alone(postgres):
    engine = open_store(postgres).engine
    with engine.connect() as connection:
        found = [index for table in metadata.tables for index in inspect(connection).get_indexes(table)]
    engine.dispose()
    standing = [index for index in found if index["name"].endswith("_standing")]
    assert len(standing) > 15
    assert all("replaced_in IS NULL" in index["dialect_options"]["postgresql_where"] for index in standing)
