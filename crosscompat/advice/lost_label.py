"""Which crosses a lost label may have belonged to, as an answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crosscompat.advice.cross_story import parents_in_words
from crosscompat.book.cross_summary import cross_records
from crosscompat.book.find_records import Clues, matches
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
    seed_parent, pollen_parent : str
        Species, with the plant in brackets where it is one of the book's.
    fit : float
        From 0 to 1.
    why : list of str
    """

    cross: str
    id: str
    seed_parent: str
    pollen_parent: str
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
    likeliest = []
    for match in matches(page, clues)[:most]:
        seed, pollen = parents_in_words(page, cross_records(page, match.cross))
        number = match.cross.number or match.cross.id
        likeliest.append(Candidate(number, match.cross.id, seed, pollen, match.fit, list(match.why)))
    return Candidates(likeliest, invented)
