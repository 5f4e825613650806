"""Answers for programs: as published, complete, and the same every time."""

from __future__ import annotations

import json
import re
import shutil

import pytest

from crosscompat.advice.ask import ask
from crosscompat.advice.retrain import learn
from crosscompat.collection.opening import open_collection

SEED, POLLEN = "Echinocereus coccineus", "E. dasyacanthus"
ASKED = {
    "ask": ["ask", SEED, POLLEN, "--flowers", "4"],
    "ask of plants": ["ask", "COC-F1", "DAS-1"],
    "rank partners": ["rank", "--partners-of", SEED],
    "rank among": ["rank", "--among", SEED, "--among", POLLEN.replace("E.", "Echinocereus"), "--among", "COC-M1"],
    "retrain": ["retrain", "--as-of", "2026-10-31"],
    "dry run": ["retrain", "--as-of", "2024-10-31", "--dry-run"],
    "score": ["score", "--way", "seasons", "--as-of", "2023-10-31"],
    "tree": ["tree", SEED],
    "tree as pollen": ["tree", SEED, "--as", "pollen", "--flowers", "3"],
    "label": ["label", "26-01", "26-02"],
    "check": ["check"],
    "priors": ["priors"],
}


@pytest.mark.parametrize("name", ASKED)
def test_an_answer_is_as_published(answer, own, monkeypatch, name):
    monkeypatch.chdir(own)
    found = answer(*ASKED[name])["schema"]
    assert found.startswith(f"crosscompat.{ASKED[name][0]}/")


@pytest.mark.parametrize("name", ASKED)
def test_two_runs_on_an_unchanged_collection_are_equal_to_the_byte(run, own, monkeypatch, name):
    monkeypatch.chdir(own)
    arguments = [*ASKED[name], "--json"]
    if name == "retrain":  # it changes the model that the second run starts from, so each starts from the first
        before = shutil.copytree(own, own.parent / "before")
        first = run(*arguments).stdout_bytes
        monkeypatch.chdir(before)
        assert run(*arguments).stdout_bytes == first
    else:
        assert run(*arguments).stdout_bytes == run(*arguments).stdout_bytes


def test_a_list_with_a_row_that_is_no_pairing_is_still_an_answer(answer, demo, monkeypatch):
    monkeypatch.chdir(demo)
    ranking = answer("rank", code=1)
    assert ranking["schema"] == "crosscompat.rank/2"
    first_of = {}
    for row in ranking["rows"]:
        first_of.setdefault(row["place"], row["chance"]["mean"])
    assert list(first_of) == sorted(first_of)
    assert list(first_of.values()) == sorted(first_of.values(), reverse=True)
    assert ranking["refused"]


def test_a_new_collection_and_a_demonstration_answer_too(answer):
    assert answer("new", "mine")["files"] == ["collection.toml", "book.sqlite", "wanted.csv"]
    made = answer("demo", "theirs")
    assert made["folder"] == "theirs"
    assert made["invented"] is True


def test_a_first_question_answers_without_a_collection(answer):
    found = answer("ask", SEED, POLLEN)
    assert found["basis"]["kind"] == "prior"
    assert found["invented"] is False


def test_numbers_are_not_rounded(run, demo, monkeypatch):
    monkeypatch.chdir(demo)
    printed = run(*ASKED["ask"], "--json").stdout
    real = ask(open_collection(demo), SEED, POLLEN, flowers=4)
    found = json.loads(printed)
    assert found["pairing"]["chance"]["mean"] == real.pairing.chance.mean
    assert found["pairing"]["stages"][0]["logit_mean"] == real.pairing.stages[0].logit_mean
    assert found["reciprocal"]["per_flower"]["high"] == real.reciprocal.per_flower.high
    numbers = re.findall(r": (-?\d+\.\d+(?:e-?\d+)?)", printed)
    assert len(numbers) > 20
    assert [repr(float(number)) for number in numbers] == numbers


def test_a_lesson_is_the_one_that_was_learned(answer, own, monkeypatch):
    from datetime import date

    monkeypatch.chdir(own)
    lesson, saved = learn(open_collection(own), as_of=date(2025, 10, 31))
    found = answer("retrain", "--as-of", "2025-10-31")
    assert found["after"]["model"] == saved.fingerprint
    assert [entry["after"] for entry in found["weightings"]] == [entry.after for entry in lesson.weightings]


def test_with_a_file_named_the_answer_goes_there(run, demo, monkeypatch, empty_folder):
    file = empty_folder / "answer.json"
    collection = ("--collection", demo)
    for command in (["tree", SEED], ["label", "26-01"]):
        outcome = run(*command, *collection, "--json", "-o", file)
        assert outcome.stdout == ""
        assert file.read_bytes() == run(*command, *collection, "--json").stdout_bytes
        assert file.name in outcome.stderr
