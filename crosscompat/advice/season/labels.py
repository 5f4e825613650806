"""What stands on the labels of crosses, and which crosses a lost label may have belonged to."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass
from datetime import date
from difflib import SequenceMatcher
from typing import TYPE_CHECKING, Literal

from crosscompat.advice.season.cross_story import parents_in_words
from crosscompat.book import records
from crosscompat.book.cross_summary import CrossRecords, all_cross_records, units_told
from crosscompat.book.crosses import Cross, find_label
from crosscompat.book.current_plants import species_of
from crosscompat.book.numbers_and_names import Pattern, find_cross, find_number, plain, read_pattern
from crosscompat.book.records import CROSS_KINDS, NO_POLLEN_PARENT, Plant
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of, spoken_date
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import NameIndex, correct_form, genus_of
from crosscompat.ground.wording import say
from crosscompat.show.label import Kind, LabelCard

if TYPE_CHECKING:
    from crosscompat.advice.season.plan import Plan

_DAYS = 14
_LIKE = 0.5


@dataclass(frozen=True, slots=True)
class Labels:
    """The labels of some crosses, in the order asked."""

    cards: list[LabelCard]
    invented: bool
    schema: Literal["crosscompat.label/2"] = "crosscompat.label/2"


def labels_for(
    collection: Collection,
    numbers: Sequence[str] = (),
    *,
    since: date | None = None,
    season: int | None = None,
    twins: bool = False,
) -> Labels:
    """Return the labels of crosses: those of some numbers or identifiers, and all made since a day or in a season.

    With ``twins`` each label stands twice, one below the other: for the plant and for the packet of seed.

    Raises
    ------
    UnknownName
        If a number stands for no cross; it names the nearest.
    """
    start, pattern = collection.settings.season_start, read_pattern(collection.settings.cross_number)
    by_id = {cross.id: cross for cross in collection.crosses}
    by_number = {cross.cross: cross for cross in collection.crosses if cross.cross}
    found = [by_id.get(number) or by_number[find_number(number, by_number, pattern)] for number in numbers]
    found += [
        cross
        for cross in collection.crosses
        if cross.friend is None
        if (since is not None and cross.date >= since)
        or (season is not None and season_of(cross.date, start) == season)
    ]
    cards = [card for cross in found for card in [_card(collection, cross)] * (2 if twins else 1)]
    return Labels(cards, collection.settings.invented)


def _card(collection: Collection, cross: Cross) -> LabelCard:
    count = cross.units or cross.tried
    return LabelCard(
        number=cross.number,
        seed_parent=_printed(collection.index, cross.seed_parent, None),
        pollen_parent=_printed(collection.index, cross.pollen_parent or "", genus_of(cross.seed_parent)),
        seed_plant=cross.seed_plant or "",
        pollen_plant=cross.pollen_plant or "",
        kind=_kind(collection, cross),
        date=cross.when,
        units=units_told(cross.unit_kind, count).words if count else "",
        grower=cross.grower or "",
        note=cross.note or "",
        caution=_caution(collection),
        purpose="" if cross.kind == CROSS_KINDS[0] else say(f"labels.purpose.{cross.kind}"),
    )


def _caution(collection: Collection) -> str:
    group = collection.settings.group
    return say(f"labels.caution.{group}") if group else ""


def _kind(collection: Collection, cross: Cross) -> Kind:
    if cross.pollen_kind in NO_POLLEN_PARENT:
        return "open" if cross.pollen_kind == "open" else "none"
    if cross.pollen_kind == "self" or collection.plants.one_clone(cross.seed_plant, cross.pollen_plant):
        return "self"
    if cross.pollen_kind == "sib":
        return "sib"
    if cross.pollen_parent is None:
        return "mixed" if cross.pollen_kind == "several" else "unknown"
    return "cross"


def _printed(index: NameIndex, name: str, genus: str | None) -> str:
    """Return a name as received, in correct form and with the genus in full."""
    if not name:
        return ""
    written = correct_form(name, genus)
    label = None if genus_of(written) else find_label(index, name, genus)
    return written if label is None else correct_form(label)


_FORMULA = re.compile(r"\s*\(*(?:×\s?)?[A-Z][a-z-]+ ")


def cross_on_label(page: Reading, text: str, pattern: Pattern) -> records.Cross:
    """Return the cross that is meant by its number, or by what the code on its label says.

    That is several lines, of which the first is the number; a field of one line may have run them together.

    Raises
    ------
    UnknownName
        If there is no such cross; it names the nearest.
    """
    first = (text.strip().splitlines() or [""])[0].strip()
    try:
        return find_cross(page, first, pattern)
    except UnknownName:
        known = [number for (number,) in page.columns(records.Cross, "number") if number and first.startswith(number)]
        begun = [number for number in known if _FORMULA.match(first[len(number) :])]
        if not begun:
            raise
        return find_cross(page, max(begun, key=len), pattern)


def cards_of_plan(collection: Collection, plan: Plan) -> list[LabelCard]:
    """Return a label for each cross of a plan, with lines for its number and its day."""
    return [
        LabelCard(
            "", cross.seed_parent, cross.pollen_parent, cross.seed_plant,
            cross.pollen_plants[0] if len(cross.pollen_plants) == 1 else "", units=say("plan.units", n=cross.flowers),
            caution=_caution(collection),
        )
        for cross in plan.crosses
    ]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Clues:
    """What is still known of a label: the plant, the day or the days between, words of the marker, the pollen."""

    plant: str | None = None
    day: date | None = None
    between: tuple[date, date] | None = None
    marker: str | None = None
    pollen: str | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """A cross that the label may have belonged to: how well the clues ``fit``, from 0 to 1, and what does and does not.

    The parents are species, with the plant in brackets where it is one of the book's.
    """

    cross: str
    id: str
    seed_parent: str
    pollen_parent: str
    fit: float
    why: list[str]


@dataclass(frozen=True, slots=True)
class Candidates:
    """The crosses that a lost label may have belonged to, the likeliest first."""

    candidates: list[Candidate]
    invented: bool
    schema: Literal["crosscompat.find/1"] = "crosscompat.find/1"


def candidates(page: Reading, clues: Clues, *, most: int, invented: bool = False) -> Candidates:
    """Return the crosses that some clue fits, so many at ``most``, the likeliest first and of equals the latest.

    A plant fits by its name or clone, less well by its species; a day by the visits of a fortnight around it, the
    nearer the better; a marker by the words on visits. The fit is the mean; its scale is a judgement, common practice
    without a source. If no clue was given it raises `WrongUse`.
    """
    if not any(astuple(clues)):
        raise WrongUse(say("lost_label.no_clue"))
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
        fit = sum(share for share, _ in fits) / len(fits)
        if fit > 0:
            last = max((visit.date for visit in every.visits), default=date.min)
            found.append((fit, last, every, [why for _, why in fits]))
    likeliest = []
    for fit, _, every, why in sorted(found, key=lambda one: one[:2], reverse=True)[:most]:
        seed_parent, pollen_parent = parents_in_words(page, every)
        number = every.cross.number or every.cross.id
        likeliest.append(Candidate(number, every.cross.id, seed_parent, pollen_parent, fit, why))
    return Candidates(likeliest, invented)


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
