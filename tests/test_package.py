"""The package as it is installed: complete, light, and of one version."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
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


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_no_module_is_too_long(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_floors_without_caps():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [
        *project["dependencies"],
        *project["optional-dependencies"]["test"],
        f"python{project['requires-python']}",
    ]
    assert all(re.fullmatch(r"[A-Za-z-]+>=[\d.]+", requirement) for requirement in wanted)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel, built from a copy of what a checkout holds."""
    source, built = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("built")
    skipped = shutil.ignore_patterns("__pycache__", ".*", "tests", "notebooks")
    shutil.copytree(ROOT, source, dirs_exist_ok=True, ignore=skipped)
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", built], cwd=source, check=True)
    return next(built.glob("*.whl"))


def test_the_wheel_carries_everything(wheel):
    assert wheel.name.endswith("-py3-none-any.whl")
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    for name in (
        "py.typed",
        "carried/index.toml",
        "carried/echinocereus.nwk",
        "carried/echinocereus_traits.csv",
        "demo/crosses.csv",
        "model/priors.toml",
        "schemas/ask-1.json",
        "wording/cli.toml",
    ):
        assert f"crosscompat/{name}" in names
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_the_wheel_answers_far_from_the_checkout(wheel, tmp_path):
    home = tmp_path / "home"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(home)
    environment = os.environ | {"PYTHONPATH": str(home)}
    command = [sys.executable, "-m", "crosscompat", "ask", "Echinocereus coccineus", "E. dasyacanthus", "--json"]
    outcome = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, check=True)
    assert b'"schema": "crosscompat.ask/1"' in outcome.stdout
    where = [sys.executable, "-c", "import crosscompat; print(crosscompat.__file__)"]
    assert (
        str(home)
        in subprocess.run(where, cwd=tmp_path, env=environment, capture_output=True, check=True).stdout.decode()
    )


def test_nothing_in_the_package_knows_what_lies_beside_the_project():
    told = [path for path in MODULES if "../shared" in path.read_text(encoding="utf-8")]
    assert told == []
