"""How records are named by hand: by number, name or first letters, or by what is left of a label."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass
from datetime import date
from difflib import SequenceMatcher, get_close_matches

from crosscompat.book.cross_summary import CrossRecords, all_cross_records
from crosscompat.book.current_plants import species_of
from crosscompat.book.numbers import Pattern, has_check_letter
from crosscompat.book.records import Cross, Plant, Record
from crosscompat.book.store import Reading
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import fold, written_alike
from crosscompat.ground.wording import say

SHORTEST = 4
_ID = re.compile(r"[0-9a-f]{4}[0-9a-f-]*")
_LEFT_OUT = re.compile(r"[\s\-_\u2010-\u2015\u2212]+")
_DAYS = 14
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
    >>> from crosscompat.book.numbers import OURS, read_pattern
    >>> [find_number(text, ["26-017Y", "26-018U"], read_pattern(OURS)) for text in ("26-017y", "26-17", "26 17 y")]
    ['26-017Y', '26-017Y', '26-017Y']
    """
    numbers, given = list(known), text.strip()
    alike = _alike_names(given, numbers) or _alike_but_for_the_letter(given, numbers)
    if len(alike) == 1:
        return alike[0]
    mended = pattern.mended(given) if pattern else None
    wrong = mended is not None and given[-1].isalpha() and mended.casefold() != given.casefold()
    raise unknown_record("wrong_letter" if wrong else "cross", given, numbers)


def find_cross(page: Reading, text: str, pattern: Pattern | None = None) -> Cross:
    """Return the cross that is meant: by its number, however it is typed, or an identifier's beginning.

    Raises
    ------
    UnknownName
        If it is none, with the nearest, or could be more than one; a pattern tells a check letter that is wrong.
    """
    numbers = _named(page, Cross)
    begun = [cross for one in _begun(page, text) for cross in page.current(Cross, id=one)]
    if len(begun) == 1 and _meant(numbers, text) is None:
        return begun[0]
    return page.current(Cross, id=numbers[find_number(text, numbers, pattern)])[0]


def find_plant(page: Reading, text: str) -> Plant:
    """Return the plant of a name, whatever its case, blanks and dashes; raises `UnknownName` as `find_cross`."""
    names = _named(page, Plant)
    found = _meant(names, text)
    if found is None:
        raise unknown_record("plant", text, names)
    return page.current(Plant, id=found)[0]


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
        or [one for named in known if (one := _meant(named, text)) is not None]
        or [numbers[number] for number in _alike_but_for_the_letter(text, numbers)]
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
    return shortened(ids, page.ids())


def shortened(ids: Collection[str], others: Collection[str]) -> dict[str, str]:
    """Return the shortest beginning of each identifier that sets it apart from others.

    Examples
    --------
    >>> shortened(["abcd12", "efgh"], ["abcd12", "abcd34", "efgh"])
    {'abcd12': 'abcd1', 'efgh': 'efgh'}
    """
    ordered = sorted({*others, *ids})
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


def _meant(known: Mapping[str, str], text: str) -> str | None:
    """Return what a name stands for: as written, else what alone is written so but for case, dashes or zeros."""
    alike = _alike_names(text, known)
    return known[alike[0]] if len(alike) == 1 else None


def _alike_names(text: str, known: Collection[str]) -> list[str]:
    return [text] if text in known else written_alike(text, known)


def _alike_but_for_the_letter(text: str, numbers: Iterable[str]) -> list[str]:
    """Return the numbers that a text is written like but for their check letter, which it leaves out."""
    if not text.strip()[-1:].isdigit():
        return []
    return [number for number in numbers if has_check_letter(number) and written_alike(text, [number[:-1]])]


def _begun(page: Reading, text: str) -> list[str]:
    start = text.strip().casefold()
    return [one for one in page.ids() if one.startswith(start)] if _ID.fullmatch(start) else []


@dataclass(frozen=True, slots=True, kw_only=True)
class Clues:
    """What is still known of a label: the plant, the day or the days between, words of the marker, the pollen."""

    plant: str | None = None
    day: date | None = None
    between: tuple[date, date] | None = None
    marker: str | None = None
    pollen: str | None = None

    @property
    def empty(self) -> bool:
        """Tell whether nothing is known."""
        return not any(astuple(self))


@dataclass(frozen=True, slots=True)
class Match:
    """A cross that it may have been: how well the clues fit on the mean, from 0 to 1, and what fits and does not."""

    cross: Cross
    fit: float
    why: tuple[str, ...]


def matches(page: Reading, clues: Clues) -> list[Match]:
    """Return the crosses that some clue fits, the likeliest first and of equals the latest.

    A plant fits by its name or clone, less well by its species; a day by the visits of a fortnight around it, the
    nearer the better; a marker by the words on visits. The scale is a judgement, common practice without a source.
    """
    species = species_of(page)
    plants = {one.id: one for one in page.current(Plant)}

    def called(plant: str | None, name: str | None) -> list[str]:
        known = plants.get(plant or "")
        own = [known.name, known.clone, species.get(known.id)] if known else []
        return [one for one in (*own, name) if one]

    found = []
    for every in all_cross_records(page).values():
        seed = called(every.cross.seed_plant, every.cross.seed_parent)
        pollen = [name for one in every.pollen for name in called(one.plant, one.name)]
        fits = list(_fits(every, seed, pollen, clues))
        share = sum(fit for fit, _ in fits) / len(fits)
        last = max((visit.date for visit in every.visits), default=date.min)
        if share > 0:
            found.append((share, last, Match(every.cross, share, tuple(why for _, why in fits))))
    return [match for _, _, match in sorted(found, key=lambda one: one[:2], reverse=True)]


def _fits(every: CrossRecords, seed: Sequence[str], pollen: Sequence[str], clues: Clues) -> Iterator[tuple[float, str]]:
    days = [visit.date for visit in every.visits]
    if clues.plant:
        yield _name_fit("plant", clues.plant, seed)
    if clues.pollen:
        yield _name_fit("pollen", clues.pollen, pollen)
    if clues.day is not None:
        yield _day_fit(clues.day, days)
    if clues.between is not None:
        inside = [spoken_date(day) for day in days if clues.between[0] <= day <= clues.between[1]]
        key = "between" if inside else "not_between"
        yield float(bool(inside)), say(f"lost_label.{key}", day=inside[0] if inside else "")
    if clues.marker:
        yield _marker_fit(clues.marker, [text for visit in every.visits for text in (visit.marker, visit.note) if text])


def _name_fit(what: str, text: str, names: Sequence[str]) -> tuple[float, str]:
    """Judge a plant by its own name first, then by what else it is called, then by a part of it."""
    wanted = plain(text)
    fits = [
        (0.7 if place else 1.0) if wanted == plain(name) else 0.5 * (bool(wanted) and wanted in plain(name))
        for place, name in enumerate(names)
    ]
    best = max(fits, default=0.0)
    name = names[fits.index(best)] if names else "?"
    return best, say(f"lost_label.{what}", name=name) if best else say(f"lost_label.other_{what}", name=name)


def _day_fit(day: date, days: Sequence[date]) -> tuple[float, str]:
    if not days:
        return 0.0, say("lost_label.no_day")
    nearest = min(days, key=lambda one: abs((one - day).days))
    apart = abs((nearest - day).days)
    key = "days_apart" if apart else "day"
    return max(0.0, 1 - apart / (_DAYS + 1)), say(f"lost_label.{key}", day=spoken_date(nearest), n=apart)


def _marker_fit(text: str, markers: Sequence[str]) -> tuple[float, str]:
    """Judge by how much of the words asked for stands in a marker, slips of the pen allowed."""
    if not markers:
        return 0.0, say("lost_label.no_marker")
    alike = []
    for marker in markers:
        words, there = text.casefold().split(), marker.casefold().replace(",", " ").split()
        best = [max((SequenceMatcher(None, word, other).ratio() for other in there), default=0.0) for word in words]
        alike.append(sum(best) / max(1, len(best)))
    most = max(alike)
    key = "marker" if most >= _LIKE else "other_marker"
    return most * (most >= _LIKE), say(f"lost_label.{key}", marker=markers[alike.index(most)])
