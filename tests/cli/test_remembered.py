"""What is remembered beside a collection changes how fast an answer comes, and not a byte of it."""

from __future__ import annotations

import pytest

from crosscompat.book.records import Plant
from crosscompat.book.store import open_store

CACHE = ".book.cache"
SEED, POLLEN = "Echinocereus coccineus", "E. dasyacanthus"


def forget(folder):
    (folder / CACHE).unlink(missing_ok=True)


@pytest.mark.parametrize(
    ("command", "code"),
    [
        (["ask", SEED, POLLEN, "--json"], 0),
        (["ask", "COC-F1", "DAS-1", "-n", "4"], 0),
        (["rank", "--json"], 1),
        (["rank", "--partners-of", SEED, "--json"], 0),
        (["tree", SEED, "-o", "-"], 0),
        (["label", "26-01", "--json"], 0),
        (["check", "--json"], 0),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_an_answer_is_the_same_to_the_byte(run, own, command, code):
    asked = (*command, "--collection", own)
    forget(own)
    first = run(*asked, code=code)
    run("ask", SEED, POLLEN, "--collection", own)
    assert (own / CACHE).is_file()
    again = run(*asked, code=code)
    assert (again.stdout_bytes, again.stderr_bytes) == (first.stdout_bytes, first.stderr_bytes)


def test_an_answer_from_memory_opens_no_database(process, run, own):
    run("ask", SEED, POLLEN, "--collection", own)
    outcome = process("ask", SEED, POLLEN, switches=["-X", "importtime"], folder=own)
    assert outcome.returncode == 0
    assert b"sqlalchemy" not in outcome.stderr


def test_a_plant_added_is_known_to_the_next_answer(run, own):
    asked = ("ask", "NEW-1", POLLEN, "--collection", own)
    run("ask", SEED, POLLEN, "--collection", own)
    assert "is not a name known here" in run(*asked, code=2).stderr
    store = open_store(own / "book.sqlite")
    with store.writing("plant added") as pen:
        pen.add(Plant(name="NEW-1", received_as=SEED))
    store.engine.dispose()
    assert "NEW-1" in run(*asked).stdout


@pytest.mark.parametrize(
    "command", [["retrain", "--as-of", "2026-10-31", "--dry-run"], ["check"], ["due"]], ids=" ".join
)
def test_what_does_not_ask_for_a_pairing_keeps_nothing(run, own, command):
    forget(own)
    run(*command, "--collection", own)
    assert not (own / CACHE).exists()
