"""How many processors a fit takes: one while its matrices are small, for more would only wait for each other."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

__all__ = ["each", "one_thread", "threads_for"]

_T = TypeVar("_T")
_LARGE = 1000  # columns from which two threads gain


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold BLAS to one thread; a fit is then steady, and the same from run to run."""
    with threads_for(0):
        yield


@contextmanager
def threads_for(columns: int) -> Iterator[None]:
    """Hold BLAS to one thread where a matrix has few columns, and to the processors there are where it has many."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - only a fit needs it

    with threadpool_limits(limits=1 if columns < _LARGE else os.cpu_count(), user_api="blas"):
        yield


def each(do: Callable[[_T], None], some: Sequence[_T], *, many: bool) -> None:
    """Do something with each, on all processors if there are many.

    Examples
    --------
    >>> found = []
    >>> each(found.append, [1, 2], many=False)
    >>> found
    [1, 2]
    """
    if not many:
        for one in some:
            do(one)
        return
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        for _ in pool.map(do, some):
            pass
