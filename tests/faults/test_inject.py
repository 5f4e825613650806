"""A sample of the faults of `inject.py`, whose full run takes an hour."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

INJECT = Path(__file__).with_name("inject.py")
HOME = Path(__file__).parents[2]


@pytest.mark.skipif(sys.platform != "linux", reason="a library is loaded before the C library")
@pytest.mark.skipif(shutil.which("cc") is None, reason="needs a C compiler")
def test_of_a_command_that_is_cut_short_all_or_nothing_holds_and_is_said():
    environment = os.environ | {"PYTHONPATH": str(HOME)}
    words = [sys.executable, str(INJECT), "--sample", "2"]
    run = subprocess.run(words, env=environment, capture_output=True, text=True, check=False)
    assert re.search(r"^22 passed, 0 failed$", run.stdout, re.MULTILINE), run.stdout + run.stderr
