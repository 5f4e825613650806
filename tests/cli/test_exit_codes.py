"""The exit code says how it went, and whatever is wrong is said in words."""

from __future__ import annotations

import json
import os
import re
import signal
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import jsonschema
import pytest

from crosscompat.collection.settings import FORMAT
from crosscompat.ground.errors import BadInput, Busy, Fault, NoPairing, Place, UnknownName, WrongUse
from crosscompat.schemas import schema

SEED, POLLEN = "Echinocereus coccineus", "E. dasyacanthus"
SENTENCE = re.compile(r"[“\"\w].*[.?:]$")


def append(folder, name, line):
    with (folder / name).open("a", encoding="utf-8") as stream:
        stream.write(line + "\n")


def test_zero_for_an_answer(run, demo):
    run("ask", SEED, POLLEN, "--collection", demo)


def test_one_for_a_pairing_that_is_none(run, demo):
    outcome = run("ask", "COC-B1", "COC-B2", "--collection", demo, code=1)
    assert outcome.stdout == ""
    assert outcome.stderr.startswith("COC-B1 and COC-B2 are one plant")


def test_one_for_a_list_with_a_refused_row(run, demo):
    outcome = run("rank", "--collection", demo, code=1)
    assert "x Row 15, COC-B1 × COC-B2" in outcome.stdout
    assert outcome.stderr == ""


def test_one_when_there_is_nothing_to_learn_from(run, own, with_tables):
    with_tables(own, crosses_csv="date,seed_parent,pollen_parent\n")
    model = (own / "model.json").read_bytes()
    outcome = run("retrain", "--collection", own, code=1)
    assert "no finished cross" in outcome.stderr
    assert (own / "model.json").read_bytes() == model


def test_one_for_names_without_a_place(run, own):
    append(own, "wanted.csv", "Echinocereus imaginarius,Echinocereus coccineus,2,")
    outcome = run("check", "--collection", own, code=1)
    row = len((own / "wanted.csv").read_text(encoding="utf-8").splitlines())
    assert f"wanted.csv, row {row}, seed_parent: “Echinocereus imaginarius”" in outcome.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["ask", SEED, POLLEN, "--flowers", "0"], "at least 1"),
        (["ask", SEED, "E. dasycanthus"], "Echinocereus dasyacanthus"),
        (["ask", "COC-F9", POLLEN], "COC-F9"),
        (["ask", "", POLLEN], "a pollen parent"),
        (["rank", "--flowers", "0"], "at least 1"),
        (["rank", "--among", SEED], "--among again"),
        (["rank", "--partners-of", SEED, "--among", SEED], "no other species"),
        (["rank", "wanted.csv", "--partners-of", SEED], "Choose one"),
        (["tree", SEED, "--flowers", "-1"], "at least 1"),
        (["tree", SEED, "--as", "both"], "both"),
        (["label", "26-77"], "26-07"),
        (["label", "26-01", "zz"], "zz"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_two_for_a_question_that_makes_no_sense(run, demo, arguments, says):
    outcome = run(*arguments, "--collection", demo, code=2)
    assert outcome.stdout == ""
    assert says in outcome.stderr
    assert SENTENCE.match(outcome.stderr.strip())


@pytest.mark.parametrize(
    "arguments",
    [["check"], ["retrain"], ["score"], ["label", "26-01"], ["rank"], ["ask", "Lobivia aurea", "L. bruchii"]],
)
def test_two_without_a_collection_and_it_says_how_to_make_one(run, empty_folder, arguments):
    outcome = run(*arguments, code=2)
    assert str(empty_folder) in outcome.stderr
    assert "crosscompat new DIR" in outcome.stderr
    assert list(empty_folder.iterdir()) == []


def test_two_for_an_unknown_genus_and_it_says_what_to_do(run):
    outcome = run("ask", "Lobivia aurea", "L. bruchii", code=2)
    assert "only for Echinocereus" in outcome.stderr
    assert "--tree FILE" in outcome.stderr


@pytest.mark.parametrize("command", [["ask", SEED, POLLEN], ["tree", SEED], ["rank", "--partners-of", SEED]])
def test_two_for_a_collection_that_is_not_there_even_on_a_carried_tree(run, empty_folder, command):
    outcome = run(*command, "--collection", "nowhere", code=2)
    assert str(empty_folder / "nowhere") in outcome.stderr


FILES = ("wanted.csv", "traits.csv", "my.nwk", "my.nex", "my.csv")
CONTENTS = {
    "empty": b"",
    "blank": b"\n \n",
    "a word": b"hello",
    "every byte": bytes(range(256)) * 40,
    "an older encoding": "Échinocéréus,b;c\n".encode("cp1252"),
    "another encoding": "a,b\n1,2\n".encode("utf-16"),
    "an open quotation mark": b'a,"b\nc,d\n',
    "open brackets": b"((((",
    "a folder": None,
}


def settings_with(folder, key, value):
    text = (folder / "collection.toml").read_text(encoding="utf-8")
    changed = re.sub(rf"^{key} = .*$", f'{key} = "{value}"', text, flags=re.MULTILINE)
    assert changed != text
    (folder / "collection.toml").write_text(changed, encoding="utf-8")


@pytest.mark.parametrize("content", CONTENTS)
@pytest.mark.parametrize("file", FILES)
def test_three_for_a_file_that_cannot_be_read(run, own, file, content):
    if file.startswith("my."):
        settings_with(own, "tree", file)
    if file == "traits.csv":
        settings_with(own, "traits", file)
    path = own / file
    path.unlink(missing_ok=True)
    if CONTENTS[content] is None:
        path.mkdir()
    else:
        path.write_bytes(CONTENTS[content])
    for command in (["check"], ["ask", SEED, POLLEN, "--json"], ["retrain"]):
        outcome = run(*command, "--collection", own, code=3)
        assert bool(outcome.stdout) == ("--json" in command)
        assert file in outcome.stderr


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"[[[", "line 1"),
        (b"\xff\xfe", "UTF-8"),
        ("[tree]\n".encode("utf-16"), "UTF-8"),
        (b"hello", "TOML"),
        (b"format = 1\ncolour = 3\ntree = 4\n", "colour"),
        (b'format = 1\nhemisphere = "east"\n', "hemisphere"),
        (f"format = {FORMAT + 1}\n".encode(), "Update crosscompat"),
        (b'format = 1\ntree = "none.nwk"\n', "none.nwk"),
        (b'format = 1\ntree = "echinocereus"\ntraits = "none.csv"\n', "none.csv"),
    ],
)
def test_three_for_settings_that_cannot_be_followed(run, own, content, says):
    (own / "collection.toml").write_bytes(content)
    for command in (["check"], ["ask", SEED, POLLEN, "--json"], ["retrain"]):
        outcome = run(*command, "--collection", own, code=3)
        assert bool(outcome.stdout) == ("--json" in command)
        assert says in outcome.stderr
    assert (own / "collection.toml").read_bytes() == content


def test_three_for_crosses_wanted_that_are_not_there(run, demo):
    outcome = run("rank", "none.csv", "--collection", demo, code=3)
    assert "none.csv" in outcome.stderr


@pytest.mark.parametrize("place", ["nowhere/tree.svg", "."])
def test_seventy_four_for_a_place_that_cannot_be_written_to_by_its_own_name(run, demo, place):
    outcome = run("tree", SEED, "-o", place, "--collection", demo, code=74)
    assert outcome.stderr.startswith(f"{Path(place)}: ")
    assert list(Path().iterdir()) == []


def raising(error):
    def fail(*arguments, **named):
        raise error

    return fail


PLACE = Place("crosses.csv", row=4, column="date")


@pytest.mark.parametrize(
    ("error", "code", "says"),
    [
        (NoPairing("One plant."), 1, "One plant.\n"),
        (WrongUse("So not."), 2, "So not.\n"),
        (UnknownName("Nobody.", "x"), 2, "Nobody.\n"),
        (
            BadInput([Fault(PLACE, "No date."), Fault(PLACE, "No parent.")]),
            3,
            "crosses.csv, row 4, column date: No date.\ncrosses.csv, row 4, column date: No parent.\n",
        ),
        (PermissionError(13, "Permission denied", "crosses.csv"), 74, "crosses.csv: Permission denied.\n"),
        (OSError(28, "No space left on device", "a.csv"), 74, "a.csv: No space left on device.\n"),
        (Busy("Somebody else."), 4, "Somebody else.\n"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, Exception) else "",
)
def test_what_went_wrong_below_is_said_as_it_is(run, demo, monkeypatch, error, code, says):
    monkeypatch.setattr("crosscompat.advice.ask.ask", raising(error))
    outcome = run("ask", SEED, POLLEN, "--collection", demo, code=code)
    assert (outcome.stdout, outcome.stderr) == ("", says)


@pytest.mark.parametrize("error", [ZeroDivisionError("division by zero"), RecursionError("too deep"), MemoryError()])
def test_seventy_for_a_bug_without_a_traceback(run, demo, monkeypatch, error):
    monkeypatch.setattr("crosscompat.advice.ask.ask", raising(error))
    outcome = run("ask", SEED, POLLEN, "--collection", demo, code=70)
    assert outcome.stdout == ""
    assert type(error).__name__ in outcome.stderr
    assert str(error) in outcome.stderr
    assert "CROSSCOMPAT_DEBUG" in outcome.stderr
    assert len(outcome.stderr.splitlines()) == 1


@pytest.mark.parametrize(
    ("error", "code"), [(ZeroDivisionError("division by zero"), 70), (OSError(28, "Full", "a"), 74), (Busy("One."), 4)]
)
def test_a_failure_says_where_if_asked(demo, monkeypatch, error, code):
    from typer.testing import CliRunner

    from crosscompat.cli.app import app

    monkeypatch.setattr("crosscompat.advice.ask.ask", raising(error))
    arguments = ["ask", SEED, POLLEN, "--collection", str(demo)]
    outcome = CliRunner().invoke(app, arguments, env={"CROSSCOMPAT_DEBUG": "1"})
    assert outcome.exit_code == code
    assert outcome.stderr.startswith("Traceback (most recent call last)")
    assert Path(__file__).name in outcome.stderr


@pytest.mark.parametrize(
    ("error", "code", "faults"),
    [
        (UnknownName("Nobody.", "x"), 2, []),
        (OSError(28, "No space left on device", "a.csv"), 74, []),
        (
            BadInput([Fault(PLACE, "No date.", "Write one.")]),
            3,
            [{"where": "crosses.csv, row 4, column date", "what": "No date.", "advice": "Write one."}],
        ),
    ],
)
def test_a_program_gets_the_failure_as_json(run, demo, monkeypatch, error, code, faults):
    monkeypatch.setattr("crosscompat.advice.ask.ask", raising(error))
    outcome = run("ask", SEED, POLLEN, "--json", "--collection", demo, code=code)
    answer = json.loads(outcome.stdout)
    assert answer == {
        "schema": "crosscompat.error/1", "code": code, "message": outcome.stderr.removesuffix("\n"), "faults": faults,
    }  # fmt: skip
    jsonschema.validate(answer, schema(answer["schema"]))


def test_a_program_gets_it_too_where_the_call_cannot_be_read(run):
    answer = json.loads(run("ask", SEED, "--nope", "--json", code=2).stdout)
    assert "has no option --nope" in answer["message"]


@pytest.mark.parametrize(
    "arguments", [["ask", "LONG", POLLEN], ["label", "LONG"], ["plant", "LONG"], ["history", "LONG"]]
)
def test_an_unknown_name_is_cut_where_it_is_told(run, own, arguments):
    typed = [argument.replace("LONG", "Echinocereus " + "x" * 3000) for argument in arguments]
    assert (
        len(run(*typed, "--collection", own, code=2).stderr) < 1000 if arguments[0] != "guide" else run(*typed, code=2)
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ["new", "-"], ["demo", "-"], ["backup", "-"], ["restore", "-"], ["import", "-"], ["export", "-"],
        ["distances", "-"], ["attach", "26-01", "-"], ["check", "--collection", "-"],
    ],
)  # fmt: skip
def test_a_dash_is_no_file_but_for_what_can_be_printed(run, own, monkeypatch, arguments):
    monkeypatch.chdir(own)
    before = sorted(own.iterdir())
    assert "“-” is standard output" in run(*arguments, code=2).stderr
    assert sorted(own.iterdir()) == before


@pytest.mark.parametrize("arguments", [["due", "--ics", "-"], ["plan", "--ics", "-"]])
def test_a_dash_prints_a_calendar(run, own, monkeypatch, arguments):
    monkeypatch.chdir(own)
    before = sorted(own.iterdir())
    assert "BEGIN:VCALENDAR" in run(*arguments).stdout
    assert sorted(own.iterdir()) == before


def test_a_hundred_and_thirty_for_ctrl_c(run, demo, monkeypatch):
    monkeypatch.setattr("crosscompat.advice.ask.ask", raising(KeyboardInterrupt()))
    run("ask", SEED, POLLEN, "--collection", demo, code=130)


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["ask", "COC-F1", "DAS-1", "--collection", "own"], 0),
        (["ask", "COC-B1", "COC-B2", "--collection", "own"], 1),
        (["ask", SEED, "E. dasycanthus"], 2),
        (["check", "--collection", "own/bad"], 3),
    ],
)
def test_a_process_ends_with_the_same_codes(process, own, arguments, code):
    bad = own / "bad"
    bad.mkdir()
    (bad / "collection.toml").write_bytes(b"\xff")
    outcome = process(*arguments, folder=own.parent)
    assert outcome.returncode == code, outcome.stderr
    assert bool(outcome.stderr) == bool(code)
    assert bool(outcome.stdout) != bool(code)
    assert b"Traceback" not in outcome.stderr


@contextmanager
def opened_once_read(pipe, running):
    """Open a pipe for writing as soon as a process reads it."""
    handle = None
    while handle is None:
        assert running.poll() is None
        try:
            handle = os.open(pipe, os.O_WRONLY | os.O_NONBLOCK)
        except OSError:
            time.sleep(0.01)
    yield
    os.close(handle)


@pytest.mark.skipif(sys.platform == "win32", reason="a process is interrupted in another way on Windows")
def test_a_process_can_be_interrupted(process, empty_folder):
    pipe = empty_folder / "wanted.csv"
    os.mkfifo(pipe)  # reading the crosses wanted waits until somebody writes one
    running = process("rank", pipe, wait=False)
    with opened_once_read(pipe, running):
        running.send_signal(signal.SIGINT)
        _, stderr = running.communicate(timeout=60)
    assert running.returncode == 130
    assert b"Traceback" not in stderr


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="there is no file here that nobody can read")
@pytest.mark.parametrize("suffix", ["nwk", "csv"])
def test_seventy_four_for_a_tree_that_the_computer_will_not_read(run, empty_folder, suffix):
    """Reading the start of it is an I/O error, for an administrator too."""
    (empty_folder / f"tree.{suffix}").symlink_to("/proc/self/mem")
    outcome = run("new", "mine", "--tree", f"tree.{suffix}", code=74)
    assert outcome.stderr.endswith("Input/output error.\n")
