"""How the records of a book are named by hand: crosses by number, anything by the first letters of its identifier."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from difflib import get_close_matches

from crosscompat.book.numbers import Pattern, find_number
from crosscompat.book.records import Cross, Plant, Record
from crosscompat.book.store import Reading
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

__all__ = ["SHORTEST", "find_cross", "find_plant", "find_record", "plain", "short_ids", "shortened"]

SHORTEST = 4
_ID = re.compile(r"[0-9a-f]{4}[0-9a-f-]*")
_LEFT_OUT = re.compile(r"[\s\-_\u2010-\u2015\u2212]+")


def plain(text: str) -> str:
    """Return a number or name without what is easily written otherwise: case, blanks and dashes.

    Examples
    --------
    >>> plain("26–01 B") == plain("26-01b")
    True
    """
    return _LEFT_OUT.sub("", fold(text).casefold())


def find_cross(page: Reading, text: str, pattern: Pattern | None = None) -> Cross:
    """Return the cross that a grower means by a number.

    Parameters
    ----------
    page : Reading
    text : str
        The number as written; else one that differs in case, blanks or dashes only; else an identifier's beginning.
    pattern : Pattern, optional
        How new crosses are numbered, so that a check letter that does not fit is told.

    Raises
    ------
    UnknownName
        If it is none, with the nearest, or could be more than one.
    """
    numbers = {number: one for one, number in page.columns(Cross, "id", "number") if number is not None}
    found = _meant(numbers, text)
    if found is None:
        begun = [one for one in _begun(page, text) if page.kind_of(one) is Cross]
        found = begun[0] if len(begun) == 1 else None
    cross = page.find(Cross, id=found) if found else None
    if cross is None and pattern is not None:
        find_number(text, numbers, pattern)
    if cross is None:
        raise _unknown("cross", text, list(numbers))
    return cross


def find_plant(page: Reading, text: str) -> Plant:
    """Return the plant of a name, whatever its case, blanks and dashes.

    Raises
    ------
    UnknownName
        As `find_cross`.
    """
    names = {name: one for one, name in page.columns(Plant, "id", "name")}
    found = _meant(names, text)
    plant = page.find(Plant, id=found) if found else None
    if plant is None:
        raise _unknown("plant", text, list(names))
    return plant


def find_record(page: Reading, text: str) -> Record:
    """Return the standing record that is meant: by the beginning of its identifier, a cross's number or a plant's name.

    Raises
    ------
    UnknownName
        If there is none.
    WrongUse
        If several begin so, or it stands no more.
    """
    begun = _begun(page, text)
    numbers = {number: one for one, number in page.columns(Cross, "id", "number") if number is not None}
    names = {name: one for one, name in page.columns(Plant, "id", "name")}
    exact = [one for known in (numbers, names) if (one := known.get(text)) is not None]
    found = exact or begun
    if not found:
        meant = [one for known in (numbers, names) if (one := _meant(known, text)) is not None]
        found = meant
    if not found:
        raise _unknown("record", text, [*numbers, *names])
    if len(found) > 1:
        raise WrongUse(say("addresses.several", text=text, ids=", ".join(sorted(found)[:5])))
    return _standing(page, found[0])


def short_ids(page: Reading, ids: Collection[str]) -> dict[str, str]:
    """Return the shortest beginning of each identifier, of four letters at least, that no other record's has."""
    return shortened(ids, page.alike(ids, SHORTEST))


def shortened(ids: Collection[str], alike: Collection[str]) -> dict[str, str]:
    """Return the shortest beginning of each identifier that sets it apart from others.

    Examples
    --------
    >>> shortened(["abcd12", "efgh"], ["abcd12", "abcd34", "efgh"])
    {'abcd12': 'abcd1', 'efgh': 'efgh'}
    """
    found = {}
    ordered = sorted({*alike, *ids})
    place = {one: i for i, one in enumerate(ordered)}
    for one in ids:
        near = [ordered[i] for i in (place[one] - 1, place[one] + 1) if 0 <= i < len(ordered)]
        found[one] = one[: max([SHORTEST, *(_common(one, other) + 1 for other in near)])]
    return found


def _common(one: str, other: str) -> int:
    return next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))


def _meant(known: Mapping[str, str], text: str) -> str | None:
    """Return what a name stands for: as written, else what alone is written so but for case, blanks and dashes."""
    if text in known:
        return known[text]
    alike = [one for name, one in known.items() if plain(name) == plain(text)]
    return alike[0] if len(alike) == 1 and plain(text) else None


def _begun(page: Reading, text: str) -> list[str]:
    start = text.strip().casefold()
    return page.beginning(start) if _ID.fullmatch(start) else []


def _standing(page: Reading, one: str) -> Record:
    kind = page.kind_of(one)
    record = page.find(kind, id=one) if kind else None
    if record is None:
        raise WrongUse(say("addresses.gone", id=one))
    return record


def _unknown(what: str, text: str, known: Collection[str]) -> UnknownName:
    by_plain = {plain(name): name for name in known}
    nearest = [by_plain[one] for one in get_close_matches(plain(text), list(by_plain), n=3, cutoff=0.3)]
    hint = f" {say('labels.nearest', numbers=', '.join(nearest))}" if nearest else ""
    return UnknownName(say(f"addresses.unknown.{what}", text=text) + hint, text, nearest)
