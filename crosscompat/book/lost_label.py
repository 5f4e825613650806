"""Which crosses a label may have belonged to, by what is still known of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import SequenceMatcher

from crosscompat.book.addresses import plain
from crosscompat.book.bench import species_of
from crosscompat.book.records import Cross, Plant, Pollen, Pollination
from crosscompat.book.store import Reading
from crosscompat.ground.wording import say

__all__ = ["Clues", "Match", "matches"]

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
