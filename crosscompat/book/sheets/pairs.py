"""A pair of parents written in one cell, A × B, cut in two."""

from __future__ import annotations

import re

from crosscompat.ground.csv_convert import BadCell
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import parse
from crosscompat.ground.wording import say

__all__ = ["is_pair", "parents_of"]

_SIGN = re.compile(r"\s+[×xX✕✖]\s+|(?<=[\w.)'’])×(?=[\w('‘])")
_SEED, _POLLEN = "♀", "♂"
_SIGNS = re.compile(r"[♀♂][\ufe0e\ufe0f]?")


def is_pair(text: str) -> bool:
    """Tell whether a text holds a sign of crossing between two names.

    Examples
    --------
    >>> is_pair("COC-1 x DAS-2"), is_pair("Echinocereus ×roetteri"), is_pair("24-07")
    (True, False, False)
    """
    return len(_parts(text)) > 1


def parents_of(text: str) -> tuple[str, str]:
    """Return seed parent and pollen parent, as they are written; the seed parent stands first, or has the sign ♀.

    Raises
    ------
    BadCell
        If it is not certain where one ends and the other begins.

    Examples
    --------
    >>> parents_of("Echinocereus coccineus x E. dasyacanthus")
    ('Echinocereus coccineus', 'E. dasyacanthus')
    >>> parents_of("♂ coc-1 × ♀ das-1"), parents_of("(A × B) × C")
    (('das-1', 'coc-1'), ('(A × B)', 'C'))
    >>> is_pair("Echinocereus × lloydii"), parents_of("Echinocereus × lloydii × E. coccineus")
    (False, ('Echinocereus × lloydii', 'E. coccineus'))
    """
    sides = _parts(text)
    if len(sides) != 2 or not all(map(_bare, sides)):  # noqa: PLR2004 - both parents
        raise BadCell(say("sheets.pair", text=text), say("sheets.pair_advice"))
    first, second = sides
    swapped = (_POLLEN in first or _SEED in second) and not (_SEED in first or _POLLEN in second)
    if not swapped and (_POLLEN in first or _SEED in second):
        raise BadCell(say("sheets.pair", text=text), say("sheets.pair_advice"))
    return (_bare(second), _bare(first)) if swapped else (_bare(first), _bare(second))


def _bare(side: str) -> str:
    return _SIGNS.sub("", side).strip()


def _sides(text: str) -> list[str]:
    """Cut at the signs that stand outside brackets."""
    cuts = [
        found
        for found in _SIGN.finditer(text)
        if text.count("(", 0, found.start()) == text.count(")", 0, found.start())
    ]
    starts, stops = [0, *(cut.end() for cut in cuts)], [*(cut.start() for cut in cuts), len(text)]
    return [text[start:stop].strip() for start, stop in zip(starts, stops, strict=True)]


def _parts(text: str) -> list[str]:
    """Return the sides; a sign that belongs to the name of a hybrid, as the rules of names have it, cuts nothing."""
    sides = _sides(text)
    try:
        parents = parse(text).parents
    except UnknownName:
        return sides
    if parents is None:
        return [text]
    return sides if len(sides) == len(parents) else [parent.received for parent in parents]
