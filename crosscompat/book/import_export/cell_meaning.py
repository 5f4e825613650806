"""What growers write into a cell: counts with their doubt, days and months, pairs, and words for ours."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Mapping, MutableMapping
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any, Literal, NamedTuple

from crosscompat.ground.csv_cells import BadCell, yes_no
from crosscompat.ground.dates import readings
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import parse
from crosscompat.ground.wording import say

ACCIDENT, FAILED = "accident", "failed"


class Count(NamedTuple):
    """A number as somebody wrote it, None if unknown; whether just this was written; of how many, if that was said."""

    number: int | None
    sure: bool = True
    whole: int | None = None


def plain_words(text: str) -> str:
    """Return words in small letters, without accents, points, brackets, underscores and the style of ♀ and ♂."""
    return " ".join(re.sub(r"[\ufe0e\ufe0f]|[_\-.:!()\[\]]+", " ", _bare("NFKD", text)).split())


def _bare(form: Literal["NFD", "NFKD"], text: str) -> str:
    """Return a text in small letters without accents, "½" parted or not by the form of Unicode."""
    letters = unicodedata.normalize(form, text.casefold().replace("ß", "ss"))
    return "".join(letter for letter in letters if not unicodedata.combining(letter))


@cache
def vocabulary() -> Mapping[str, Any]:
    """Return the tables of vocabulary.toml."""
    return tomllib.loads(files(__package__).joinpath("vocabulary.toml").read_text(encoding="utf-8"))


@cache
def _by_word(table: str) -> Mapping[str, str]:
    return {_key(phrase): ours for ours, phrases in vocabulary()[table].items() for phrase in phrases}


def _key(text: str) -> str:
    """Return a phrase to compare, a lone sign as it is."""
    return plain_words(text) or text.strip()


def our_word(text: str, table: str) -> str | None:
    """Return what a grower's word is in ours, or None."""
    known = _by_word(table)
    return known.get(_key(text)) or known.get(_key(re.sub(r"^\s*[xX×]\s+", "", text)))


def says_nothing(text: str) -> bool:
    """Tell whether a cell only says that nothing is known, as "–" and "?" do."""
    return _by_word("counts").get(_key(text)) == "unknown"


def count_of(text: str) -> Count | None:
    """Return the count that is written in a cell; None where it is none that can be read.

    Of two numbers the lower counts, for so many there were.
    """
    kinds = {"none": Count(0), "unsaid": Count(None, sure=False), "unknown": Count(None)}
    if kind := _by_word("counts").get(_key(text)):
        return kinds[kind]
    written = _numbers().fullmatch(" ".join(_bare("NFD", text).split()))
    if written is None:
        return None
    about, number, doubt, whole = written.group("about", "number", "doubt", "whole")
    return Count(int(number), not (about or doubt), int(whole) if whole else None)


@cache
def _numbers() -> re.Pattern[str]:
    about, unit, of = (_any_of(vocabulary()["signs"][key]) for key in ("about", "unit", "of"))
    return re.compile(
        rf"(?P<about>{about})?\.?\s*(?P<number>\d{{1,9}})"
        rf"(?:\s*{of}\s*(?P<whole>\d{{1,9}})|(?P<doubt>\s*[-–—]\s*\d{{1,9}}|\s?[+?½])?)(?:\s*{unit}\.?)?"
    )


def _any_of(phrases: Iterable[str]) -> str:
    return f"(?:{'|'.join(map(re.escape, sorted(phrases, key=len, reverse=True)))})"


def day_of(text: str, order: str | None = None) -> str | None:
    """Return a day as year-month-day where it is certain, or None.

    ``order``, "day-first" or "month-first", is what the grower says of days that end in the year; without it such a day
    is certain only where it has one reading.
    """
    days = _days(text, order)
    return days[0].isoformat() if len(days) == 1 else None


def two_days(text: str) -> bool:
    """Tell whether a text can be two days."""
    return len(_days(text)) > 1


def _days(text: str, order: str | None = None) -> list[date]:
    """Return every day that a text can mean, its month in any of our languages."""
    known = _by_word("months")
    return readings(re.sub(r"[^\W\d_]+", lambda found: known.get(plain_words(found[0]), found[0]), text), order)


def middle_of(text: str, *, south: bool = False) -> str | None:
    """Return the day in the middle of a month or a season (``south`` of the equator) with its year, or None."""
    month_first = re.sub(r"^(\d{4})[-/.](\d\d?)$", r"\2/\1", text.strip())
    said = re.fullmatch(r"([^\W\d_]+)\.?,?\s*'?(\d{4}|\d\d)|(0?[1-9]|1[0-2])[/.](\d{4})", month_first)
    if said is None:
        return None
    word, year, month, of_month = said.groups()
    if month:
        return day_of(f"{of_month}-{month}-15")
    season = _by_word("seasons").get(plain_words(word))
    found = _days(f"15 {season or word} {year}")
    if len(found) != 1 or (len(year) == 2 and season is None and int(year) <= 31):  # noqa: PLR2004 - a day of it
        return None
    half_a_year = 6 if season and south else 0
    return found[0].replace(month=(found[0].month - 1 + half_a_year) % 12 + 1).isoformat()


def decides(note: str) -> str | None:
    """Return what a note may say of its cross, "accident" or "failed"; None if it seems to say neither."""
    plain, words = f" {plain_words(note)} ", vocabulary()["comments"]
    return next((kind for kind in (ACCIDENT, FAILED) if any(f" {word}" in plain for word in words[kind])), None)


def fathers_of(text: str) -> str | None:
    """Return "one" for two fathers of which one gave the pollen ("A or B"), "several" for both ("A + B"), or None."""
    kinds = vocabulary()["fathers"].items()
    return next((kind for kind, joins in kinds if re.search(rf"\S\s+{_any_of(joins)}\s+\S", text)), None)


_SIGN = re.compile(r"\s+[×xX✕✖]\s+|(?<=[\w.)'’])×(?=[\w('‘])")
_SEED, _POLLEN = "♀", "♂"
_SIGNS = re.compile(r"[♀♂][\ufe0e\ufe0f]?")


def is_pair(text: str) -> bool:
    """Tell whether a text holds a sign of crossing between two names, as "COC-1 x DAS-2" does."""
    return len(_parts(text)) > 1


def parents_of(text: str) -> tuple[str, str]:
    """Return seed parent and pollen parent, as they are written; the seed parent stands first, or has the sign ♀.

    Where it is not certain where one ends and the other begins, `BadCell` is raised.
    """
    parts = _parts(text)
    sides = [_SIGNS.sub("", side).strip() for side in parts]
    straight = _SEED in parts[0] or _POLLEN in parts[-1]
    swapped = _POLLEN in parts[0] or _SEED in parts[-1]
    if len(sides) != 2 or not all(sides) or (straight and swapped):  # noqa: PLR2004 - both parents
        raise BadCell(say("sheets.pair", text=text), say("sheets.pair_advice"))
    return (sides[1], sides[0]) if swapped else (sides[0], sides[1])


def _parts(text: str) -> list[str]:
    """Cut at the signs outside brackets; one of the name of a hybrid, as the rules of names have it, cuts nothing."""
    outside = (
        sign for sign in _SIGN.finditer(text) if text.count("(", 0, sign.start()) == text.count(")", 0, sign.start())
    )
    edges = [0, *(edge for sign in outside for edge in sign.span()), len(text)]
    sides = [text[start:stop].strip() for start, stop in zip(edges[::2], edges[1::2], strict=True)]
    try:
        parents = parse(text).parents
    except UnknownName:
        return sides
    if parents is None:
        return [text]
    return sides if len(sides) == len(parents) else [parent.received for parent in parents]


TOOK_MEANS = {"pod-set": "pods_set", "ripe-pod": "pods_held", "seedling": "took"}
"""Our column by what "took" may mean."""


def put_took(row: MutableMapping[str, str | None], means: str) -> None:
    """Move a row's "took" to the column that it means; yes is 1 of one flower, no is 0.

    If "yes" stands for several flowers, or another column counts the same and says otherwise, `BadCell` is raised.
    """
    units, count = (row.get("units") or "").strip(), (row.pop("took") or "").strip()
    if not count.isdecimal():
        count = _yes_or_no(count, units)
    column = TOOK_MEANS[means]
    if column == "took" and row.get("tried") is None:
        column = "took" if units else "seedlings"
        if units:
            row["tried"] = units
    if row.get(column) not in {None, count}:
        raise BadCell(say("sheets.took_twice", text=count, other=row[column]), say("sheets.took_twice_advice"))
    row[column] = count


def _yes_or_no(text: str, units: str) -> str:
    try:
        yes = yes_no(our_word(text, "yes_no") or text)
    except BadCell:
        raise BadCell(say("sheets.took_word", text=text), say("sheets.took_word_advice")) from None
    if yes and units not in {"", "1"}:
        raise BadCell(say("sheets.took_some", text=text, n=units), say("sheets.took_some_advice"))
    return "1" if yes else "0"
