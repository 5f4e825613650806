"""What stands on the labels of crosses, and which crosses a lost label may have belonged to."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Literal

from crosscompat.advice.cross_story import parents_in_words
from crosscompat.book import records
from crosscompat.book.cross_summary import cross_records, units_told
from crosscompat.book.crosses import Cross, find_label
from crosscompat.book.find_records import Clues, find_cross, find_number, matches
from crosscompat.book.numbers import Pattern, read_pattern
from crosscompat.book.records import CROSS_KINDS, NO_POLLEN_PARENT
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import NameIndex, correct_form, genus_of
from crosscompat.ground.wording import say
from crosscompat.show.label import Kind, LabelCard

if TYPE_CHECKING:
    from crosscompat.advice.plan import Plan


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
    group, count = collection.settings.group, cross.units or cross.tried
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
        caution=say(f"labels.caution.{group}") if group else "",
        purpose="" if cross.kind == CROSS_KINDS[0] else say(f"labels.purpose.{cross.kind}"),
    )


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


@dataclass(frozen=True, slots=True)
class Candidate:
    """A cross that the label may have belonged to; how well it does is its ``fit``, from 0 to 1."""

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
    """Return the likeliest crosses, so many at ``most``; if no clue was given it raises `WrongUse`."""
    if clues.empty:
        raise WrongUse(say("lost_label.no_clue"))
    likeliest = []
    for match in matches(page, clues)[:most]:
        seed, pollen = parents_in_words(page, cross_records(page, match.cross))
        number = match.cross.number or match.cross.id
        likeliest.append(Candidate(number, match.cross.id, seed, pollen, match.fit, list(match.why)))
    return Candidates(likeliest, invented)


def cards_of_plan(collection: Collection, plan: Plan) -> list[LabelCard]:
    """Return a label for each cross of a plan, with lines for its number and its day."""
    group = collection.settings.group
    return [
        LabelCard(
            "", cross.seed_parent, cross.pollen_parent, cross.seed_plant,
            cross.pollen_plants[0] if len(cross.pollen_plants) == 1 else "", units=say("plan.units", n=cross.flowers),
            caution=say(f"labels.caution.{group}") if group else "",
        )
        for cross in plan.crosses
    ]  # fmt: skip
