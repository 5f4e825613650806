from __future__ import annotations

import subprocess

import pytest


@pytest.fixture
def small_disk(tmp_path):
    """A disk of one megabyte."""
    folder = tmp_path / "disk"
    folder.mkdir()
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", folder], check=False, capture_output=True)
    if made.returncode:
        pytest.skip("no disk can be mounted here (needs root)")
    yield folder
    subprocess.run(["umount", folder], check=True)
