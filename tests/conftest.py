from __future__ import annotations

import os
from pathlib import Path

import pytest

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
