"""Imports run downwards only, and each outside thing has one room."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "crosscompat"
FLOORS = (
    ("ground",),
    ("carried",),
    ("stages",),
    ("book",),
    ("traits",),
    ("phylogeny",),
    ("pairing",),
    ("model",),
    ("collection",),
    ("show",),
    ("advice",),
    ("api", "web"),
    ("cli",),
    ("__main__",),
)
FLOOR_OF = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}
MODULES = sorted(path for path in PACKAGE.rglob("*.py"))


def room_of(path):
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "import_module":
            yield from (argument.value for argument in node.args[:1] if isinstance(argument, ast.Constant))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_room_looks_up(path):
    room = room_of(path)
    if room in {"__init__", "demo", "schemas"}:
        return  # the public names, and rooms that hold data
    rooms = {module.split(".")[1] for module in imports(path) if module.startswith("crosscompat.")}
    assert [other for other in rooms if FLOOR_OF[other] > FLOOR_OF[room]] == []


@pytest.mark.parametrize(
    ("library", "homes"),
    [
        ("dendropy", {"phylogeny/formats.py"}),
        ("Bio", {"phylogeny/formats.py"}),
        ("pandas", {"api.py", "model/take.py"}),
        ("sklearn", {"advice/score.py"}),
        ("typer", {path.relative_to(PACKAGE).as_posix() for path in PACKAGE.glob("cli/**/*.py")}),
        ("rich", {"cli/workers.py"}),
        ("csv", {"ground/csv_cells.py", "advice/pair_distances.py"}),
    ],
)
def test_one_room_does_each_outside_thing(library, homes):
    users = {
        path.relative_to(PACKAGE).as_posix()
        for path in MODULES
        if any(module.split(".")[0] == library for module in imports(path))
    }
    assert users <= homes
    assert users


def test_only_the_command_line_prints():
    printing = {
        room_of(path)
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
    }
    assert printing <= {"cli"}
