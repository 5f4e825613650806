from __future__ import annotations

import os
import uuid
from urllib.parse import quote, urlencode

import pytest

POSTGRES = "CROSSCOMPAT_TEST_POSTGRES"


@pytest.fixture
def postgres(with_parts, run_on):
    """The URL of a new, empty database on a real server."""
    server = os.environ.get(POSTGRES)
    if not server:
        pytest.skip(f"no PostgreSQL server is named in {POSTGRES}")
    name = f"book_{uuid.uuid4().hex}"
    run_on(server, f"CREATE DATABASE {name}")
    yield with_parts(server, dbname=name)
    run_on(server, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def run_on():
    """Runs a statement on a server as its keeper."""
    return run


def run(url, statement):
    psycopg = pytest.importorskip("psycopg")
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(statement)


@pytest.fixture
def with_parts():
    """Gives a server's URL other parts, by the names that its own library has for them."""
    return other_url


def other_url(url, **parts):
    conninfo = pytest.importorskip("psycopg.conninfo")
    whole = conninfo.conninfo_to_dict(url) | parts
    who = [quote(whole.pop(part), safe="") for part in ("user", "password") if part in whole]
    return f"postgresql://{':'.join(who)}@/{whole.pop('dbname')}?{urlencode(whole)}"


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request, tmp_path):
    """Where a new book may lie: a file, then a server."""
    return tmp_path / "book.sqlite" if request.param == "sqlite" else request.getfixturevalue("postgres")


@pytest.fixture
def book(place):
    from crosscompat.book.store import open_store

    store = open_store(place)
    yield store
    store.close()
