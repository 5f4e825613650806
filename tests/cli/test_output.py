"""Screens of every kind: narrow, without colour, with few letters, or gone before the answer is."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest

from crosscompat.cli.output import columns, deliver, paragraph, speaks_unicode, unit_in_words, who, width

SEED, POLLEN = "Echinocereus coccineus", "E. dasyacanthus"
SCREENS = {
    "ask": ["ask", SEED, POLLEN, "--flowers", "4"],
    "rank": ["rank", "--partners-of", SEED],
    "tree": ["tree", SEED],
    "check": ["check"],
    "priors": ["priors"],
    "retrain": ["retrain", "--dry-run", "--why", "--as-of", "2024-10-31"],
}


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437"])
@pytest.mark.parametrize("screen", SCREENS)
def test_a_screen_with_few_letters_prints_a_stand_in(process, demo, screen, encoding):
    outcome = process(*SCREENS[screen], folder=demo, environment={"PYTHONIOENCODING": encoding})
    assert outcome.returncode == 0, outcome.stderr
    assert b"Traceback" not in outcome.stderr
    text = outcome.stdout.decode(encoding)
    assert re.search(r"E(chinocereus|[.]) coccineus", text) or screen in {"check", "priors"}
    if screen == "ask":
        sign = "?" if encoding in {"ascii", "cp437"} else "×"
        assert f"{SEED} {sign} Echinocereus dasyacanthus" in text


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_the_tree_falls_back_to_plain_letters(process, demo, encoding):
    environment = {"PYTHONIOENCODING": encoding}
    text = process(*SCREENS["tree"], "--flowers", "4", folder=demo, environment=environment).stdout.decode(encoding)
    rows = [row for row in text.splitlines() if "%" in row and "Echinocereus" in row]
    assert len(rows) == 31
    assert "".join(rows).isascii()
    assert "?" not in "".join(rows)
    assert all("-" in row for row in rows)
    assert any("#" in row for row in rows)


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-16"])
def test_an_answer_for_a_program_is_utf_8_on_any_screen(process, run, demo, encoding):
    question = ["ask", SEED, "Echinocereus triglochidiatus", "--json"]
    outcome = process(*question, folder=demo, environment={"PYTHONIOENCODING": encoding})
    assert outcome.stdout == run(*question, "--collection", demo).stdout_bytes
    assert json.loads(outcome.stdout.decode("utf-8"))["schema"] == "crosscompat.ask/3"
    picture = process("tree", SEED, "-o", "-", folder=demo, environment={"PYTHONIOENCODING": encoding})
    assert picture.stdout.decode("utf-8").rstrip().endswith("</svg>")


def test_an_error_can_be_told_in_few_letters(process, demo):
    outcome = process("ask", SEED, "E. ×dasycanthüs", folder=demo, environment={"PYTHONIOENCODING": "ascii"})
    assert outcome.returncode == 2
    assert b"Echinocereus dasyacanthus" in outcome.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals of this kind")
@pytest.mark.parametrize("environment", [{"NO_COLOR": "1", "TERM": "xterm-256color"}, {"TERM": "dumb"}])
@pytest.mark.parametrize("screen", ["ask", "tree"])
def test_no_colour_on_a_terminal_that_wants_none(process, demo, screen, environment):
    import pty

    ours, theirs = pty.openpty()
    running = process(*SCREENS[screen], folder=demo, environment=environment, wait=False, stdout=theirs, stderr=theirs)
    os.close(theirs)
    text = b""
    while chunk := read(ours):
        text += chunk
    assert running.wait(timeout=60) == 0
    os.close(ours)
    assert b"Echinocereus coccineus" in text
    assert b"\x1b" not in text


def read(terminal):
    """What a pseudo-terminal has to say, nothing once its other end is closed."""
    try:
        return os.read(terminal, 65536)
    except OSError:
        return b""


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        *SCREENS.values(),
        ["rank", "--most", "1"],
        ["rank", "--json"],
        ["label", "26-01", "-o", "-"],
        ["label", "26-01", "--json"],
        ["tree", SEED, "-o", "-"],
    ],
)
def test_a_reader_who_is_gone_is_no_failure(process, demo, arguments):
    ours, theirs = os.pipe()
    os.close(ours)
    outcome = process(*arguments, folder=demo, stdout=theirs)
    os.close(theirs)
    assert (outcome.returncode, outcome.stderr) == (0, b"")


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["ask", "--help"]])
def test_help_for_a_reader_who_is_gone_ends_quietly(process, arguments):
    ours, theirs = os.pipe()
    os.close(ours)
    outcome = process(*arguments, stdout=theirs)
    os.close(theirs)
    assert outcome.stderr == b""


def test_a_reader_of_one_line_gets_it(process, demo):
    running = process("rank", "--partners-of", SEED, "--most", "62", folder=demo, wait=False)
    assert b"invented outcomes" in running.stdout.readline()
    running.stdout.close()
    assert running.stderr.read() == b""
    running.stderr.close()
    assert running.wait(timeout=60) == 0


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["ask", SEED, POLLEN], 0),
        (["ask", "COC-B1", "COC-B2"], 1),
        (["ask", SEED, "E. imaginarius"], 2),
        (["rank", "none.csv"], 3),
    ],
)
def test_the_exit_code_is_true_even_if_nobody_listens(process, demo, arguments, code):
    ours, theirs = os.pipe()
    os.close(ours)
    outcome = process(*arguments, folder=demo, stdout=theirs, stderr=theirs)
    os.close(theirs)
    assert outcome.returncode == code


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is always full")
@pytest.mark.parametrize(
    "arguments", [["check"], ["rank", "--most", "1"], ["label", "26-01", "-o", "-"], ["ask", SEED, POLLEN, "--json"]]
)
def test_a_full_disk_is_told(process, demo, arguments):
    with Path("/dev/full").open("wb") as full:
        outcome = process(*arguments, folder=demo, stdout=full)
    assert outcome.returncode == 74
    assert outcome.stderr.startswith(b"The answer could not be printed: No space left on device. If something was")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is always full")
def test_what_was_written_down_is_not_denied_where_it_cannot_be_printed(process, run, own):
    before = json.loads(run("history", "--json", "--collection", own).stdout)["changes"][0]["number"]
    with Path("/dev/full").open("wb") as full:
        outcome = process("plant", "P-1", "--new", folder=own, stdout=full)
    assert outcome.returncode == 74
    assert b"it may have been: look with `crosscompat history`" in outcome.stderr
    assert b"othing has been" not in outcome.stderr
    assert json.loads(run("history", "--json", "--collection", own).stdout)["changes"][0]["number"] == before + 1


@pytest.mark.skipif(sys.platform == "win32", reason="there is no such shell on Windows")
def test_a_stream_that_is_closed_is_no_fault_and_never_the_book(process, run, own):
    command = [sys.executable, "-m", "crosscompat", "plant", "P-1", "--new"]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    outcome = subprocess.run(
        ["sh", "-c", 'exec "$@" <&- >&- 2>&-', "sh", *command], cwd=own, env=environment, check=False
    )
    assert outcome.returncode == 0
    assert "P-1" in run("find", "--plant", "P-1", "--collection", own).stdout


def test_what_is_said_again_with_its_identifier_is_written_once(run, own):
    for code in (0, 0):
        told = run("plant", "P-1", "--new", "--collection", own, code=code, CROSSCOMPAT_CHANGE="an identifier")
    assert "This is written down already" in told.stderr


def test_a_model_is_kept_even_if_nobody_reads_on(process, own):
    (own / "model.json").unlink()
    ours, theirs = os.pipe()
    os.close(ours)
    outcome = process("retrain", "--as-of", "2026-10-31", folder=own, stdout=theirs)
    os.close(theirs)
    assert outcome.returncode == 0
    assert (own / "model.json").is_file()


def test_a_demonstration_is_whole_even_if_nobody_reads_on(process, empty_folder):
    ours, theirs = os.pipe()
    os.close(ours)
    outcome = process("demo", folder=empty_folder, stdout=theirs)
    os.close(theirs)
    assert (outcome.returncode, outcome.stderr) == (0, b"")
    assert (empty_folder / "crosscompat-demo" / "labels.html").is_file()


@pytest.mark.parametrize("columns", [40, 60, 80, 100, 140])
def test_text_keeps_to_the_screen(run, demo, columns):
    for arguments in (SCREENS["ask"], ["check"]):
        text = run(*arguments, "--collection", demo, columns=columns).stdout
        table = "  column "
        lines = text.split(table)[0].splitlines()
        assert max(map(len, lines)) <= min(columns, 100)


def test_a_paragraph_breaks_at_the_width(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "50")
    assert width() == 50
    paragraph("word " * 30, indent=2, bullet="! ")
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 50
    assert lines[0].startswith("  ! word")
    assert all(line.startswith("    word") for line in lines[1:])


@pytest.mark.parametrize(("columns", "expected"), [(20, 40), (40, 40), (99, 99), (300, 100)])
def test_text_is_neither_too_narrow_nor_too_wide(monkeypatch, columns, expected):
    monkeypatch.setenv("COLUMNS", str(columns))
    assert width() == expected


def test_cells_stand_in_columns():
    rows = [["name", "n", "why"], ["a", "10", "x"], ["abcdef", "1", ""]]
    assert columns(rows, right=[1]) == ["name     n  why", "a       10  x", "abcdef   1"]


def test_names_and_units_in_words():
    assert who("Echinocereus laui", None) == "Echinocereus laui"
    assert unit_in_words(None) == "(unit not stated)"
    assert unit_in_words("furlongs") == "furlongs"


class Screen:
    def __init__(self, encoding):
        self.encoding = encoding


@pytest.mark.parametrize(("encoding", "able"), [("utf-8", True), ("cp1252", False), ("ascii", False), (None, False)])
def test_whether_a_screen_has_the_letters(monkeypatch, encoding, able):
    monkeypatch.setattr(sys, "stdout", Screen(encoding))
    assert speaks_unicode() is able


def test_a_file_is_written_in_utf_8_with_a_last_line_end(empty_folder, capsys):
    file = empty_folder / "a.svg"
    deliver("é × \N{SEEDLING}", file)
    assert file.read_bytes() == "é × \N{SEEDLING}\n".encode()
    assert capsys.readouterr() == ("", f"Written: {file}\n")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no named pipes of this kind")
def test_a_pipe_or_a_device_is_written_to_and_not_replaced(empty_folder):
    pipe = empty_folder / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    deliver("word", pipe)
    assert os.read(reader, 100) == b"word\n"
    os.close(reader)
    assert pipe.is_fifo()


def test_every_letter_of_a_name_survives(run, demo, empty_folder):
    names = "Echinocereus_laui,Echinocereus_×_roetteri,Echinocereus_münchii,'Echinocereus d''or \N{HEAVY CHECK MARK}'"
    (empty_folder / "t.nwk").write_text("(" + ":1,".join(names.split(",")) + ":1);\n", encoding="utf-8")
    run("new", "mine", "--tree", "t.nwk")
    found = json.loads(run("tree", "Echinocereus laui", "--collection", "mine", "--json").stdout)
    labels = [partner["label"] for partner in found["partners"]]
    assert [unicodedata.normalize("NFC", label) for label in labels] == labels
    assert "Echinocereus münchii" in [label.replace("_", " ") for label in labels]
    assert "Echinocereus d'or \N{HEAVY CHECK MARK}" in labels


ODD = "\x1b]0;mine\x07\x9b2J\u202eback"


def test_no_name_steers_the_screen(process, run, demo, own):
    settings = (own / "collection.toml").read_text(encoding="utf-8")
    title = "Zendlebrook hedgehog cacti"
    assert title in settings
    escaped = "".join(f"\\u{ord(sign):04X}" for sign in ODD)
    (own / "collection.toml").write_text(settings.replace(title, escaped), encoding="utf-8")
    said = [
        run("check", "--collection", own),
        run("ask", f"Echinocereus {ODD}", POLLEN, code=2),
        run("find", ODD, "--collection", own, code=2),
        run("retrain", "--as-of", ODD, "--collection", own, code=2),
        run(ODD, code=2),
    ]
    for outcome in said:
        assert "back" in outcome.output
        assert not set("\x1b\x07\x9b\u202e") & set(outcome.output)
    text = run("check", "--json", "--collection", own).stdout
    assert not set("\x1b\x07\x9b\u202e") & set(text)
    assert json.loads(text)["name"] == ODD


@pytest.mark.parametrize("day", ["9999-12-31", "0026-05-01", "1/1/0001"])
@pytest.mark.parametrize(
    "command", [["due"], ["retrain", "--dry-run"], ["score"], ["plan"], ["pollinate", "COC-F1", "DAS-1"], ["tonight"]]
)
def test_a_day_that_no_grower_means_is_no_date(run, own, command, day):
    outcome = run(*command, "--on", day, "--collection", own, code=2)
    assert f"“{day}” is no date" in outcome.stderr
