"""Numbers of crosses: the grower's own pattern or ours, checked against misreading; and names of seedlings.

A pattern is plain text with placeholders: ``{year}`` (2026) or ``{yy}`` (26), ``{n}`` or ``{n:03}`` (a running number,
filled with zeros to so many digits), and ``{check}``, a check letter over all digits before it. The running number
starts anew each season where the pattern tells the season, and never where it does not. Ours is ``{yy}-{n:03}{check}``.

The check letter is the check character of ISO/IEC 7064, MOD 11-2 (from memory), written as a letter: the digits are
weighed with powers of two modulo the prime 11, so that every single wrong digit and every swap of two neighbours
changes it. The letters are eleven that are not easily taken for a digit or for each other; which, is our own choice.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from string import Formatter

from crosscompat.ground.wording import say

LETTERS = "ACEHKMPTUXY"
OURS = "{yy}-{n:03}{check}"

_MODULUS, _RADIX = 11, 2
_CHECK = "\0"
"""Stands where the check letter comes; no pattern holds it, for it cannot be printed."""

_WIDTH = re.compile(r"0?[1-9]")
_PLACEHOLDERS = {"year": "[0-9]{4}", "yy": "[0-9]{2}", "n": "(?P<n>[0-9]+)", "check": "(?P<check>[A-Z]?)"}


def check_letter(digits: str) -> str:
    """Return the check letter of some digits: the letter at their check value by ISO/IEC 7064, MOD 11-2.

    Examples
    --------
    ORCID identifiers have the same check; the example of its documentation, 0000-0002-1825-0097, ends in 7.

    >>> LETTERS.index(check_letter("000000021825009")), check_letter("26017"), check_letter("26071")
    (7, 'Y', 'X')
    """
    total = 0
    for digit in digits:
        total = (total + int(digit)) * _RADIX % _MODULUS
    return LETTERS[(1 - total) % _MODULUS]


def has_check_letter(number: str) -> bool:
    """Tell whether a number ends in the check letter of its digits."""
    digits = _digits(number)
    return bool(digits) and number[-1:].upper() == check_letter(digits)


@dataclass(frozen=True, slots=True)
class Pattern:
    """How numbers of crosses are written: a text in which `pattern_fault` finds nothing wrong.

    Examples
    --------
    >>> ours = read_pattern(OURS)
    >>> ours.number(2026, 17), ours.running("26-017Y", 2026), ours.running("26-018A", 2026)
    ('26-017Y', 17, None)
    >>> ours.mended("26-017k"), ours.mended("26-017"), ours.mended("x")
    ('26-017Y', '26-017Y', None)
    """

    text: str

    def number(self, season: int, n: int) -> str:
        """Return the n-th number of a season."""
        written = self.text.format(year=f"{season:04d}", yy=f"{season % 100:02d}", n=n, check=_CHECK)
        before, checked, after = written.partition(_CHECK)
        return before + (check_letter(_digits(before)) if checked else "") + after

    def running(self, number: str, season: int) -> int | None:
        """Return the running number in a number of that season; None if it is none of this pattern."""
        found = re.fullmatch(self._expression, number)
        n = int(found["n"]) if found else 0
        return n if self.number(season, n) == number else None

    def mended(self, number: str) -> str | None:
        """Return a number of this pattern with the check letter that its digits ask for; None if it is none."""
        found = re.fullmatch(self._expression, number, re.IGNORECASE)
        if found is None or "check" not in found.groupdict():
            return None
        start, end = found.span("check")
        return f"{number[:start]}{check_letter(_digits(number[:start]))}{number[end:]}"

    @property
    def _expression(self) -> str:
        pieces = Formatter().parse(self.text)
        return "".join(re.escape(plain) + _PLACEHOLDERS.get(name or "", "") for plain, name, _, _ in pieces)


def read_pattern(text: str) -> Pattern:
    """Return the pattern that a setting says; ours, if it is empty."""
    return Pattern(text or OURS)


def pattern_fault(text: str) -> str | None:
    """Return what is wrong with a pattern, in words; None if nothing is.

    A pattern whose numbers could be the same twice is refused, and one that could be taken for a seedling's.

    Examples
    --------
    >>> pattern_fault("{year}-{n:03}") is None, pattern_fault("{year}")
    (True, 'It needs {n}, the running number, or two crosses would have the same number.')
    """
    try:
        pieces = list(Formatter().parse(text))
    except ValueError:
        return say("numbers.brackets")
    plain = "".join(piece[0] for piece in pieces)
    if "/" in plain or text != text.strip() or not plain.isprintable():
        return say("numbers.plain")
    names = [name for _, name, _, _ in pieces if name is not None]
    wrong = (_placeholder_fault(*piece[1:]) for piece in pieces)
    return next((found for found in wrong if found), None) or (_order_fault(names) if text else None)


def next_number(pattern: Pattern, season: int, written: Iterable[str]) -> str:
    """Return the number after the highest of this pattern that was ever written; numbers are never used again."""
    known = set(written)
    highest = max((pattern.running(number, season) or 0 for number in known), default=0)
    return pattern.number(season, highest + 1)


def seedling_name(number: str, taken: Iterable[str]) -> str:
    """Return the name of the next seedling of a cross that becomes a plant: its number, a stroke, a running number."""
    ends = [name.removeprefix(f"{number}/") for name in taken if name.startswith(f"{number}/")]
    return f"{number}/{max((int(end) for end in ends if end.isdecimal()), default=0) + 1}"


def _digits(text: str) -> str:
    return re.sub(r"\D", "", text)


def _order_fault(names: list[str]) -> str | None:
    if len(set(names)) < len(names):
        return say("numbers.twice")
    if "n" not in names:
        return say("numbers.no_running")
    return say("numbers.check_last") if "check" in names[:-1] else None


def _placeholder_fault(name: str | None, width: str | None, conversion: str | None) -> str | None:
    if name is None:
        return None
    if name not in _PLACEHOLDERS or conversion:
        return say("numbers.placeholder", got=name)
    if width and (name != "n" or not _WIDTH.fullmatch(width)):
        return say("numbers.width", got=width)
    return None
