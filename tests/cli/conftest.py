from __future__ import annotations

import json
import os
import pty
import shutil
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from typer.testing import CliRunner

import crosscompat as package
from crosscompat.cli.app import app
from crosscompat.schemas import schema

HOME = Path(package.__file__).parents[1]


@pytest.fixture(autouse=True)
def empty_folder(tmp_path_factory, monkeypatch):
    """Every test stands in an empty folder, as a new user does."""
    folder = tmp_path_factory.mktemp("here")
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def own(demo, empty_folder):
    """A copy of the demonstration that a test may change."""
    return Path(shutil.copytree(demo, empty_folder / "own"))


@pytest.fixture(scope="session")
def run():
    """Run a command in this process; it must end with the exit code expected, and never with a traceback."""

    def run(*arguments, code=0, columns=100, **environment):
        set_to = {"COLUMNS": str(columns), "CROSSCOMPAT_DEBUG": None} | environment
        outcome = CliRunner().invoke(app, [str(argument) for argument in arguments], env=set_to)
        said = f"{arguments}: {outcome.exit_code}\n{outcome.output}\n{outcome.exception!r}"
        assert outcome.exit_code == code, said
        assert outcome.exception is None or isinstance(outcome.exception, SystemExit), said
        assert "Traceback" not in outcome.output, said
        return outcome

    return run


@pytest.fixture(scope="session")
def answer(run):
    """Run a command with --json, hold what it prints against its published schema, and return it."""

    def answer(*arguments, code=0):
        outcome = run(*arguments, "--json", code=code)
        found = json.loads(outcome.stdout)
        assert next(iter(found)) == "schema"
        jsonschema.Draft202012Validator(schema(found["schema"])).validate(found)
        assert code or not outcome.stderr
        return found

    return answer


@pytest.fixture(scope="session")
def process():
    """Run a command, or Python with other switches, as a process of its own."""

    def process(*arguments, switches=(), folder=None, wait=True, **options):
        unusual = {"PYTHONIOENCODING", "PYTHONUNBUFFERED", "CROSSCOMPAT_DEBUG"}
        environment = {name: value for name, value in os.environ.items() if name not in unusual}
        environment |= {"PYTHONPATH": str(HOME), "COLUMNS": "100", "OPENBLAS_NUM_THREADS": "1"}
        environment |= options.pop("environment", {})
        module = () if "-c" in switches else ("-m", "crosscompat")
        words = [sys.executable, *switches, *module, *map(str, arguments)]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | options
        running = subprocess.Popen(words, cwd=folder, env=environment, **pipes)
        if not wait:
            return running
        stdout, stderr = running.communicate(timeout=120)
        return subprocess.CompletedProcess(words, running.returncode, stdout, stderr)

    return process


@pytest.fixture
def new(run, empty_folder):
    """Make a collection with an empty book."""

    def new(name="mine"):
        run("new", name, "--tree", "echinocereus")
        return empty_folder / name

    return new


@pytest.fixture
def table(request, empty_folder):
    """Write a table of a grower's own; by default the ``TABLE`` of the test's module."""

    def write(text=None, name="my.csv"):
        (empty_folder / name).write_text(request.module.TABLE if text is None else text, encoding="utf-8")
        return empty_folder / name

    return write


@pytest.fixture
def at_a_terminal():
    """Run a command with answers typed one by one, and return what it said."""

    def run_there(typed, *words):
        ours, theirs = pty.openpty()
        command = [sys.executable, "-m", "crosscompat", *map(str, words)]
        environment = os.environ | {"COLUMNS": "200"}
        running = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment)
        os.close(theirs)
        os.write(ours, "".join(f"{line}\n" for line in typed).encode())
        said = b""
        try:
            while part := os.read(ours, 4096):
                said += part
        except OSError:  # the other end is closed
            pass
        assert running.wait(timeout=60) == 0, said.decode()
        os.close(ours)
        return said.decode()

    return run_there
