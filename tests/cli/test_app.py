"""Every command says what it does, shows an example that runs, and stands in the README."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.main import get_command

from crosscompat import __version__
from crosscompat.cli.app import app
from crosscompat.ground.wording import catalogue

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
GUIDE = Path(__file__).parents[2] / "crosscompat" / "guide"
COMMANDS = (
    *(
        "ask",
        "attach",
        "backup",
        "bridge",
        "check",
        "correct",
        "demo",
        "distances",
        "due",
        "export",
        "find",
        "history",
        "import",
        "label",
    ),
    *(
        "new",
        "observe",
        "plan",
        "plant",
        "pocket",
        "pollinate",
        "priors",
        "rank",
        "restore",
        "retrain",
        "score",
        "tonight",
        "tree",
        "trees",
        "undo",
        "failed",
    ),
)
WITHOUT_AN_ANSWER = ("guide", "serve")
WITH_A_COLLECTION = tuple(name for name in COMMANDS if name not in {"demo", "new", "trees"})


def example(command):
    return catalogue("help")["examples"][command]


def test_these_are_the_commands(run):
    assert tuple(sorted(get_command(app).list_commands(None))) == tuple(sorted((*COMMANDS, *WITHOUT_AN_ANSWER)))
    listed = re.findall(r"^  (\w+)  ", run("--help").stdout.split("Commands:")[1], re.MULTILINE)
    assert tuple(sorted(listed)) == tuple(sorted((*COMMANDS, *WITHOUT_AN_ANSWER)))


@pytest.mark.parametrize("command", COMMANDS)
def test_help_shows_an_example_in_one_line(run, command):
    outcome = run(command, "--help", columns=80)
    assert run(command, "-h", columns=80).stdout == outcome.stdout
    assert f"Example:\n    {example(command)}\n" in outcome.stdout
    assert outcome.stderr == ""


@pytest.mark.parametrize("command", [*COMMANDS, *WITHOUT_AN_ANSWER])
def test_every_option_and_argument_says_what_it_is(command):
    params = get_command(app).get_command(None, command).params
    silent = [part.name for part in params if not getattr(part, "help", None)]
    assert silent == []


@pytest.mark.parametrize("command", COMMANDS)
def test_the_example_runs(run, own, monkeypatch, command):
    monkeypatch.chdir(own)
    program, *arguments = shlex.split(example(command))
    assert (program, arguments[0]) == ("crosscompat", command)
    if "my-hedgehogs" in arguments and command != "new":
        run(*shlex.split(example("new"))[1:])
    if command == "restore":
        run(*shlex.split(example("backup"))[1:])
    if command == "import":
        rows = "Pod parent;Pollen donor;Date;Took\nEchinocereus coccineus;E. pectinatus;2025-04-03;no\n"
        Path("my-crosses.csv").write_text(rows, encoding="utf-8")
    if command == "attach":
        Path("seedlings.jpg").write_bytes(b"no real photo")
    run(*arguments)


@pytest.mark.parametrize("command", COMMANDS)
def test_the_readme_names_it(command):
    pages = (README, *(page.read_text(encoding="utf-8") for page in GUIDE.glob("*.md")))
    assert any(re.search(rf"crosscompat {command}\b", page) for page in pages)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_answers_a_program(run, command):
    assert "--json" in run(command, "--help").stdout


@pytest.mark.parametrize("command", WITH_A_COLLECTION)
def test_a_collection_can_be_named_anywhere(run, command):
    assert "--collection DIR" in run(command, "--help").stdout


def test_without_a_command_it_says_in_three_lines_what_to_do_first(run):
    lines = run().stdout.splitlines()
    assert len(lines) == 3
    assert ["ask" in lines[0], "demo" in lines[1], "new" in lines[2]] == [True] * 3
    assert max(map(len, lines)) <= 120


def test_the_first_thing_it_advises_works_in_an_empty_folder(run):
    advised = run().stdout.splitlines()[0].split("crosscompat ")[1]
    assert "A seedling from" in run(*shlex.split(advised)).stdout


def test_the_version(run):
    assert run("--version").stdout == f"crosscompat {__version__}\n"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["sow"], "sow"),
        (["aks", "a", "b"], "ask"),
        (["ask", "--colour", "a", "b"], "--colour"),
        (["ask", "Echinocereus coccineus"], "a pollen parent"),
        (["ask", "a", "b", "c"], "“a b c”"),
        (["ask", "a", "b", "--flowers", "some"], "--flowers"),
        (["new"], "DIR"),
        (["label"], "Which crosses?"),
        (["tree"], "SPECIES"),
        (["retrain", "--as-of", "31.9.2026"], "31.9.2026"),
        (["retrain", "--as-of", "2026-02-30"], "2026-02-30"),
        (["rank", "--most", "0"], "--most"),
        (["rank", "--most", "-3"], "--most"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_a_wrong_call_says_what_is_wrong_with_it(run, arguments, says):
    outcome = run(*arguments, code=2)
    assert outcome.stdout == ""
    assert says in outcome.stderr.splitlines()[-1]
