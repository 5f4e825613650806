from __future__ import annotations

import io

import pytest

from crosscompat.cli.options import choose, confirm


class Screen(io.StringIO):
    def __init__(self, text="", *, terminal=True):
        super().__init__(text)
        self.terminal = terminal

    def isatty(self):
        return self.terminal


@pytest.fixture
def terminal(monkeypatch):
    """Type something; whether somebody can read and type there; return what is shown."""

    def terminal(typed, *, reads=True, types=True):
        shown = Screen(terminal=reads)
        monkeypatch.setattr("sys.stdin", Screen(typed, terminal=types))
        monkeypatch.setattr("sys.stderr", shown)
        return shown

    return terminal


@pytest.mark.parametrize(
    ("typed", "said"), [("yes\n", True), ("Y\n", True), ("n\n", False), ("\n", False), ("perhaps\ny\n", True)]
)
def test_yes_is_yes_and_a_blank_is_no(terminal, typed, said):
    shown = terminal(typed)
    assert confirm("Write it down?") is said
    assert shown.getvalue().count("Write it down? [y/N]") == typed.count("\n")


@pytest.mark.parametrize("alone", [{"reads": False}, {"types": False}])
def test_only_on_a_terminal_is_anybody_asked(terminal, alone):
    shown = terminal("y\n", **alone)
    assert confirm("Write it down?") is None
    assert shown.getvalue() == ""


@pytest.mark.parametrize(
    ("typed", "word"),
    [("pod-set\n", "pod-set"), ("S\n", "seedling"), ("p\npo\npod\n", "pod"), ("x\nripe\n", "ripe-pod"), ("po", None)],
)
def test_a_word_is_known_by_its_beginning_once_it_is_the_only_one(terminal, typed, word):
    terminal(typed)
    assert choose("Which?", ("pod", "pod-set", "ripe-pod", "seedling")) == word


def test_a_question_leaves_the_answer_alone(terminal, capsys):
    terminal("y\n")
    confirm("Write it down?")
    assert capsys.readouterr().out.strip() == ""
