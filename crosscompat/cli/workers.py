"""Long work: on all processors, with a word beforehand and a bar for somebody who watches."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from operator import length_hint
from typing import TypeVar

from crosscompat.cli.output import talk
from crosscompat.ground.wording import say

_T = TypeVar("_T")
_Job = TypeVar("_Job")
_Result = TypeVar("_Result")
_PATIENCE = 1.0
_WORTH_A_POOL = 10.0
_LONG = 30.0
_MINUTE = 60.0


def watched(items: Iterable[_T], total: int | None = None) -> Iterator[_T]:
    """Pass on all items, so many; after a second a bar on standard error shows how many, if that is a terminal."""
    started, coming, done = time.monotonic(), iter(items), 0
    total = length_hint(items) if total is None else total
    patient = not sys.stderr.isatty()
    for item in coming:
        yield item
        done += 1
        if not patient and time.monotonic() - started > _PATIENCE:
            break
    if done < total and not patient:
        from rich.console import Console
        from rich.progress import Progress

        with Progress(console=Console(stderr=True), transient=True) as bar:
            task = bar.add_task(say("cli.working"), total=total, completed=done)
            for item in coming:
                yield item
                bar.advance(task)


def worked(function: Callable[[_Job], _Result], jobs: Sequence[_Job]) -> Iterator[_Result]:
    """Yield what a function makes of each job, in order.

    The first is done here and timed. If the others will take long they go to all processors, and how long is said to
    somebody who watches. The function stands at the top of a module, so that another process finds it by name.
    """
    started = time.monotonic()
    yield from map(function, jobs[:1])
    rest = jobs[1:]
    seconds = (time.monotonic() - started) * len(rest)
    hands = min(len(rest), os.cpu_count() or 1)
    pool = _pool(hands) if hands > 1 and seconds > _WORTH_A_POOL else None
    if pool is None:
        _announce(seconds)
        yield from watched(map(function, rest), len(rest))
        return
    _announce(seconds / hands)
    with pool:
        yield from watched(pool.map(function, rest), len(rest))


def _announce(seconds: float) -> None:
    if seconds > _LONG and sys.stderr.isatty():
        talk(say("score.long", minutes=max(1, round(seconds / _MINUTE))))


def _pool(hands: int) -> ProcessPoolExecutor | None:
    """Return so many processes; None where the system gives none."""
    try:
        return ProcessPoolExecutor(hands, mp_context=get_context("spawn"), initializer=_ends_at_once)
    except (ImportError, NotImplementedError, OSError):
        return None


def _ends_at_once() -> None:
    """Let Ctrl-C end this process without a word; the one that started it speaks."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
