from __future__ import annotations

import io
import os
import signal
import sys
import time

import pytest

from crosscompat.cli import workers
from crosscompat.cli.workers import worked


class Terminal(io.StringIO):
    def isatty(self):
        return True


class Pools:
    """Stands in for the pool of processes, and counts those asked for."""

    def __init__(self, failing=None):
        self.hands, self.failing = [], failing

    def __call__(self, hands, **_):
        self.hands.append(hands)
        if self.failing is not None:
            raise self.failing
        return self

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None

    map = staticmethod(map)


@pytest.fixture
def pools(monkeypatch):
    def build(*, worth, processors=4, failing=None):
        made = Pools(failing)
        monkeypatch.setattr(workers, "ProcessPoolExecutor", made)
        monkeypatch.setattr(workers, "_WORTH_A_POOL", worth)
        monkeypatch.setattr(os, "cpu_count", lambda: processors)
        return made

    return build


@pytest.mark.parametrize("count", [0, 1, 2, 9])
@pytest.mark.parametrize("worth", [-1.0, 1e9])
def test_every_job_is_done_once_and_in_order(pools, count, worth):
    made = pools(worth=worth)
    assert list(worked(str, range(count))) == [str(i) for i in range(count)]
    assert made.hands == ([min(4, count - 1)] if count > 2 and worth < 0 else [])


@pytest.mark.parametrize("processors", [1, None])
def test_one_processor_gets_no_company(pools, processors):
    made = pools(worth=-1.0, processors=processors)
    assert list(worked(abs, [-1, 2, -3])) == [1, 2, 3]
    assert made.hands == []


@pytest.mark.parametrize("failing", [ImportError(), NotImplementedError(), OSError()])
def test_a_system_without_processes_works_alone(pools, failing):
    made = pools(worth=-1.0, failing=failing)
    assert list(worked(abs, [-1, 2, -3])) == [1, 2, 3]
    assert made.hands == [2]


def test_other_processes_give_the_same(monkeypatch):
    monkeypatch.setattr(workers, "_WORTH_A_POOL", -1.0)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    assert list(worked(abs, [-1, 2, -3, 4])) == [1, 2, 3, 4]


def test_what_goes_wrong_in_another_process_goes_wrong_here(monkeypatch):
    monkeypatch.setattr(workers, "_WORTH_A_POOL", -1.0)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    with pytest.raises(ValueError, match="invalid literal"):
        list(worked(int, ["1", "2", "three"]))


LONG_WORK = """
import os, time
from crosscompat.cli import workers
workers._WORTH_A_POOL, os.cpu_count = -1.0, lambda: 2
if __name__ == "__main__":
    print("begun", flush=True)
    list(workers.worked(time.sleep, [0.0, 300.0, 300.0, 300.0]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no signals of this kind")
def test_an_interrupt_ends_the_others_too(process):
    running = process(switches=("-c", LONG_WORK), wait=False, start_new_session=True)
    running.stdout.readline()
    time.sleep(3)
    os.killpg(running.pid, signal.SIGINT)
    running.communicate(timeout=60)
    assert running.returncode == -signal.SIGINT


@pytest.mark.parametrize("worth", [-1.0, 1e9])
@pytest.mark.parametrize(
    ("screen", "long", "told"), [(Terminal, -1.0, True), (Terminal, 1e9, False), (io.StringIO, -1.0, False)]
)
def test_a_long_wait_is_told_beforehand_to_somebody_who_watches(monkeypatch, pools, worth, screen, long, told):
    pools(worth=worth)
    monkeypatch.setattr(sys, "stderr", screen())
    monkeypatch.setattr(workers, "_LONG", long)
    coming = worked(abs, [-1, 2, -3])
    assert next(coming) == 1
    assert sys.stderr.getvalue() == ""
    assert list(coming) == [2, 3]
    assert ("This takes about 1 minute. With --way seasons" in sys.stderr.getvalue()) == told
