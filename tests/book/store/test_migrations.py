from __future__ import annotations

import pytest
from sqlalchemy import inspect

from crosscompat.book.store import open_store
from crosscompat.book.store.engine import open_engine, transaction
from crosscompat.book.store.migrate import known_versions, migrate
from crosscompat.book.store.schema import HEAD, metadata


def test_the_newest_migration_is_the_version_that_new_books_say():
    assert known_versions()[-1] == HEAD


def test_the_migrations_lead_to_the_very_tables_that_a_new_book_gets(place):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    engine = open_engine(place)
    migrate(engine)
    with transaction(engine) as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        differences = compare_metadata(context, metadata)
        tables = set(inspect(connection).get_table_names())
    engine.dispose()
    assert differences == []
    assert tables == {*metadata.tables, "alembic_version"}


def _shape(engine):
    with engine.connect() as connection:
        inspector = inspect(connection)
        return {
            table: (
                [(column["name"], str(column["type"]), column["nullable"]) for column in inspector.get_columns(table)],
                sorted(
                    (index["name"], bool(index["unique"]), "sqlite_where" in index.get("dialect_options", {}))
                    for index in inspector.get_indexes(table)
                ),
                sorted(
                    (key["constrained_columns"], key["referred_table"]) for key in inspector.get_foreign_keys(table)
                ),
                inspector.get_pk_constraint(table)["constrained_columns"],
            )
            for table in metadata.tables
        }


def test_columns_keys_and_indexes_are_alike_whichever_way_a_book_was_made(tmp_path):
    migrated = open_engine(tmp_path / "migrated.sqlite")
    migrate(migrated)
    made = open_store(tmp_path / "made.sqlite").engine
    assert _shape(migrated) == _shape(made)


@pytest.mark.parametrize("version", ["9999", "from the future"])
def test_a_book_of_a_newer_version_is_left_alone(tmp_path, version):
    from crosscompat.errors import WrongUse

    store = open_store(tmp_path / "book.sqlite")
    with transaction(store.engine, writing=True) as connection:
        connection.exec_driver_sql(f"UPDATE alembic_version SET version_num = '{version}'")
    with pytest.raises(WrongUse, match="newer version"):
        open_store(tmp_path / "book.sqlite")
