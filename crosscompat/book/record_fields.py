"""What the fields of a record hold, for whatever reads or writes any kind of record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import Field, fields
from functools import cache
from types import MappingProxyType
from typing import Any, get_args, get_type_hints

from crosscompat.book.records import Record

__all__ = ["choices", "needed", "reference", "value_types"]


def value_types(kind: type[Record]) -> Mapping[str, type]:
    """Return the type of every field of a kind, None aside.

    Examples
    --------
    >>> from crosscompat.book.records import Flowering
    >>> value_types(Flowering)["open_flowers"]
    <class 'int'>
    """
    hints = _hints(kind)  # type: ignore[arg-type]  # a class can always be hashed
    return MappingProxyType({item.name: _bare(hints[item.name]) for item in fields(kind)})


def needed(kind: type[Record]) -> frozenset[str]:
    """Return the fields of a kind that are never None.

    Examples
    --------
    >>> from crosscompat.book.records import Flowering
    >>> sorted(needed(Flowering))
    ['date', 'id', 'plant']
    """
    hints = _hints(kind)  # type: ignore[arg-type]  # a class can always be hashed
    return frozenset(name for name, hint in hints.items() if type(None) not in get_args(hint))


def reference(item: Field[Any]) -> str | None:
    """Return the kind of record that a field points to, or None.

    Examples
    --------
    >>> from crosscompat.book.records import Sowing
    >>> [item.name for item in fields(Sowing) if reference(item)]
    ['cross', 'lot']
    """
    return item.metadata.get("of")


def choices(item: Field[Any]) -> tuple[str, ...] | None:
    """Return the only values that a field may have, or None."""
    return item.metadata.get("choices")


@cache
def _hints(kind: Any) -> Mapping[str, Any]:
    """Return the types of a kind's fields; to work them out takes long enough to be felt at every start."""
    return MappingProxyType(get_type_hints(kind))


def _bare(hint: Any) -> type:
    found = [part for part in get_args(hint) or (hint,) if part is not type(None)]
    return found[0]  # type: ignore[no-any-return]
