"""A command reads its words as Typer would, with less loaded."""

from __future__ import annotations

import pytest
import typer

from crosscompat.cli.app import app, command_line
from crosscompat.cli.lean import unconverted

TOLD = [
    ["ask", "A. bus", "A. cus"],
    ["ask", "A. bus", "A. cus", "-n", "4", "--json"],
    ["ask", "A. bus", "A. cus", "--flowers", "007", "--collection", "."],
    ["ask", "A. bus", ""],
    ["ask", "A. bus", "\udce9chinocereus"],
    ["rank"],
    ["rank", "wanted.csv", "--among", "a", "--among", "b", "--most", "3"],
    ["rank", "--partners-of", "a × b", "-n", "-3"],
    ["new", "mine", "--outgroup", "x"],
    ["due", "--as-of", "2026-07-15", "--days", "3"],
    ["label", "26-01", "26-02", "--since", "2026-05-01", "--season", "2026"],
    ["plant", "COC-F1", "--sex", "female", "--2n", "44", "--died", "2026-05-01", "--new"],
    ["pollinate", "A", "B", "C", "--count", "4", "--certainty", "likely"],
    ["undo"],
    ["undo", "12", "--dry-run"],
]
WRONG = [
    ["ask"],
    ["ask", "A. bus"],
    ["ask", "A. bus", "A. cus", "-n", "four"],
    ["ask", "A. bus", "A. cus", "-n", "4.5"],
    ["ask", "A. bus", "A. cus", "-n", "⁴"],
    ["ask", "A. bus", "A. cus", "-n", ""],
    ["ask", "A. bus", "A. cus", "A. dus"],
    ["rank", "--most", "0"],
    ["due", "--days", "0"],
    ["due", "--as-of", "yesterday"],
    ["plant", "COC-F1", "--sex", "none"],
    ["plant", "COC-F1", "--2n", "1"],
    ["undo", "last"],
]


def whole():
    return typer.main.get_command(app)


def read(line, command, *words):
    """What a command is called with."""
    with line.commands[command].make_context(command, list(words)) as context:
        return context.params


def refused(line, command, *words):
    with pytest.raises(Exception) as caught:  # noqa: PT011 - Typer's own kinds, which have no public home
        read(line, command, *words)
    return type(caught.value), str(caught.value)


@pytest.mark.parametrize("words", TOLD, ids=ascii)
def test_a_command_is_called_with_what_typer_would_call_it_with(words):
    expected = read(whole(), *words)
    for found in (read(unconverted(whole()), *words), read(command_line(words[0]), *words)):
        assert found == expected
        assert {name: type(value) for name, value in found.items()} == {
            name: type(value) for name, value in expected.items()
        }


@pytest.mark.parametrize("words", WRONG, ids=ascii)
def test_what_typer_refuses_is_refused_in_its_words(words):
    assert refused(command_line(words[0]), *words) == refused(whole(), *words)


def test_a_command_that_is_called_is_made_alone_and_anything_else_gets_all():
    every = set(whole().commands)
    assert {"ask", "import", "undo"} <= every
    for command in every:
        assert set(command_line(command).commands) == {command}
    for other in ("", "aks", "--help", "--version", "first"):
        assert set(command_line(other).commands) == every
    assert set(whole().commands) == every


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (["aks", "a", "b"], 2, "Did you mean 'ask'?"),
        (["--version"], 0, "crosscompat "),
        (["ask", "-h"], 0, "--flowers"),
        (["undo", "x"], 2, "integer"),
    ],
    ids=str,
)
def test_the_process_says_the_same(process, arguments, code, told):
    outcome = process(*arguments)
    assert outcome.returncode == code
    assert told in (outcome.stdout + outcome.stderr).decode()


@pytest.mark.parametrize(
    "words",
    [["ask", "Echinocereus coccineus", "E. dasyacanthus", "-n", "4"], ["rank", "--partners-of", "COC-F1"], ["due"]],
    ids=" ".join,
)
def test_words_and_plain_numbers_load_no_converter(process, demo, words):
    outcome = process(*words, switches=["-X", "importtime"], folder=demo)
    assert outcome.returncode == 0
    assert b"pydantic" not in outcome.stderr
