from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("steady", deadline=None)  # a test never fails for being slow
settings.load_profile("steady")

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
    """Fill a new cross book of a collection with what tables say.

    A table that is not given is that of the demonstration where the outcomes are invented; else there is none.
    """
    from importlib.resources import files

    from crosscompat.book.crosses import read_crosses
    from crosscompat.book.current_plants import read_plants
    from crosscompat.collection.create import read_forecasts, take_in
    from crosscompat.collection.opening import Recorded
    from crosscompat.collection.settings import read_settings

    def write(folder, **given):
        for file in folder.glob("book.sqlite*"):
            file.unlink()
        settings = read_settings(folder / "collection.toml")
        found = {}
        for name, read in (("plants", read_plants), ("crosses", read_crosses), ("forecasts", read_forecasts)):
            usual = (
                (files("crosscompat.demo") / f"{name}.csv").read_text(encoding="utf-8") if settings.invented else None
            )
            text = given.get(f"{name}_csv", usual)
            if text is not None:
                with tempfile.TemporaryDirectory() as place:
                    table = Path(place) / f"{name}.csv"
                    table.write_text(text, encoding="utf-8")
                    found[name] = read(table)
        take_in(folder, settings, Recorded(**found))
        return folder

    return write
