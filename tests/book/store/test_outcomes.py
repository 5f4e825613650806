"""Three outcomes of writing: done, not done, or not known; and what is said again is written once."""

from __future__ import annotations

import sqlite3
import threading

import pytest

from crosscompat.book import store as store_room
from crosscompat.book.records import Plant
from crosscompat.book.store import Unreachable, open_store
from crosscompat.book.store.database import AlreadyWritten, Connection, NotKnown
from crosscompat.ground.errors import Busy


def plant(store, name="coc-1"):
    with store.writing("planted") as pen:
        pen.add(Plant(name=name))


def names(place):
    store = open_store(place)
    with store.reading() as page:
        found = [one.name for one in page.current(Plant)]
    store.close()
    return found


def without_last_word(monkeypatch, *, done):
    """Let the next commit fail, whether or not it was done before."""
    execute = Connection.execute

    def fail(connection, sql, values=()):
        if sql != "COMMIT":
            return execute(connection, sql, values)
        monkeypatch.setattr(Connection, "execute", execute)
        if done:
            execute(connection, sql)
        raise connection.raw.OperationalError("disk I/O error")

    monkeypatch.setattr(Connection, "execute", fail)


def test_what_holds_after_all_is_done(place, monkeypatch):
    store = open_store(place)
    without_last_word(monkeypatch, done=True)
    plant(store)
    store.close()
    assert names(place) == ["coc-1"]


def test_what_does_not_hold_is_not_done_and_can_be_said_again(place, monkeypatch):
    store = open_store(place)
    without_last_word(monkeypatch, done=False)
    with pytest.raises(Unreachable, match=r"This has not been written down: .*Nothing has been changed"):
        plant(store)
    assert names(place) == []
    plant(store)
    store.close()
    assert names(place) == ["coc-1"]


@pytest.mark.parametrize("done", [True, False])
def test_where_nobody_can_look_it_is_not_known_and_said_again_it_is_written_once(place, monkeypatch, done):
    store = open_store(place)
    without_last_word(monkeypatch, done=done)
    look = store_room._change_of
    calls = iter([look])

    def once(connection, uid):
        try:
            return next(calls)(connection, uid)
        except StopIteration:
            raise Unreachable("the server is away") from None

    monkeypatch.setattr("crosscompat.book.store._change_of", once)
    with pytest.raises(NotKnown, match=r"It is not known whether .*crosscompat history.*CROSSCOMPAT_CHANGE=") as told:
        plant(store)
    store.close()
    assert told.value.exit_code == 5
    assert "Nothing has been changed" not in str(told.value)
    monkeypatch.setattr("crosscompat.book.store._change_of", look)
    uid = str(told.value).split("CROSSCOMPAT_CHANGE=")[1].split()[0]
    again = open_store(place, change=uid)
    if not done:
        plant(again)
    with pytest.raises(AlreadyWritten, match=r"as change [12]"):
        plant(again)
    again.close()
    assert names(place) == ["coc-1"]


def test_somebody_who_reads_while_a_book_without_a_log_is_written_makes_it_busy(tmp_path, monkeypatch):
    monkeypatch.setattr("crosscompat.book.store.database._WAIT_SECONDS", 0.1)
    path = tmp_path / "book.sqlite"
    open_store(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    connection.close()
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT * FROM plants").fetchall()
    with pytest.raises(Busy, match="Nothing has been written"):
        plant(open_store(path))
    reader.close()
    assert names(path) == []


def test_a_lost_reply_to_the_commit_is_not_taken_for_nothing(postgres, proxy):
    open_store(postgres).close()
    armed = threading.Event()
    with proxy(postgres, armed) as way:
        store = open_store(way)
        armed.set()
        with pytest.raises(NotKnown) as told:
            plant(store)
        store.close()
    uid = str(told.value).split("CROSSCOMPAT_CHANGE=")[1].split()[0]
    again = open_store(postgres, change=uid)
    with pytest.raises(AlreadyWritten):
        plant(again)
    again.close()
    assert names(postgres) == ["coc-1"]
