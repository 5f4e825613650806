"""How crosses are numbered and seedlings named, and how records are found by that, however it is typed.

A number's pattern is plain text with placeholders: ``{year}`` (2026) or ``{yy}`` (26), ``{n}`` or ``{n:03}`` (a running
number, filled with zeros to so many digits), and ``{check}``, a check letter over all digits before it. The running
number starts anew each season where the pattern tells the season, and never where it does not. Ours is
``{yy}-{n:03}{check}``.

The check letter is the check character of ISO/IEC 7064, MOD 11-2 (from memory), written as a letter: the digits are
weighed with powers of two modulo the prime 11, so that every single wrong digit and every swap of two neighbours
changes it. The letters are eleven that are not easily taken for a digit or for each other; which, is our own choice.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from string import Formatter
from typing import TYPE_CHECKING

from crosscompat.book.records import Cross, Plant, Record
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import fold, written_alike
from crosscompat.ground.wording import say

if TYPE_CHECKING:  # the settings ask for a pattern without the database
    from crosscompat.book.store import Reading

LETTERS = "ACEHKMPTUXY"
OURS = "{yy}-{n:03}{check}"

_MODULUS, _RADIX = 11, 2
_CHECK = "\0"  # stands where the check letter comes; no pattern holds it, for it cannot be printed
_WIDTH = re.compile(r"0?[1-9]")
_PLACEHOLDERS = {"year": "[0-9]{4}", "yy": "[0-9]{2}", "n": "(?P<n>[0-9]+)", "check": "(?P<check>[A-Z]?)"}


def check_letter(digits: str) -> str:
    """Return the check letter of some digits: the letter at their check value by ISO/IEC 7064, MOD 11-2."""
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
    return next(_pattern_faults(text), None)


def _pattern_faults(text: str) -> Iterator[str]:
    try:
        pieces = list(Formatter().parse(text))
    except ValueError:
        yield say("numbers.brackets")
        return
    plain = "".join(piece[0] for piece in pieces)
    if "/" in plain or text != text.strip() or not plain.isprintable():
        yield say("numbers.plain")
    placeholders = [piece[1:] for piece in pieces if piece[1] is not None]
    for name, width, conversion in placeholders:
        if name not in _PLACEHOLDERS or conversion:
            yield say("numbers.placeholder", got=name)
        elif width and (name != "n" or not _WIDTH.fullmatch(width)):
            yield say("numbers.width", got=width)
    names = [name for name, _, _ in placeholders]
    if len(set(names)) < len(names):
        yield say("numbers.twice")
    if text and "n" not in names:
        yield say("numbers.no_running")
    if "check" in names[:-1]:
        yield say("numbers.check_last")


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


SHORTEST = 4
_ID = re.compile(r"[0-9a-f]{4}[0-9a-f-]*")
_LEFT_OUT = re.compile(r"[\s\-_\u2010-\u2015\u2212]+")
_LIKE = 0.5


def plain(text: str) -> str:
    """Return a number or name without what is easily written otherwise: case, blanks and dashes."""
    return _LEFT_OUT.sub("", fold(text).casefold())


def find_number(text: str, known: Iterable[str], pattern: Pattern | None = None) -> str:
    """Return the number of a cross as it was written; case, dashes, leading zeros and the check letter may differ.

    A check letter may be left out, but one that is typed must fit.

    Raises
    ------
    UnknownName
        If there is none; it says so where the check letter does not fit, and names the near ones.

    Examples
    --------
    >>> [find_number(text, ["26-017Y", "26-018U"], read_pattern(OURS)) for text in ("26-017y", "26-17", "26 17 y")]
    ['26-017Y', '26-017Y', '26-017Y']
    """
    numbers, given = list(known), text.strip()
    alike = _alike(given, numbers) or _letterless(given, numbers)
    if len(alike) == 1:
        return alike[0]
    mended = pattern.mended(given) if pattern else None
    wrong = mended is not None and given[-1].isalpha() and mended.casefold() != given.casefold()
    raise unknown_record("wrong_letter" if wrong else "cross", given, numbers)


def find_cross(page: Reading, text: str, pattern: Pattern | None = None) -> Cross:
    """Return the cross that is meant: by its number, however it is typed, or an identifier's beginning.

    `UnknownName` has the nearest, if it is none or could be several; a pattern tells a check letter that is wrong.
    """
    numbers = _named(page, Cross)
    begun = [cross for one in _begun(page, text) for cross in page.current(Cross, id=one)]
    if len(begun) == 1 and len(_alike(text, numbers)) != 1:
        return begun[0]
    return page.current(Cross, id=numbers[find_number(text, numbers, pattern)])[0]


def find_plant(page: Reading, text: str) -> Plant:
    """Return the plant of a name, whatever its case, blanks and dashes; raises `UnknownName` as `find_cross`."""
    names = _named(page, Plant)
    alike = _alike(text, names)
    if len(alike) != 1:
        raise unknown_record("plant", text, names)
    return page.current(Plant, id=names[alike[0]])[0]


def find_cross_or_plant(page: Reading, text: str) -> Cross | Plant:
    """Return the cross of a number, or else the plant of a name; raises `UnknownName` if it is neither."""
    try:
        return find_cross(page, text)
    except UnknownName as no_cross:
        try:
            return find_plant(page, text)
        except UnknownName as no_plant:
            nearest = (*no_cross.nearest, *no_plant.nearest)
            raise UnknownName(f"{no_cross} {no_plant}", text, nearest) from None


def find_record(page: Reading, text: str) -> Record:
    """Return the standing record that is meant: by the beginning of its identifier, a cross's number or a plant's name.

    Raises
    ------
    UnknownName
        If there is none.
    WrongUse
        If several begin so, or it stands no more.
    """
    numbers, names = known = _named(page, Cross), _named(page, Plant)
    found = (
        [named[text] for named in known if text in named]
        or _begun(page, text)
        or [named[alike[0]] for named in known if len(alike := _alike(text, named)) == 1]
        or [numbers[number] for number in _letterless(text, numbers)]
    )
    if not found:
        raise unknown_record("record", text, numbers | names)
    if len(found) > 1:
        raise WrongUse(say("addresses.several", text=text, ids=", ".join(sorted(found)[:5])))
    kind = page.kind_of(found[0])
    record = page.find(kind, id=found[0]) if kind else None
    if record is None:
        raise WrongUse(say("addresses.gone", id=found[0]))
    return record


def nearest_names(text: str, known: Collection[str]) -> list[str]:
    """Return the three names most like a text, its case, blanks and dashes left out."""
    forms = [plain(name) for name in known]
    near = get_close_matches(plain(text), dict.fromkeys(forms), n=3, cutoff=_LIKE)
    return [name for one in near for name, form in zip(known, forms, strict=True) if form == one][:3]


def unknown_record(what: str, text: str, known: Collection[str]) -> UnknownName:
    """Return the error that there is no such ``cross``, ``plant``, ``record`` or ``lot``; it names the nearest.

    ``wrong_letter`` is a cross whose check letter does not fit.
    """
    nearest = nearest_names(text, known)
    hint = f" {say('labels.nearest', numbers=', '.join(nearest))}" if nearest else ""
    return UnknownName(say(f"addresses.unknown.{what}", text=text) + hint, text, nearest)


def short_ids(page: Reading, ids: Collection[str]) -> dict[str, str]:
    """Return the shortest beginning of each identifier, of four letters at least, that no other record's has."""
    ordered = sorted({*page.ids(), *ids})
    found = {}
    for one in ids:
        at = bisect_left(ordered, one)
        near = (*ordered[max(at - 1, 0) : at], *ordered[at + 1 : at + 2])
        starts = (one[:n] for n in range(SHORTEST, len(one)))
        found[one] = next((start for start in starts if not any(other.startswith(start) for other in near)), one)
    return found


def _named(page: Reading, kind: type[Cross | Plant]) -> dict[str, str]:
    """Return the identifier of each cross by its number, or of each plant by its name."""
    columns = page.columns(kind, "id", "number" if kind is Cross else "name")
    return {name: one for one, name in columns if name is not None}


def _alike(text: str, known: Collection[str]) -> list[str]:
    """Return the name as it is written, else those that are written so but for case, dashes or zeros."""
    return [text] if text in known else written_alike(text, known)


def _letterless(text: str, numbers: Iterable[str]) -> list[str]:
    """Return the numbers that a text is written like but for their check letter, which it leaves out."""
    if not text.strip()[-1:].isdigit():
        return []
    return [number for number in numbers if has_check_letter(number) and written_alike(text, [number[:-1]])]


def _begun(page: Reading, text: str) -> list[str]:
    start = text.strip().casefold()
    return [one for one in page.ids() if one.startswith(start)] if _ID.fullmatch(start) else []
