"""Records in the order of their days."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Protocol, TypeVar

__all__ = ["by_date"]


class _Dated(Protocol):
    @property
    def date(self) -> date | None: ...


_D = TypeVar("_D", bound=_Dated)


def by_date(found: Iterable[_D]) -> list[_D]:
    """Return records from the oldest to the latest; one without a date is older than any other."""
    return sorted(found, key=lambda one: one.date or date.min)
