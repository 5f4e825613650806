"""The package as it is installed: complete, light, and of one version."""

from __future__ import annotations

import ast
import importlib.metadata
import itertools
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from collections import Counter
from pathlib import Path

import pytest

import crosscompat

ROOT = Path(__file__).parents[1]
MODULES = sorted((ROOT / "crosscompat").rglob("*.py"))


def test_one_version_everywhere():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    cited = re.search(r"^version: (.*)$", (ROOT / "CITATION.cff").read_text(encoding="utf-8"), re.MULTILINE)
    changed = re.search(r"^## (\S+)", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert {project["version"], cited[1], changed[1]} == {crosscompat.__version__}


def test_public_names_are_there():
    assert set(dir(crosscompat)) == set(crosscompat.__all__)
    assert all(getattr(crosscompat, name) is not None for name in crosscompat.__all__)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = crosscompat.nothing


def test_no_room_holds_more_than_twenty_modules():
    rooms = Counter(path.parent.relative_to(ROOT) for path in MODULES if path.name != "__init__.py")
    assert {str(room): n for room, n in rooms.items() if n > 20} == {}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_no_module_is_too_long(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_floors_without_caps():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [
        *project["dependencies"],
        *(need for need in itertools.chain(*project["optional-dependencies"].values()) if "crosscompat[" not in need),
        f"python{project['requires-python']}",
    ]
    assert all(re.fullmatch(r"[A-Za-z0-9-]+(\[binary\])?>=[\d.]+", requirement) for requirement in wanted)


def imported(path):
    """The packages of others that a module imports, anywhere in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield str(node.module).split(".")[0]
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "import_module":
            yield from (str(name.value).split(".")[0] for name in node.args if isinstance(name, ast.Constant))


def test_what_is_imported_is_declared():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = (needs for extra, needs in project["optional-dependencies"].items() if extra != "test")
    declared = {re.split(r"[\[>]", need)[0].lower() for need in (*project["dependencies"], *itertools.chain(*extras))}
    theirs = {name for path in MODULES for name in imported(path)} - {
        *sys.stdlib_module_names,
        "_typeshed",
        "crosscompat",
    }
    distributions = importlib.metadata.packages_distributions()
    assert {name for name in theirs if not declared & {each.lower() for each in distributions[name]}} == set()


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """A folder with the wheel and the source distribution, built from a copy of what a checkout holds."""
    source, built = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("built")
    skipped = shutil.ignore_patterns("__pycache__", ".*", "tests", "notebooks")
    shutil.copytree(ROOT, source, dirs_exist_ok=True, ignore=skipped)
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-d", built], cwd=source, check=True)
    return built


@pytest.fixture(scope="module")
def wheel(built):
    return next(built.glob("*.whl"))


def test_the_source_distribution_holds_the_trees_and_what_makes_them(built):
    with tarfile.open(next(built.glob("*.tar.gz"))) as archive:
        inside = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    assert {f"trees/{path.relative_to(ROOT / 'trees').as_posix()}" for path in files_in(ROOT / "trees")} <= inside
    assert {"trees/euphorbia/tree.nwk", "trees/euphorbia/make.py", "trees/sources.csv", "LICENSE"} <= inside


def test_the_wheel_carries_everything(wheel):
    assert wheel.name.endswith("-py3-none-any.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    inside = {name.removeprefix("crosscompat/") for name in names if name.startswith("crosscompat/")}
    written = {path.relative_to(ROOT / "crosscompat").as_posix() for path in files_in(ROOT / "crosscompat")}
    carried = {f"carried/{path.relative_to(ROOT / 'trees').as_posix()}" for path in files_in(ROOT / "trees")}
    assert inside == written | carried
    assert {
        "py.typed",
        "demo/crosses.csv",
        "model/priors.toml",
        "schemas/ask-3.json",
        "ground/wording/cli.toml",
    } <= written
    assert {"carried/echinocereus/tree.toml", "carried/README.md"} <= carried


def test_the_wheel_names_the_licence_of_everything_in_it_and_carries_each_in_full(wheel):
    """The package's own, those of the carried trees, and that of the fonts."""
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
        (metadata,) = [archive.read(name).decode() for name in names if name.endswith(".dist-info/METADATA")]
    (expression,) = re.findall(r"^License-Expression: (.*)$", metadata, re.MULTILINE)
    trees = [tomllib.loads(path.read_text(encoding="utf-8")) for path in (ROOT / "trees").glob("*/tree.toml")]
    assert {tree["licence"] for tree in trees} | {"Bitstream-Vera"} == set(expression.split(" AND "))
    stated = re.findall(r"^License-File: (.*)$", metadata, re.MULTILINE)
    assert len(stated) == 3
    assert all(any(name.endswith(f".dist-info/licenses/{path}") for name in names) for path in stated)


def test_every_published_table_names_its_source_and_its_licence():
    folder = ROOT / "tests" / "data" / "published"
    page = (folder / "README.md").read_text(encoding="utf-8")
    listed = dict(re.findall(r"^\| (\S+\.csv) \| [^|]+ \| ([^|]+) \|$", page, re.MULTILINE))
    assert set(listed) == {path.name for path in folder.glob("*.csv")}
    assert all("GPL" in licence or "none named" in licence for licence in listed.values())


def files_in(folder):
    return [path for path in folder.rglob("*") if path.is_file() and "__pycache__" not in path.parts]


def test_the_wheel_is_installed_and_answers_far_from_the_checkout(wheel, tmp_path):
    home = tmp_path / "home"
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-index", "--no-deps", "--disable-pip-version-check"]
    subprocess.run([*pip, "--target", home, wheel], check=True)
    assert not (home / "trees").exists()

    def ask_python(*words):
        environment = os.environ | {"PYTHONPATH": str(home)}
        done = subprocess.run([sys.executable, *words], cwd=tmp_path, env=environment, capture_output=True, check=True)
        return done.stdout.decode()

    answer = ask_python("-m", "crosscompat", "ask", "Echinocereus coccineus", "E. dasyacanthus", "--json")
    assert json.loads(answer)["schema"] == "crosscompat.ask/3"
    where = "from crosscompat import carried; print(carried.__file__, *(tree.tree for tree in carried.carried_trees()))"
    assert all(path.startswith(str(home)) for path in ask_python("-c", where).split())
    made = ask_python("-m", "crosscompat", "demo", "--json")
    assert (tmp_path / json.loads(made)["folder"] / "labels.html").is_file()


def test_nothing_in_the_package_knows_what_lies_beside_the_project():
    files = [*files_in(ROOT / "crosscompat"), *files_in(ROOT / "trees")]
    assert [path for path in files if b"../shared" in path.read_bytes()] == []
