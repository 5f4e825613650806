"""Plant names as they are printed: which words lean, and how much room a line of text takes."""

from __future__ import annotations

import re
from typing import Final

__all__ = ["leaning", "shortened", "text_width", "wrapped"]

_MULTIPLIERS: Final = frozenset({"\N{MULTIPLICATION SIGN}", "+", "x"})
_UPRIGHT: Final = _MULTIPLIERS | {
    *("subsp.", "ssp.", "var.", "subvar.", "f.", "nothosubsp.", "nothovar.", "cf.", "aff.", "sp.", "spp."),
    *("ex", "in", "et", "&"),
}
# A cultivar between quotation marks of either kind, a sign, a word, or blanks.
_PIECE: Final = re.compile(r"'[^']*'|\u2018[^\u2019]*\u2019|[\u00d7+]|[^\s\u00d7+]+|\s+")
# Widths in em by kind of letter, read off the Arial-like faces and rounded up.
_KINDS: Final = {"ijlI.,:;'|!()[]\u2018\u2019\u00b7 ": 0.29, 'frt-/"\u2013\u00b0': 0.36, "mwMW@%\u2014\u2026": 0.9}
_EM: Final = {letter: width for letters, width in _KINDS.items() for letter in letters}
_CAPITAL: Final = 0.74
_OTHER: Final = 0.57
_BOLD: Final = 1.08


def leaning(name: str) -> tuple[tuple[str, bool], ...]:
    """Cut a plant name into runs of text, each with whether it is printed in italics.

    Genus and epithets lean; ×, ranks, qualifiers, cultivars, authors and field numbers stand upright.

    Examples
    --------
    >>> leaning("Echinocereus × roetteri subsp. neomexicanus 'Bright Star'")  # doctest: +NORMALIZE_WHITESPACE
    (('Echinocereus ', True), ('× ', False), ('roetteri ', True), ('subsp. ', False), ('neomexicanus ', True),
     ("'Bright Star'", False))
    """
    runs: list[tuple[str, bool]] = []
    genus_due = True
    for piece in _PIECE.findall(name):
        leans = runs[-1][1] if runs else False
        if not piece.isspace():
            word = piece.strip("()")
            leans = word.replace("-", "").isalpha() and word not in _UPRIGHT and (word.islower() or genus_due)
            genus_due = piece in _MULTIPLIERS
        if runs and runs[-1][1] == leans:
            runs[-1] = (runs[-1][0] + piece, leans)
        else:
            runs.append((piece, leans))
    return tuple(runs)


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width that a line of text takes at most, in the unit of its size; a guess on the wide side.

    Examples
    --------
    >>> text_width("ill", 10) < text_width("now", 10) < text_width("now", 10, bold=True)
    True
    """
    ems = sum(_EM.get(letter) or (_CAPITAL if letter.isupper() else _OTHER) for letter in text)
    return ems * size * (_BOLD if bold else 1.0)


def wrapped(text: str, size: float, width: float, *, bold: bool = False) -> tuple[str, ...]:
    """Break a text between words into lines of at most that width; a longer word keeps a line of its own.

    Examples
    --------
    >>> wrapped("one two three", 10, 50)
    ('one two', 'three')
    """
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return tuple(lines)


def shortened(text: str, letters: int) -> str:
    """Cut a text at the last whole word that leaves room for "…".

    Examples
    --------
    >>> shortened("two words", 20), shortened("far outside what was seen", 16)
    ('two words', 'far outside…')
    """
    if len(text) <= letters:
        return text
    head = text[:letters]
    return (head.rsplit(" ", 1)[0] if " " in head else head[:-1]) + "…"
