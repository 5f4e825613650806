"""What the README and the guide show is run as it stands, and prints what it says."""

from __future__ import annotations

import itertools
import os
import re
import shlex
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from crosscompat.cli.app import app

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
PAGES = [README, *sorted((ROOT / "crosscompat" / "guide").glob("*.md"))]
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
COMMANDS = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)
GROWERS_FILES = {
    "mytree.nwk": "((Aloe_vera:1,Aloe_ferox:1):1,Aloe_dichotoma:2);",
    "list.csv": "species,genus,section\nAloe vera,Aloe,A\nAloe ferox,Aloe,B\nAloe dichotoma,Aloe,\n",
    "seedlings.jpg": "no real photo",
    "its.fasta": ">Aloe_vera\nACGTACGTAC\n>Aloe_ferox\nACGTACGTAA\n>Aloe_dichotoma\nACGAACGTCA\n",
}


def play(block):
    """Run the commands of one block and return it with what they really print."""
    written = []
    for command in re.findall(r"^\$ (.*)$", block, re.MULTILINE):
        written.append(f"$ {command}\n")
        program, *arguments = shlex.split(command)
        if program == "cd":
            os.chdir(arguments[0])
            continue
        assert program == "crosscompat"
        outcome = CliRunner().invoke(app, arguments, env={"COLUMNS": "100"})
        assert outcome.exception is None or isinstance(outcome.exception, SystemExit), outcome.output
        written.append(re.sub(r"[ \t]+$", "", outcome.stdout, flags=re.MULTILINE))
    return "".join(written)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_prints_what_it_says(page, tmp_path, monkeypatch, update_golden):
    monkeypatch.chdir(tmp_path)
    text = page.read_text(encoding="utf-8")
    if BLOCK.search(text):
        assert CliRunner().invoke(app, ["demo"]).exit_code == 0
    real = BLOCK.sub(lambda found: f"```console\n{play(found[1])}```", text)
    if update_golden:
        page.write_text(real, encoding="utf-8")
    assert real == text


def test_the_guide_is_printed_as_it_is_written():
    for page in PAGES[1:]:
        outcome = CliRunner().invoke(app, ["guide", page.stem])
        assert outcome.stdout.rstrip() == page.read_text(encoding="utf-8").rstrip()
    assert len(README.read_text(encoding="utf-8").splitlines()) < 200


def commands_of(block):
    """Split the lines of a shell block into commands, without its comments and what sets Python up."""
    lines = [shlex.split(line, comments=True) for line in block.splitlines() if not line.startswith("python3 ")]
    return [
        list(words)
        for line in lines
        for is_and, words in itertools.groupby(line, lambda word: word == "&&")
        if not is_and
    ]


@pytest.mark.parametrize("page", [page for page in PAGES if COMMANDS.search(page.read_text(encoding="utf-8"))],
                         ids=lambda page: page.name)  # fmt: skip
def test_every_other_command_of_a_page_runs_after_it(page, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    text = page.read_text(encoding="utf-8")
    assert CliRunner().invoke(app, ["demo"]).exit_code == 0
    for block in BLOCK.findall(text):
        play(block)
    for name, content in GROWERS_FILES.items():
        Path(name).write_text(content, encoding="utf-8")
    played = [command for block in COMMANDS.findall(text) for command in commands_of(block)]
    assert played
    for program, *arguments in played:
        assert program == "crosscompat"
        shutil.rmtree("my-collection", ignore_errors=True)
        outcome = CliRunner().invoke(app, arguments)
        assert outcome.exit_code == 0, (arguments, outcome.output, outcome.exception)


@pytest.mark.parametrize("ending", ["crosscompat demo", "python -m pytest"])
def test_one_command_does_all_the_setting_up(ending):
    commands = [line for line in README.read_text(encoding="utf-8").splitlines() if line.startswith("python3 -m venv")]
    assert sum(line.endswith(ending) for line in commands) == 1


def test_the_job_is_told_in_the_first_paragraph():
    first = README.read_text(encoding="utf-8").split("\n\n")[1]
    assert "\n#" not in first
    assert "chance of a seedling" in first
