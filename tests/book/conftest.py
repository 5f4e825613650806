from __future__ import annotations

import os
import uuid

import pytest

POSTGRES = "CROSSCOMPAT_TEST_POSTGRES"


@pytest.fixture
def postgres():
    """The URL of a new, empty database on a real server."""
    import sqlalchemy

    server = os.environ.get(POSTGRES)
    if not server:
        pytest.skip(f"no PostgreSQL server is named in {POSTGRES}")
    name = f"book_{uuid.uuid4().hex}"
    engine = sqlalchemy.create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    yield engine.url.set(database=name).render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request, tmp_path):
    """Where a new book may lie: a file, then a server."""
    return tmp_path / "book.sqlite" if request.param == "sqlite" else request.getfixturevalue("postgres")


@pytest.fixture
def book(place):
    from crosscompat.book.store import open_store

    store = open_store(place)
    yield store
    store.engine.dispose()
