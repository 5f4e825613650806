"""Which crosses a lost label may have belonged to, as an answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crosscompat.book.find_records import Clues, matches
from crosscompat.book.records import Plant
from crosscompat.book.store import Reading
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["Candidate", "Candidates", "candidates"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A cross that the label may have belonged to.

    Attributes
    ----------
    cross, id : str
    seed_parent : str
    fit : float
        From 0 to 1.
    why : list of str
    """

    cross: str
    id: str
    seed_parent: str
    fit: float
    why: list[str]


@dataclass(frozen=True, slots=True)
class Candidates:
    """The crosses that a lost label may have belonged to, the likeliest first."""

    candidates: list[Candidate]
    invented: bool
    schema: Literal["crosscompat.find/1"] = "crosscompat.find/1"


def candidates(page: Reading, clues: Clues, *, most: int, invented: bool = False) -> Candidates:
    """Return the likeliest crosses.

    Raises
    ------
    WrongUse
        If no clue was given.
    """
    if clues.empty:
        raise WrongUse(say("lost_label.no_clue"))
    names = dict(page.columns(Plant, "id", "name"))
    found = [
        Candidate(
            match.cross.number or match.cross.id,
            match.cross.id,
            names.get(match.cross.seed_plant or "") or match.cross.seed_parent or "",
            match.fit,
            list(match.why),
        )
        for match in matches(page, clues)[:most]
    ]
    return Candidates(found, invented)
