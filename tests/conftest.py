from __future__ import annotations

from pathlib import Path

import pytest

SHARED = Path(__file__).resolve().parents[2] / "shared"


def pytest_addoption(parser):
    parser.addoption("--update-golden", action="store_true", help="rewrite the stored pictures and answers")


@pytest.fixture
def update_golden(request):
    return request.config.getoption("--update-golden")


@pytest.fixture(scope="session")
def shared():
    """The folder of published data beside the project."""
    if not SHARED.is_dir():
        pytest.skip("the published data that lie beside the project (../shared) are absent")
    return SHARED
