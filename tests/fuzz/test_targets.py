"""What the fuzzer of `fuzz.py` starts from, and what it has ever found, with and without a byte gone wrong."""

from __future__ import annotations

import importlib
import random
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent


@pytest.fixture
def target(monkeypatch):
    """Load a target by its name, and the files it starts from."""
    monkeypatch.syspath_prepend(str(HERE))
    for name in ("seeds", "targets"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    seeds, targets = importlib.import_module("seeds"), importlib.import_module("targets")
    yield lambda name: (targets.TARGETS[name], seeds.seeds(name))
    for name in ("seeds", "targets"):
        del sys.modules[name]


@pytest.mark.parametrize("name", ["tree", "names", "importer", "settings", "saved_model"])
def test_a_file_is_read_or_refused(target, name):
    function, seeds = target(name)
    chance = random.Random(name)
    for seed in seeds:
        function(seed)
        for _ in range(20):
            at = chance.randrange(len(seed))
            function(seed[:at] + chance.randbytes(1) + seed[at + chance.randrange(3) :])


@pytest.mark.parametrize(
    "case", sorted((HERE / "cases").glob("*/*")), ids=lambda path: f"{path.parent.name}-{path.name}"
)
def test_what_was_found_once_is_refused_now(target, case):
    function, _ = target(case.parent.name)
    function(case.read_bytes())
