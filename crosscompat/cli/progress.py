"""A progress bar for what takes longer than a second, where somebody is watching."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

from crosscompat.ground.wording import say

__all__ = ["counted", "watched"]

_T = TypeVar("_T")
_PATIENCE = 1.0


def watched(items: Sequence[_T]) -> Iterator[_T]:
    """Pass items on; after a second a bar on standard error shows how many are done, if that is a terminal."""
    return counted(items, len(items))


def counted(items: Iterable[_T], total: int) -> Iterator[_T]:
    """Pass on so many items as `watched` does, whether they are there or still being made."""
    if not sys.stderr.isatty():
        yield from items
        return
    started = time.monotonic()
    coming, done = iter(items), 0
    for item in coming:
        yield item
        done += 1
        if time.monotonic() - started > _PATIENCE:
            break
    yield from _with_a_bar(coming, done, total)


def _with_a_bar(coming: Iterator[_T], done: int, total: int) -> Iterator[_T]:
    if done == total:
        return
    from rich.console import Console  # noqa: PLC0415 - only a long wait needs it
    from rich.progress import Progress  # noqa: PLC0415

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(say("cli.working"), total=total, completed=done)
        for item in coming:
            yield item
            bar.advance(task)
