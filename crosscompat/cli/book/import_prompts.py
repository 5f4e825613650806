"""What a table of a grower's leaves open: said with the command, or asked at the terminal."""

from __future__ import annotations

from dataclasses import dataclass

from crosscompat.book.import_export.column_mapping import TableMapping
from crosscompat.book.import_export.import_table import Answers
from crosscompat.book.import_export.row_meaning import TOOK_MEANS
from crosscompat.cli.prompts import choose, confirm
from crosscompat.ground.wording import say

__all__ = ["ONLY_SUCCESSES", "Given", "answered"]

ONLY_SUCCESSES = {"yes": True, "no": False, "unknown": None}


@dataclass(frozen=True, slots=True)
class Given:
    """What was said with the command; None was not."""

    took_means: str | None = None
    only_successes: str | None = None
    dates: str | None = None
    yes: bool = False


def answered(mapping: TableMapping, given: Given, *, asking: bool) -> tuple[Answers | None, list[str]]:
    """Return the answers, and the questions that are open; without the answers that the rows need, None.

    Parameters
    ----------
    mapping : TableMapping
    given : Given
    asking : bool
        Whether to ask at the terminal what is open.
    """
    took, only, questions = given.took_means, given.only_successes, []
    if mapping.column("took") is None:
        took = None
    elif took is None and mapping.is_ours:
        took = "seedling"
    elif took is None:
        took = choose(say("import.ask.took"), tuple(TOOK_MEANS)) if asking else None
        questions += [] if took else [say("import.ask.took_option", words=", ".join(TOOK_MEANS))]
    if mapping.rows_are == "crosses" and not mapping.column("only_successes") and not mapping.is_ours and only is None:
        only = choose(say("import.ask.only"), tuple(ONLY_SUCCESSES)) if asking else None
        questions += [] if only else [say("import.ask.only_option", words=", ".join(ONLY_SUCCESSES))]
    ready = None if questions else Answers(given.dates, took, ONLY_SUCCESSES.get(only or "unknown"))
    confirmed = given.yes or mapping.is_ours or (asking and ready is not None and confirm(say("import.ask.mapping")))
    questions += [] if confirmed else [say("import.ask.mapping_option")]
    return ready, questions
