"""A progress bar for what takes longer than a second, where somebody is watching."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from typing import TypeVar

from crosscompat.wording import say

__all__ = ["watched"]

_T = TypeVar("_T")
_PATIENCE = 1.0


def watched(items: Sequence[_T]) -> Iterator[_T]:
    """Pass items on; after a second a bar on standard error shows how many are done, if that is a terminal."""
    if not sys.stderr.isatty():
        yield from items
        return
    started = time.monotonic()
    done = 0
    for item in items:
        yield item
        done += 1
        if time.monotonic() - started > _PATIENCE:
            break
    yield from _with_a_bar(items, done)


def _with_a_bar(items: Sequence[_T], done: int) -> Iterator[_T]:
    if done == len(items):
        return
    from rich.console import Console  # noqa: PLC0415 - only a long wait needs it
    from rich.progress import Progress  # noqa: PLC0415

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(say("cli.working"), total=len(items), completed=done)
        for item in items[done:]:
            yield item
            bar.advance(task)
