"""Which kind of trait the cells of a column hold, and how each kind is read."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from crosscompat.ground.csv_convert import BadCell, decimal, whole, yes_no
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

__all__ = ["converter", "infer", "is_unknown", "months"]

_UNKNOWN = frozenset({"?", "unknown", "na", "n/a"})
_CHROMOSOMES = frozenset({"2n", "chromosomes", "chromosome_number", "chromosome_count"})
_MONTH_COLUMN = re.compile(r"month|flower|bloom|fruit|ripe|season|sow")
_SHORT_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_NUMBER_OF = (
    {str(n): n for n in range(1, 13)}
    | {f"{n:02}": n for n in range(1, 13)}
    | {word: n for words in (_SHORT_MONTHS, _LONG_MONTHS) for n, word in enumerate(words, 1)}
    | {"sept": 9}
)
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
    found: set[int] = set()
    for part in re.split(r"[;,/]", text.casefold()):
        ends = [_NUMBER_OF.get(end.strip(" .")) for end in re.split(r"[-–]|\bto\b", part)]
        first, last = ends[0], ends[-1]
        if first is None or last is None or len(ends) > 2:  # noqa: PLR2004 - a range has two ends
            raise BadCell(say("traits.months", text=text), say("traits.months_advice"))
        found |= {(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)}
    return frozenset(found)


def _measure(text: str, *, comma: bool) -> float:
    value = decimal(text, comma=comma)
    if value <= 0:
        raise BadCell(say("traits.positive", text=text), say("traits.positive_advice"))
    return value


def _fits(convert: Callable[[str], Any], texts: Sequence[str]) -> bool:
    try:
        for text in texts:
            convert(text)
    except BadCell:
        return False
    return True


def _names_months(name: str, known: Sequence[str]) -> bool:
    """Bare numbers and ranges are months only in a column named so: 3-5 may count spines."""
    if not _fits(months, known):
        return False
    in_words = any(re.search("[a-z]", text, re.IGNORECASE) for text in known)
    over_new_year = any("-" in text and 12 in months(text) and 1 in months(text) for text in known)  # noqa: PLR2004
    return in_words or over_new_year or bool(_MONTH_COLUMN.search(name))


def infer(name: str, known: Sequence[str], *, comma: bool = False) -> tuple[str, str]:
    """Return the kind of a column from its name and known cells, and the word for why.

    Examples
    --------
    >>> infer("flowering", ["4-6", "apr"]), infer("style_mm", ["12", "8.5"]), infer("colour", ["red", "pink", "red"])
    (('months', 'months'), ('measure', 'measure'), ('category', 'category'))
    """
    if not known:
        return "text", "blank"
    if name in _CHROMOSOMES:
        return "count", "count"
    if _fits(yes_no, known) and not _MONTH_COLUMN.search(name):
        return "flag", "flag"
    if _names_months(name, known):
        return "months", "months"
    if _fits(partial(decimal, comma=comma), known):
        positive = _fits(partial(_measure, comma=comma), known)
        return ("measure", "measure") if positive else ("text", "not_positive")
    return _worded(known)


def _worded(known: Sequence[str]) -> tuple[str, str]:
    sentences = sum(len(text.split()) >= _SENTENCE_WORDS for text in known)
    if 2 * sentences > len(known):
        return "text", "sentences"
    if len(known) >= _FEW_SPECIES and len({fold(text).casefold() for text in known}) == len(known):
        return "text", "all_different"
    return "category", "category"


def converter(kind: str, known: Sequence[str], *, comma: bool = False) -> Callable[[str], Any]:
    """Return the function that reads a cell of a kind; one category has one spelling, the first in the column.

    Examples
    --------
    >>> converter("category", ["Red", "red"])("red")
    'Red'
    """
    if kind == "category":
        spelling: dict[str, str] = {}
        for text in known:
            spelling.setdefault(fold(text).casefold(), fold(text))
        return lambda text: spelling[fold(text).casefold()]
    readers: dict[str, Callable[[str], Any]] = {
        "flag": yes_no,
        "count": whole,
        "measure": partial(_measure, comma=comma),
        "months": months,
        "text": str,
    }
    return readers[kind]
