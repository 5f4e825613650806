"""One BLAS thread for a fit: its matrices are small, and more threads only wait for each other."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["one_thread"]


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold BLAS to one thread; a fit is then steady, and the same from run to run."""
    from threadpoolctl import threadpool_limits  # noqa: PLC0415 - only a fit needs it

    with threadpool_limits(limits=1, user_api="blas"):
        yield
