"""Whole commands whose book lies on a server, from which the answer to the last word never comes."""

from __future__ import annotations

import re
import threading

import pytest
from typer.testing import CliRunner

from crosscompat.book.records import KINDS
from crosscompat.book.store import open_store
from crosscompat.cli.app import app

TABLE = """date,seed_parent,pollen_parent,units,pods_set,seedlings
2025-05-01,Echinocereus coccineus,Echinocereus dasyacanthus,5,2,0
"""
COMMANDS = {
    "plant": ["plant", "das-2", "Echinocereus dasyacanthus"],
    "pollinate": ["pollinate", "coc-1", "das-1", "-n", "3", "--on", "2025-05-03"],
    "observe": ["observe", "25-001X", "--swelling", "2", "--on", "2025-05-20"],
    "import": ["import", "my.csv", "--yes"],
    "undo": ["undo", "3"],
}


@pytest.fixture
def own(tmp_path, monkeypatch, postgres):
    """A collection with two plants and a cross, whose book lies on a server."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "my.csv").write_text(TABLE, encoding="utf-8")
    said(postgres, "new", ".", "--tree", "echinocereus")
    said(postgres, "plant", "coc-1", "Echinocereus coccineus")
    said(postgres, "plant", "das-1", "Echinocereus dasyacanthus")
    said(postgres, "pollinate", "coc-1", "das-1", "-n", "2", "--on", "2025-05-01")
    return postgres


def said(place, *words, code=0, change=""):
    """Run a command on a book and return what it said."""
    outcome = CliRunner().invoke(app, words, env={"CROSSCOMPAT_BOOK": place, "CROSSCOMPAT_CHANGE": change})
    assert outcome.exit_code == code, outcome.output
    return " ".join(outcome.output.split())


def held(place):
    """Return how many changes a book has, and how many rows of each kind."""
    store = open_store(place)
    with store.reading() as page:
        found = len(page.changes()), {kind: len(page.versions(kind)) for kind in KINDS.values()}
    assert store.altered() is None
    store.close()
    return found


WAYS = [(name, True, True) for name in COMMANDS] + [
    ("pollinate", *way) for way in ((True, False), (False, True), (False, False))
]


@pytest.mark.parametrize(("name", "delivered", "for_good"), WAYS)
def test_what_is_said_is_true_and_said_again_it_is_written_once(own, proxy, name, delivered, for_good):
    before, words = held(own), COMMANDS[name]
    armed = threading.Event()
    with proxy(own, armed, delivered=delivered, for_good=for_good) as way:
        armed.set()
        if for_good:
            text = said(way, *words, code=5)
            assert "It is not known whether" in text
            assert "Nothing has been" not in text
        elif delivered:
            said(way, *words)
        else:
            assert "Nothing has been changed" in said(way, *words, code=3)
        assert not armed.is_set()
    after = held(own)
    assert (after == before) != delivered
    assert after[0] == before[0] + delivered
    change = re.search(r"CROSSCOMPAT_CHANGE=(\S+)", text)[1] if for_good else ""
    if not (delivered and not for_good):
        said(own, *words, change=change)
    assert held(own)[0] == before[0] + 1
