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
    from crosscompat.ground.errors import WrongUse

    store = open_store(tmp_path / "book.sqlite")
    with transaction(store.engine, writing=True) as connection:
        connection.exec_driver_sql(f"UPDATE alembic_version SET version_num = '{version}'")
    with pytest.raises(WrongUse, match="newer version"):
        open_store(tmp_path / "book.sqlite")


NEXT = """
import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade():
    with op.batch_alter_table("plants") as plants:
        plants.add_column(sa.Column("colour", sa.Text))
    op.execute("UPDATE plants SET colour = 'unknown'")
    {more}
"""


@pytest.fixture
def newer(tmp_path, monkeypatch):
    """Make this version of the package one that knows one more migration, which may fail."""
    import crosscompat.book.store.migrate as migrating

    config = migrating._config

    def make(more=""):
        versions = tmp_path / "versions"
        versions.mkdir(exist_ok=True)
        (versions / "0003_colour.py").write_text(NEXT.format(more=more))

        def wider():
            found = config()
            found.set_main_option("path_separator", "newline")
            own = f"{found.get_main_option('script_location')}/versions"
            found.set_main_option("version_locations", f"{own}\n{versions}")
            return found

        monkeypatch.setattr(migrating, "_config", wider)
        monkeypatch.setattr("crosscompat.book.store.opening.HEAD", "0003")

    return make


def _older(place):
    from crosscompat.book.records import Finding, Plant

    plant = Plant(name="coc-1")
    store = open_store(place)
    with store.writing("planted", who="A. Grower") as pen:
        pen.add(plant, Finding(plant=plant.id, what="sex", value="female"))
    store.engine.dispose()
    return plant


def test_a_book_of_the_first_version_is_brought_to_that_of_today_and_loses_nothing(place):
    from crosscompat.book.records import Plant
    from crosscompat.book.store.store import Store

    engine = open_engine(place)
    migrate(engine, "0001")
    plant = Plant(name="coc-1")
    with Store(engine).writing("planted", who="A. Grower") as pen:
        pen.add(plant)
    engine.dispose()
    store = open_store(place)
    assert _told(store) == (HEAD, (plant,), ["A. Grower"])
    with store.engine.connect() as connection:
        names = {index["name"] for index in inspect(connection).get_indexes("plants")}
    assert {"ix_plants_made_in", "ix_plants_replaced_in"} <= names
    if not isinstance(place, str):
        assert "0001" in store.backup.name
    store.engine.dispose()


def _told(store):
    from crosscompat.book.records import Plant

    with store.reading() as page:
        version = page.connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
        return version, page.current(Plant), [change.who for change in page.changes()]


def test_an_older_book_is_copied_and_brought_up_to_date_when_it_is_opened(place, newer):
    from sqlalchemy import make_url

    plant = _older(place)
    newer()
    store = open_store(place)
    assert _told(store) == ("0003", (plant,), ["A. Grower"])
    with store.reading() as page:
        assert page.connection.exec_driver_sql("SELECT colour FROM plants").scalars().all() == ["unknown"]
    store.engine.dispose()
    again = open_store(place)
    assert again.backup is None
    again.engine.dispose()
    if isinstance(place, str):
        assert make_url(place).get_backend_name() == "postgresql"
        assert store.backup is None
        return
    assert store.backup.parent == place.parent / "backups"
    with open_engine(store.backup).connect() as copy:
        assert copy.exec_driver_sql("SELECT version_num FROM alembic_version").scalar() == HEAD


def test_a_migration_that_fails_leaves_the_book_as_it_was(place, newer):
    plant = _older(place)
    newer(more='raise ZeroDivisionError("half way")')
    with pytest.raises(ZeroDivisionError):
        open_store(place)
    newer()
    store = open_store(place)
    assert _told(store) == ("0003", (plant,), ["A. Grower"])
    store.engine.dispose()


def test_the_copy_of_an_older_book_can_be_put_back_and_is_brought_up_to_date_again(tmp_path, newer):
    from crosscompat.book.store.backup import restore

    place = tmp_path / "book.sqlite"
    plant = _older(place)
    newer()
    store = open_store(place)
    store.engine.dispose()
    place.write_bytes(b"damaged")
    restore(place, store.backup)
    again = open_store(place)
    assert _told(again) == ("0003", (plant,), ["A. Grower"])
    assert again.backup not in {None, store.backup}
    again.engine.dispose()


def test_on_a_server_too_the_indexes_cover_the_standing_rows_alone(postgres):
    engine = open_store(postgres).engine
    with engine.connect() as connection:
        found = [index for table in metadata.tables for index in inspect(connection).get_indexes(table)]
    engine.dispose()
    standing = [index for index in found if index["name"].endswith("_standing")]
    assert len(standing) > 15
    assert all("replaced_in IS NULL" in index["dialect_options"]["postgresql_where"] for index in standing)
