from __future__ import annotations

import io
import sys

import pytest

from crosscompat.cli import workers


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize("screen", [io.StringIO, Terminal])
@pytest.mark.parametrize("patience", [0.0, 1000.0])
@pytest.mark.parametrize("count", [0, 1, 2, 50])
def test_every_item_comes_once_and_in_order(monkeypatch, screen, patience, count):
    monkeypatch.setattr(sys, "stderr", screen())
    monkeypatch.setattr(workers, "_PATIENCE", patience)
    assert list(workers.watched(range(count))) == list(range(count))


def test_a_bar_shows_only_to_somebody_who_waits(monkeypatch):
    shown = {}
    for screen, patience in ((io.StringIO, -1.0), (Terminal, 1000.0), (Terminal, -1.0)):
        monkeypatch.setattr(sys, "stderr", screen())
        monkeypatch.setattr(workers, "_PATIENCE", patience)
        list(workers.watched(range(50)))
        shown[screen, patience] = sys.stderr.getvalue()
    assert shown[io.StringIO, -1.0] == shown[Terminal, 1000.0] == ""
    assert "Working" in shown[Terminal, -1.0]
