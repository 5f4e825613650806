"""A record that was put right or taken back, as an answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from crosscompat.book.history import FieldChange, Line, differences, lines_of, names_of
from crosscompat.book.records import Record
from crosscompat.book.store import Reading

__all__ = ["Correction", "correction_told"]


@dataclass(frozen=True, slots=True)
class Correction:
    """A record that was put right or taken back.

    Attributes
    ----------
    record : Line
        As it stands now; as it stood, where it was taken back.
    fields : list of FieldChange
        What was corrected.
    withdrawn : list of Line
        What was taken back.
    change : int or null
        The number of the change.
    dry_run : bool
    """

    record: Line
    fields: list[FieldChange]
    withdrawn: list[Line]
    change: int | None
    dry_run: bool
    schema: Literal["crosscompat.correct/1"] = "crosscompat.correct/1"


def correction_told(
    page: Reading, before: Record, after: Record | None, withdrawn: Sequence[Record], *, change: int | None
) -> Correction:
    """Return what was done to a record in words; a change without a number was a trial."""
    changed = differences(before, after, names_of(page, [before, after])) if after is not None else []
    line = lines_of(page, [after or before])[0]
    return Correction(line, changed, lines_of(page, withdrawn), change, change is None)
