"""Published hybrids, and published failures, that come with the package."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

from crosscompat.carried import carried_file
from crosscompat.ground.csv_cells import read_sheet

__all__ = ["KnownHybrid", "formulas", "known_hybrids"]


@dataclass(frozen=True, slots=True)
class KnownHybrid:
    """A published cross.

    ``hybrid`` is what it is called, "" where it has no name, and for a failure; the parents are species, genus in full;
    unless ``direction_known`` they stand in any order. ``how`` it was made (by hand, in nature …) is in a grower's
    words; ``source`` has the references in full, each with its remark.
    """

    hybrid: str
    seed_parent: str
    pollen_parent: str
    direction_known: bool
    outcome: Literal["hybrid", "failure"]
    how: str
    note: str
    source: str


@cache
def known_hybrids() -> tuple[KnownHybrid, ...]:
    """Return the published crosses that come with the package, in the order of their table.

    Examples
    --------
    >>> [known.hybrid for known in known_hybrids() if known.seed_parent == "Echinocereus coccineus"]
    ['Echinocereus ×lloydii', 'Echinocereus ×roetteri']
    """
    references = {row["key"]: row["reference"] for row in _rows("sources.csv")}
    return tuple(
        KnownHybrid(
            row["hybrid"],
            row["seed_parent"],
            row["pollen_parent"],
            row["direction_known"] == "yes",
            "failure" if row["outcome"] == "failure" else "hybrid",
            row["how"],
            row["note"],
            "; ".join(_in_full(cited, references) for cited in row["source"].split("; ")),
        )
        for row in _rows("known_hybrids.csv")
    )


def formulas() -> dict[str, str]:
    """Return the formula of each published hybrid that has a name.

    Examples
    --------
    >>> formulas()["Echinocereus ×roetteri"]
    'Echinocereus coccineus × Echinocereus dasyacanthus'
    """
    return {known.hybrid: f"{known.seed_parent} × {known.pollen_parent}" for known in known_hybrids() if known.hybrid}


def _in_full(cited: str, references: dict[str, str]) -> str:
    """Return a citation with its reference for its key; a remark in brackets stays."""
    remark = re.search(r" \([^()]*\)$", cited)
    return references[cited] if remark is None else references[cited[: remark.start()]] + remark[0]


def _rows(name: str) -> list[dict[str, str]]:
    return [{column: cell or "" for column, cell in row.cells.items()} for row in read_sheet(carried_file(name)).rows]
