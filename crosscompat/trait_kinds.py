"""The kinds of trait that a column may hold: how each is told from its cells, read, and set against another plant's.

A new kind is one line of `TRAIT_KINDS`; what its features are believed to say is a row in the priors.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from crosscompat.ground.csv_cells import BadCell, decimal, whole, yes_no
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

__all__ = ["FEATURES", "TRAIT_KINDS", "TraitKind", "infer", "is_unknown", "months"]

Floats: TypeAlias = NDArray[np.float64]
Reader: TypeAlias = Callable[[str], Any]
Compare: TypeAlias = Callable[[Floats, Floats], Floats]

_UNKNOWN = frozenset({"?", "unknown", "na", "n/a"})
_CHROMOSOMES = frozenset({"2n", "chromosomes", "chromosome_number", "chromosome_count"})
_MONTH_COLUMN = re.compile(r"month|flower|bloom|fruit|ripe|season|sow")
_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_NUMBER_OF = {"sept": 9} | {
    name: number for number, month in enumerate(_MONTHS, 1) for name in (str(number), f"{number:02}", month, month[:3])
}
_SENTENCE_WORDS = 4
_FEW_SPECIES = 5


def is_unknown(text: str) -> bool:
    """Say whether a cell says that its value is not known.

    Examples
    --------
    >>> is_unknown("NA"), is_unknown("no")
    (True, False)
    """
    return text.strip().casefold() in _UNKNOWN


def months(text: str) -> frozenset[int]:
    """Return the months of a range or a list; a range may run over the new year.

    Raises
    ------
    BadCell
        If it is neither.

    Examples
    --------
    >>> sorted(months("11-2")), sorted(months("apr-jun; 9"))
    ([1, 2, 11, 12], [4, 5, 6, 9])
    """
    numbers: set[int] = set()
    for part in re.split(r"[;,/]", text.casefold()):
        ends = [_NUMBER_OF.get(end.strip(" .")) for end in re.split(r"[-–]|\bto\b", part)]
        first, last = ends[0], ends[-1]
        if first is None or last is None or len(ends) > 2:  # noqa: PLR2004 - a range has two ends
            raise BadCell(say("traits.months", text=text), say("traits.months_advice"))
        numbers |= {(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)}
    return frozenset(numbers)


def _positive(text: str, *, comma: bool) -> float:
    value = decimal(text, comma=comma)
    if value <= 0:
        raise BadCell(say("traits.positive", text=text), say("traits.positive_advice"))
    return value


def _one_spelling(known: Sequence[str]) -> Reader:
    """Read words; one category has one spelling, the first in the column."""
    spelling: dict[str, str] = {}
    for text in known:
        spelling.setdefault(fold(text).casefold(), fold(text))
    return lambda text: spelling[fold(text).casefold()]


def _fits(read: Reader, known: Sequence[str]) -> bool:
    try:
        for text in known:
            read(text)
    except BadCell:
        return False
    return True


def _names_months(name: str, known: Sequence[str]) -> bool:
    """Bare numbers and ranges are months only in a column named so: 3-5 may count spines."""
    if not _fits(months, known):
        return False
    in_words = any(re.search("[a-z]", text, re.IGNORECASE) for text in known)
    over_new_year = any("-" in text and {12, 1} <= months(text) for text in known)
    return in_words or over_new_year or bool(_MONTH_COLUMN.search(name))


def _why_text(known: Sequence[str], *, comma: bool) -> str:
    if _fits(partial(decimal, comma=comma), known):
        return "not_positive"
    if 2 * sum(len(text.split()) >= _SENTENCE_WORDS for text in known) > len(known):
        return "sentences"
    different = len({fold(text).casefold() for text in known}) == len(known)
    return "all_different" if different and len(known) >= _FEW_SPECIES else ""


def _numbers(values: Sequence[Any]) -> Floats:
    return np.array([np.nan if value is None else float(value) for value in values])


def _word_numbers(values: Sequence[Any]) -> Floats:
    number = {word: at for at, word in enumerate(sorted({str(value) for value in values if value is not None}))}
    return _numbers([None if value is None else number[str(value)] for value in values])


def _where_known(compare: Callable[[Floats, Floats], NDArray[np.bool_]]) -> Compare:
    """1 or 0, and unknown where a parent's value is."""
    return lambda seed, pollen: np.where(np.isnan(seed) | np.isnan(pollen), np.nan, compare(seed, pollen))


def _both(seed: Floats, pollen: Floats) -> Floats:
    """1 where both have it, 0 where one is known not to, unknown otherwise."""
    return np.where((seed == 0) | (pollen == 0), 0.0, seed * pollen)


@dataclass(frozen=True, slots=True)
class TraitKind:
    """A kind of trait.

    ``why`` takes a column's name, its known cells and whether a decimal may have a comma, and returns the word for why
    the column is of this kind, "" if it is not. ``reader`` takes those cells and that comma, and returns what reads a
    cell or raises `BadCell`. ``codes`` makes k values a (k,) array of numbers, NaN for None. ``features`` make
    numbers of pairings of those of their seed and pollen parents, NaN where unknown.
    """

    why: Callable[[str, Sequence[str], bool], str]
    reader: Callable[[Sequence[str], bool], Reader]
    codes: Callable[[Sequence[Any]], Floats] = _numbers
    features: Mapping[str, Compare] = field(default_factory=dict)


TRAIT_KINDS: Mapping[str, TraitKind] = {
    "count": TraitKind(
        lambda name, _known, _comma: "count" if name in _CHROMOSOMES else "",
        lambda _known, _comma: whole,
        features={"lower": _where_known(np.less), "higher": _where_known(np.greater)},
    ),
    "flag": TraitKind(
        lambda name, known, _comma: "flag" if _fits(yes_no, known) and not _MONTH_COLUMN.search(name) else "",
        lambda _known, _comma: yes_no,
        features={"both": _both},
    ),
    "months": TraitKind(
        lambda name, known, _comma: "months" if _names_months(name, known) else "",
        lambda _known, _comma: months,
    ),
    "measure": TraitKind(
        lambda _name, known, comma: "measure" if _fits(partial(_positive, comma=comma), known) else "",
        lambda _known, comma: partial(_positive, comma=comma),
        codes=lambda values: np.log(_numbers(values)),
        features={"ratio": np.subtract, "size": lambda seed, pollen: np.abs(seed - pollen)},
    ),
    "text": TraitKind(lambda _name, known, comma: _why_text(known, comma=comma), lambda _known, _comma: str),
    "category": TraitKind(
        lambda _name, _known, _comma: "category",
        lambda known, _comma: _one_spelling(known),
        codes=_word_numbers,
        features={"same": _where_known(np.equal)},
    ),
}
"""In the order in which a column is tried for them."""

FEATURES: Mapping[str, Compare] = {name: how for kind in TRAIT_KINDS.values() for name, how in kind.features.items()}


def infer(name: str, known: Sequence[str], *, comma: bool = False) -> tuple[str, str]:
    """Return the kind of a column from its name and known cells, and the word for why.

    Examples
    --------
    >>> infer("flowering", ["4-6", "apr"]), infer("style_mm", ["12", "8.5"]), infer("colour", ["red", "pink", "red"])
    (('months', 'months'), ('measure', 'measure'), ('category', 'category'))
    """
    if not known:
        return "text", "blank"
    reasons = ((kind, trait.why(name, known, comma)) for kind, trait in TRAIT_KINDS.items())
    return next((kind, why) for kind, why in reasons if why)
