"""The command line starts fast: a library is loaded only by what needs it."""

from __future__ import annotations

import re

import pytest

HEAVY = {"numpy", "pandas", "sklearn", "scipy", "dendropy", "Bio"}
SEED, POLLEN = "Echinocereus coccineus", "E. dasyacanthus"


def loaded(stderr):
    """The libraries that Python says it has imported, and only those."""
    modules = re.findall(r"^import time: +\d+ \| +\d+ \| +([\w.]+)$", stderr.decode(), re.MULTILINE)
    return {module.split(".")[0] for module in modules}


@pytest.mark.parametrize("arguments", [["--help"], ["ask", "--help"], ["rank", "--help"], ["--version"], []])
def test_help_loads_none_of_the_heavy_libraries(process, demo, arguments):
    outcome = process(*arguments, switches=["-X", "importtime"], folder=demo)
    assert outcome.returncode == 0
    found = loaded(outcome.stderr)
    assert {"crosscompat", "typer"} <= found
    assert found & HEAVY == set()


@pytest.mark.parametrize(
    "arguments",
    [
        ["ask", SEED, POLLEN],
        ["ask", SEED, POLLEN, "--json"],
        ["rank", "--partners-of", SEED],
        ["tree", SEED],
        ["tree", SEED, "-o", "-"],
        ["label", "26-01", "-o", "-"],
    ],
    ids=" ".join,
)
def test_an_answer_from_a_saved_model_and_a_newick_tree_needs_numpy_alone(process, demo, arguments):
    outcome = process(*arguments, switches=["-X", "importtime"], folder=demo)
    assert outcome.returncode == 0
    assert loaded(outcome.stderr) & HEAVY == {"numpy"}


@pytest.mark.parametrize("arguments", [["ask", SEED, POLLEN], ["rank"], ["observe", "26-01"]], ids=" ".join)
def test_words_are_taken_as_they_are_given_without_a_library_that_converts_them(process, demo, arguments):
    outcome = process(*arguments, switches=["-X", "importtime"], folder=demo)
    assert "pydantic" not in loaded(outcome.stderr)


def test_a_question_loads_fewer_than_sixty_modules(process, demo):
    outcome = process("ask", SEED, POLLEN, switches=["-X", "importtime"], folder=demo)
    names = {line.rpartition("|")[2].strip() for line in outcome.stderr.decode().splitlines() if "| " in line}
    ours = {name for name in names if name.partition(".")[0] == "crosscompat"}
    assert 30 < len({name for name in ours if not any(other.startswith(f"{name}.") for other in ours)}) < 60


@pytest.mark.parametrize(
    "arguments",
    [["pollinate", "COC-F1", "DAS-1", "--count", "4"], ["plant", "COC-F1", "--flowers", "4"], ["plant"]],
    ids=" ".join,
)
def test_writing_into_the_book_needs_numpy_and_the_database_alone(process, own, arguments):
    outcome = process(*arguments, switches=["-X", "importtime"], folder=own)
    assert outcome.returncode == 0
    found = loaded(outcome.stderr)
    assert found & HEAVY == {"numpy"}
    assert "sqlite3" in found


def test_importing_the_package_loads_nothing_heavy(process, demo):
    outcome = process(switches=["-X", "importtime", "-c", "import crosscompat; dir(crosscompat)"], folder=demo)
    assert "crosscompat" in loaded(outcome.stderr)
    assert loaded(outcome.stderr) & HEAVY == set()
