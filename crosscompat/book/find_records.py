"""How records are named by hand: by number, name or first letters, or by what is left of a label."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import SequenceMatcher, get_close_matches

from crosscompat.book.current_plants import species_of
from crosscompat.book.numbers import Pattern, find_number
from crosscompat.book.records import Cross, Plant, Pollen, Pollination, Record
from crosscompat.book.store import Reading
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say

__all__ = [
    "SHORTEST",
    "Clues",
    "Match",
    "find_cross",
    "find_plant",
    "find_record",
    "matches",
    "plain",
    "short_ids",
    "shortened",
]

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


_DAYS = 14
_LIKE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Clues:
    """What is still known: the plant, the day or the days between, words of the marker, the pollen."""

    plant: str | None = None
    day: date | None = None
    between: tuple[date, date] | None = None
    marker: str | None = None
    pollen: str | None = None

    @property
    def empty(self) -> bool:
        """Tell whether nothing is known."""
        return not any((self.plant, self.day, self.between, self.marker, self.pollen))


@dataclass(frozen=True, slots=True)
class Match:
    """A cross that it may have been.

    Attributes
    ----------
    cross : Cross
    fit : float
        From 0 to 1: the mean of how well each clue fits.
    why : tuple of str
        What fits, and what does not.
    """

    cross: Cross
    fit: float
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Known:
    """What the book says of a cross that a label might have said."""

    seed: tuple[str, ...]
    pollen: tuple[str, ...]
    days: tuple[date, ...]
    markers: tuple[str, ...]


def matches(page: Reading, clues: Clues) -> list[Match]:
    """Return the crosses that some clue fits, the likeliest first and of equals the latest.

    A plant fits by its name or clone, less well by its species; a day by the visits of a fortnight around it, the
    nearer the better; a marker by the words on visits. The scale is a judgement, common practice without a source.
    """
    known = _known(page)
    found = []
    for cross in page.current(Cross):
        fits = list(_fits(known[cross.id], clues))
        share = sum(fit for fit, _ in fits) / len(fits)
        if share > 0:
            found.append(Match(cross, share, tuple(why for _, why in fits)))
    latest = {one: max(what.days, default=date.min).toordinal() for one, what in known.items()}
    return sorted(found, key=lambda match: (-match.fit, -latest[match.cross.id]))


def _fits(known: _Known, clues: Clues) -> Iterator[tuple[float, str]]:
    if clues.plant:
        yield _name_fit("plant", clues.plant, known.seed)
    if clues.pollen:
        yield _name_fit("pollen", clues.pollen, known.pollen)
    if clues.day is not None:
        yield _day_fit(clues.day, known.days)
    if clues.between is not None:
        first, last = clues.between
        inside = [day for day in known.days if first <= day <= last]
        key = "between" if inside else "not_between"
        yield float(bool(inside)), say(f"lost_label.{key}", day=inside[0].isoformat() if inside else "")
    if clues.marker:
        yield _marker_fit(clues.marker, known.markers)


def _name_fit(what: str, text: str, names: Sequence[str]) -> tuple[float, str]:
    """Judge a plant by its own name first, then by what else it is called."""
    for place, name in enumerate(names):
        if plain(text) == plain(name):
            return (1.0 if place == 0 else 0.7), say(f"lost_label.{what}", name=name)
    for name in names:
        if plain(text) and plain(text) in plain(name):
            return 0.5, say(f"lost_label.{what}", name=name)
    return 0.0, say(f"lost_label.other_{what}", name=names[0] if names else "?")


def _day_fit(day: date, days: Sequence[date]) -> tuple[float, str]:
    nearest = min(days, key=lambda one: abs((one - day).days), default=None)
    if nearest is None:
        return 0.0, say("lost_label.no_day")
    apart = abs((nearest - day).days)
    if apart == 0:
        return 1.0, say("lost_label.day", day=nearest.isoformat())
    return max(0.0, 1 - apart / (_DAYS + 1)), say("lost_label.days_apart", day=nearest.isoformat(), n=apart)


def _marker_fit(text: str, markers: Sequence[str]) -> tuple[float, str]:
    best = max(markers, key=lambda one: _alike(text, one), default=None)
    if best is None:
        return 0.0, say("lost_label.no_marker")
    alike = _alike(text, best)
    return (
        (alike, say("lost_label.marker", marker=best))
        if alike >= _LIKE
        else (
            0.0,
            say("lost_label.other_marker", marker=best),
        )
    )


def _alike(text: str, marker: str) -> float:
    """Return how much of the words asked for stands in a marker, slips of the pen allowed."""
    words, there = text.casefold().split(), marker.casefold().replace(",", " ").split()
    best: Callable[[str], float] = lambda word: max(  # noqa: E731 - said once
        (SequenceMatcher(None, word, other).ratio() for other in there), default=0.0
    )
    return sum(best(word) for word in words) / len(words) if words else 0.0


def _known(page: Reading) -> Mapping[str, _Known]:
    species = species_of(page)
    plants = {one.id: one for one in page.current(Plant)}
    visits: dict[str, list[Pollination]] = defaultdict(list)
    for visit in page.current(Pollination):
        visits[visit.cross].append(visit)
    pollen: dict[str, list[str]] = defaultdict(list)
    cross_of = {visit.id: cross for cross, some in visits.items() for visit in some}
    for one in page.current(Pollen):
        pollen[cross_of[one.pollination]] += _names(plants.get(one.plant or ""), species, one.name)
    return {
        cross.id: _Known(
            tuple(_names(plants.get(cross.seed_plant or ""), species, cross.seed_parent)),
            tuple(pollen[cross.id]),
            tuple(visit.date for visit in visits[cross.id]),
            tuple(text for visit in visits[cross.id] for text in (visit.marker, visit.note) if text),
        )
        for cross in page.current(Cross)
    }


def _names(plant: Plant | None, species: Mapping[str, str], name: str | None) -> list[str]:
    own = [] if plant is None else [plant.name, plant.clone, species.get(plant.id)]
    return [one for one in (*own, name) if one]
