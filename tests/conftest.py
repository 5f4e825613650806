from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("steady", deadline=None)  # a test never fails for being slow
settings.load_profile("steady")

os.environ.setdefault("SCIPY_ARRAY_API", "1")  # read when scipy loads; without it scikit-learn skips one of its checks

SHARED = Path(__file__).resolve().parents[2] / "shared"


def pytest_addoption(parser):
    parser.addoption("--update-golden", action="store_true", help="rewrite the stored pictures and answers")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session, exitstatus):
    """Where nothing may be skipped, a skip fails the run."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CROSSCOMPAT_SKIP_NOTHING") and reporter and reporter.stats.get("skipped") and exitstatus == 0:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture
def update_golden(request):
    return request.config.getoption("--update-golden")


@pytest.fixture(scope="session")
def shared():
    """The folder of published data beside the project."""
    if not SHARED.is_dir():
        pytest.skip("the published data that lie beside the project (../shared) are absent")
    return SHARED


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The collection that ``crosscompat demo`` makes, trained; to be looked at and not changed."""
    from typer.testing import CliRunner

    from crosscompat.cli.app import app

    folder = tmp_path_factory.mktemp("nursery") / "crosscompat-demo"
    outcome = CliRunner().invoke(app, ["demo", str(folder)])
    assert outcome.exit_code == 0, outcome.output
    return folder


TABLES = ("plants.csv", "crosses.csv", "forecasts.csv")


@pytest.fixture(scope="session")
def with_tables():
    """Make a collection an older one, whose records are tables still; opening it takes them into a new cross book.

    A table that is not given is that of the last time, else that of the demonstration where its settings are.
    """
    from importlib.resources import files

    def write(folder, **given):
        for file in folder.glob("book.sqlite*"):
            file.unlink()
        settings = folder / "collection.toml"
        text = settings.read_text(encoding="utf-8")
        settings.write_text(text.replace("format = 2", "format = 1"), encoding="utf-8")
        aside = folder / "before the cross book"
        invented = "invented = true" in text
        for name in TABLES:
            places = [aside / name, *([files("crosscompat.demo") / name] if invented else [])]
            known = next((place.read_text(encoding="utf-8") for place in places if place.is_file()), None)
            content = given.get(name.replace(".", "_"), known)
            if content is not None:
                (folder / name).write_text(content, encoding="utf-8")
        return folder

    return write
