"""What is on record of one cross, from the first visit to the last seedling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from crosscompat.book.cross_summary import CrossRecords, Units, cross_records, in_words, totals, units_of_visits
from crosscompat.book.current_plants import species_of
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.enter_observation import Seen, observe, surprises
from crosscompat.book.history import (
    Line,
    lines_of,
)
from crosscompat.book.numbers_and_names import find_cross, read_pattern
from crosscompat.book.records import (
    POLLEN_KINDS,
    Attachment,
    Cross,
    GivenForecast,
    Plant,
    Record,
)
from crosscompat.book.store import Reading, Writing
from crosscompat.collection.settings import Settings
from crosscompat.ground.dates import spoken_dates
from crosscompat.ground.wording import say

_CHANCE = ("date", "flowers", "mean", "low", "high")


@dataclass(frozen=True, slots=True)
class Totals:
    """What the counts of a cross come to; null is unknown."""

    units: int | None
    pods_set: int | None
    pods_held: int | None
    seeds: int | None
    seeds_filled: int | None
    seeds_sown: int | None
    seedlings: int | None


@dataclass(frozen=True, slots=True)
class StoredChance:
    """The chance of at least one seedling as it was told on a day, with its 90% interval."""

    date: date
    flowers: int
    mean: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CrossStory:
    """A cross as it stands, and what was just written of it by a ``change`` of that number.

    It is ``over`` after the last stage that the grower calls over; where there is ``doubt`` that it is the cross it is
    taken for, it teaches nothing. Units in the totals are unknown where they are of different kinds. Trays are followed
    by the looks at each.
    """

    cross: str
    id: str
    kind: str
    seed_parent: str
    pollen_parent: str
    over: str | None
    doubt: str | None
    totals: Totals
    units_by_kind: list[Units]
    visits: list[Line]
    counts: list[Line]
    lots: list[Line]
    trays: list[Line]
    losses: list[Line]
    proofs: list[Line]
    attachments: list[Line]
    chances: list[StoredChance]
    wrote: list[Line]
    change: int | None
    dry_run: bool
    invented: bool
    schema: Literal["crosscompat.observe/1"] = "crosscompat.observe/1"


def story_of(
    page: Reading,
    cross: Cross,
    *,
    wrote: Sequence[Record] = (),
    change: int | None = None,
    dry_run: bool = False,
    invented: bool = False,
) -> CrossStory:
    """Return all that stands of a cross."""
    whole = cross_records(page, cross)
    attached = page.current(Attachment, of=tuple(one.id for one in whole.every))
    line_of = {line.record: line for line in lines_of(page, (*whole.every, *attached, *wrote), of=cross.id)}
    total = totals(whole)
    seed, pollen = parents_in_words(page, whole)
    names = tuple({cross.id, cross.number} - {None})
    trays = [one for tray in whole.trays for one in (tray, *whole.looks_at(tray))]

    def lines(records: Sequence[Record]) -> list[Line]:
        return [line_of[record.id] for record in records]

    parts: dict[str, Any] = {
        name: lines(getattr(whole, name)) for name in ("visits", "counts", "lots", "losses", "proofs")
    }
    return CrossStory(
        cross=cross.number or cross.id,
        id=cross.id,
        kind=cross.kind,
        seed_parent=seed,
        pollen_parent=pollen,
        over=cross.closed_stage,
        doubt=cross.doubt,
        totals=Totals(**{name: total[name] for name in Totals.__dataclass_fields__}),
        units_by_kind=list(units_of_visits(whole.visits)),
        **parts,
        trays=lines(trays),
        attachments=lines(attached),
        chances=[StoredChance(*row) for row in page.columns(GivenForecast, *_CHANCE, cross=names, in_order=True)],
        wrote=lines(wrote),
        change=change,
        dry_run=dry_run,
        invented=invented,
    )


@dataclass(frozen=True, slots=True)
class Observed:
    """A cross after a look at it, and what was said otherwise before, as questions to the grower.

    What was written must not hold unless each of the ``surprises`` is answered with yes.
    """

    story: CrossStory
    surprises: list[str]


def observe_cross(
    pen: Writing, number: str, seen: Seen, settings: Settings, *, day: date, today: date, who: str | None,
    dry_run: bool = False,
) -> Observed:  # fmt: skip
    """Write down what was seen on a day of the cross of a number, however it is typed.

    Raises
    ------
    UnknownName
        If there is no such cross.
    WrongUse
        If what was seen cannot be so, with every reason; the transaction must end then.
    """
    cross = find_cross(pen, number, read_pattern(settings.cross_number))
    pen.what = say("observe.what", cross=cross.number or cross.id)
    before = cross_records(pen, cross)
    wrote = observe(pen, cross, seen, day, who, Bounds(today, settings.pod[1]))
    now, change = find_cross(pen, cross.id), None if dry_run else pen.change
    story = story_of(pen, now, wrote=wrote, change=change, dry_run=dry_run, invented=settings.invented)
    return Observed(story, surprises(before, seen, day))


def written_in_words(story: CrossStory) -> str:
    """Return what has just been written of a cross; nothing where the book said so already."""
    parts = dict.fromkeys(part for one in story.wrote for part in one.says.split("; "))
    return "; ".join(part for part in parts if part != story.cross)


_TOTALS = ("units", "pods_set", "pods_held", "seeds", "seeds_filled", "seeds_sown", "seedlings")


def counts_in_words(story: CrossStory) -> str:
    """Return what the counts of a cross come to; nothing where nothing was counted."""
    apart = in_words(story.units_by_kind) if story.totals.units is None else ""
    known = [say("observe.totals.units", n=apart)] if apart else []
    known += [say(f"observe.totals.{name}", n=n) for name in _TOTALS if (n := getattr(story.totals, name)) is not None]
    return ", ".join(known)


def where_it_stands(story: CrossStory) -> tuple[str, str, str]:
    """Return a cross in three lines: its parents, how it was pollinated, and what was counted or ended it."""
    first, *more = [one.says for one in story.visits] or [""]
    pollen = story.pollen_parent
    kind = "unknown" if pollen in {"", "one"} else pollen if pollen in POLLEN_KINDS else "one"
    parents = say(f"due.pollen.{kind}", seed=story.seed_parent, pollen=pollen)
    brushed = say("look.brushed_more" if more else "look.brushed", first=first, n=len(more))
    counts = counts_in_words(story)
    seen = [say("observe.together", counts=counts) if counts else say("look.uncounted")]
    seen += [say("look.lost", what=one.says) for one in story.losses]
    seen += [say("observe.is_over", stage=say(f"look.stage.{story.over}"))] if story.over else []
    seen += [say("look.in_doubt", why=spoken_dates(story.doubt))] if story.doubt else []
    return parents, brushed, " ".join(seen)


LOOKS = ("swelling", "dropped", "ripe", "harvest", "sown", "up", "lost", "over", "note")
"""What a look at a cross may show."""


def likely_looks(story: CrossStory) -> tuple[str, ...]:
    """Return what the next look at a cross may well show, of ``LOOKS``, the likeliest first: a judgement."""
    counts = story.totals
    if story.trays:
        return ("up", "sown") if len(story.lots) > 1 else ("up",)
    if story.lots:
        return ("sown", "harvest")
    if counts.pods_held:
        return ("harvest", "ripe", "dropped")
    if counts.pods_set:
        return ("ripe", "harvest", "dropped", "swelling")
    return ("swelling", "dropped", "ripe")


def parents_in_words(page: Reading, whole: CrossRecords) -> tuple[str, str]:
    """Return both parents of a cross: species, with the plant in brackets where it is one of the book's."""
    names = dict(page.columns(Plant, "id", "name"))
    species = species_of(page)

    def side(plant: str | None, name: str | None) -> str:
        known = name or species.get(plant or "", "")
        own = names.get(plant or "")
        return f"{known} [{own}]" if own and own != known else known

    pollen = dict.fromkeys(side(one.plant, one.name) for one in whole.pollen)
    kinds = dict.fromkeys(visit.pollen_kind for visit in whole.visits if visit.pollen_kind)
    return side(whole.cross.seed_plant, whole.cross.seed_parent), "; ".join(pollen or kinds)
