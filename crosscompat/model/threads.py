"""One BLAS thread for a fit, and what is large done side by side.

More BLAS threads only wait for each other: with small matrices always, with large ones as soon as anything else runs,
when two threads took seven times as long as one to invert a matrix of 3,000 columns.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

__all__ = ["do_all", "one_thread", "side_by_side"]

_One = TypeVar("_One")
_Found = TypeVar("_Found")


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold BLAS to one thread; a fit is then steady, and the same from run to run."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - only a fit needs it

    with threadpool_limits(limits=1, user_api="blas"):
        yield


def side_by_side(do: Callable[[_One], _Found], some: Sequence[_One], *, many: bool) -> Iterator[_Found]:
    """Do something with each: if there are many, as many at a time as there are processors.

    The next are begun when all results so far were taken, so that no more are held than are made at a time.

    Examples
    --------
    >>> list(side_by_side(abs, [1, -2, -3], many=True))
    [1, 2, 3]
    """
    if not many:
        yield from map(do, some)
        return
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415 - as above

    at_once = os.cpu_count() or 1
    with ThreadPoolExecutor(at_once) as pool:
        for begin in range(0, len(some), at_once):
            yield from pool.map(do, some[begin : begin + at_once])


def do_all(do: Callable[[_One], None], some: Sequence[_One], *, many: bool) -> None:
    """Do something with each, on all processors if there are many.

    Examples
    --------
    >>> found = []
    >>> do_all(found.append, [1, 2], many=False)
    >>> found
    [1, 2]
    """
    if not many:
        for one in some:
            do(one)
        return
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415 - as above

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(do, some))
