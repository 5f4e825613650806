"""A visit with the brush: what stands in its way, what to look out for, which cross it is, and its chances now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from crosscompat.advice.figures import Interval
from crosscompat.advice.forecast_record import ForecastNow, forecast_now
from crosscompat.advice.parents import Caution, handling
from crosscompat.advice.pollination_rules import (
    ASKED_ONLY,
    FEMALE_POLLEN,
    MALE_SEED,
    QUERIED,
    Visit,
    obstacles,
    risks,
)
from crosscompat.advice.visit_parents import VisitRequest, find_visit, misspelt, pair_of
from crosscompat.book import records
from crosscompat.book.cross_summary import Units, in_all
from crosscompat.book.current_plants import plants_of
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.enter_pollination import (
    PollinationEntry,
    PollinationRecords,
    pollination_records,
    write_pollination,
)
from crosscompat.book.numbers import read_pattern
from crosscompat.book.store import Reading, Writing
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of, spoken_date
from crosscompat.ground.wording import say

_CHECKS = {None: "cross", "seed": "check of the seed parent", "pollen": "check of the pollen"}
_UNKNOWN_NAME, _ENTERED_BEFORE = "unknown name", "entered before"


@dataclass(frozen=True, slots=True)
class PollinatedBy:
    """One pollen parent: the name written down, its species, the very plant, and how sure that is."""

    name: str
    species: str
    plant: str | None
    certainty: str | None


@dataclass(frozen=True, slots=True)
class Pollinated:
    """A visit as it was written down, or would be.

    Attributes
    ----------
    cross : str
        Its number.
    id : str
        Its identifier.
    begun : bool
        Whether the cross is a new one.
    kind : str
        A cross, a check of one parent, or flowers left alone.
    pollen_kind : str
        One plant, several, open, self, sib or none.
    units : int or None
        Flowers (or what else was counted) of this visit.
    units_in_all : int or None
        New ones of the cross in all visits; None where some were not counted, or not in the same units.
    units_by_kind : list of Units
        The same, each kind by itself.
    visits : int
        Of the cross, with this one.
    chance : Interval or None
        Of at least one seedling from all of them, as stored.
    flowers : int or None
        For how many that chance is.
    model : str or None
        Fingerprint of the model that gave it, or "prior".
    no_chance : str or None
        Why there is none.
    obstacles : list of Caution
        What cannot be, or must be asked about first.
    warnings : list of Caution
        What may go wrong.
    queries : list of str
        Findings that the visit contradicts.
    overruled : str or None
        What the visit is marked with.
    handling : list of Caution
        On hands, eyes and the law; with the first visit of a season.
    """

    cross: str
    id: str
    begun: bool
    kind: str
    seed_parent: str
    seed_plant: str | None
    pollen: list[PollinatedBy]
    pollen_kind: str
    lot: str | None
    date: date
    unit_kind: str | None
    units: int | None
    units_in_all: int | None
    units_by_kind: list[Units]
    visits: int
    chance: Interval | None
    flowers: int | None
    model: str | None
    no_chance: str | None
    obstacles: list[Caution]
    warnings: list[Caution]
    queries: list[str]
    overruled: str | None
    handling: list[Caution]
    notes: list[str]
    invented: bool
    written: bool
    schema: Literal["crosscompat.pollinate/1"] = "crosscompat.pollinate/1"


def pollinate(collection: Collection, pen: Writing, request: VisitRequest, today: date) -> Pollinated:
    """Write a visit down, with its chances unless the same were told that day, and return the answer about it.

    What cannot be, or must be asked about first, stands in the answer; the transaction must end where nobody agrees.

    Raises
    ------
    UnknownName, WrongUse
        If what is named is not known; if the visit contradicts itself or the book.
    """
    plants = plants_of(pen)
    collection = collection if plants == collection.plants else replace(collection, plants=plants)
    visit = find_visit(collection, pen, request)
    hindrances = [*_unknown_names(visit), *obstacles(visit)]
    marks = dict.fromkeys(one.kind for one in hindrances if one.kind not in {_UNKNOWN_NAME, *ASKED_ONLY})
    settings = collection.settings
    entry = _entry(visit, request, "; ".join(marks) or None)
    plan = pollination_records(pen, entry, read_pattern(settings.cross_number), settings.season_start)
    no_chance = _no_chance(visit, plan, request)
    pair = None if no_chance is not None else pair_of(visit.seed, visit.pollen)
    forecast = None if pair is None else forecast_now(collection, pair, in_all(plan.units) or 1)
    answer = _answer(
        collection,
        visit,
        plan,
        forecast,
        no_chance=no_chance,
        obstacles=hindrances or _entered_before(plan),
        handling=handling(collection) if _is_first_of_season(pen, visit) else [],
    )
    pen.what = say("pollinate.change", cross=answer.cross)
    write_pollination(pen, plan, Bounds(today, settings.pod[1]))
    if pair and forecast:
        _write_forecast(pen, forecast.record(collection, pair, plan.cross.id, today))
    return answer


def _unknown_names(visit: Visit) -> list[Caution]:
    return [Caution(_UNKNOWN_NAME, says) for says in dict.fromkeys(one.unknown for one in visit.parents) if says]


def _is_first_of_season(page: Reading, visit: Visit) -> bool:
    days = [visit.made.date, *(day for (day,) in page.columns(records.Pollination, "date"))]
    seasons = [season_of(day, visit.season_start) for day in days]
    return seasons[0] not in seasons[1:]


def _entry(visit: Visit, request: VisitRequest, overruled: str | None) -> PollinationEntry:
    made = replace(visit.made, overruled=overruled)
    n, words, lot = len(visit.pollen), request.certainty, visit.lot.id if visit.lot else None
    sure = (words if len(words) > 1 else words * n) or (None,) * n
    kind = "left alone" if request.left_alone else _CHECKS[request.check]
    return PollinationEntry(
        cross=replace(request.begins, kind=kind, seed_plant=visit.seed.id, seed_parent=visit.seed.written),
        visit=made,
        pollen=tuple(
            records.Pollen(pollination=made.id, plant=one.id, name=one.written, lot=lot, certainty=certainty)
            for one, certainty in zip(visit.pollen, sure, strict=True)
        ),
        continues=visit.named,
        pollen_named=bool(request.pollen or request.without_names or lot),
    )


def _entered_before(plan: PollinationRecords) -> list[Caution]:
    """Ask about a visit that the book has already: the same day, place on the plant and count."""
    *others, new = plan.visits
    alike = ("date", "hour", "marker", "unit_kind", "units")
    same = [getattr(new, name) for name in alike]
    if (
        new.units is None
        or new.flowers != "new"
        or same not in [[getattr(one, name) for name in alike] for one in others]
    ):
        return []
    number = plan.cross.number or plan.cross.id
    return [Caution(_ENTERED_BEFORE, say("pollinate.twice", cross=number, date=spoken_date(new.date)))]


def _no_chance(visit: Visit, plan: PollinationRecords, request: VisitRequest) -> str | None:
    """Return why a visit has no chances, in words; None where it has."""
    seed, kind = visit.seed, visit.made.pollen_kind
    unplaced = dict.fromkeys(one.name for one in visit.parents if one.parent is None)
    unsure = "unknown" in request.certainty
    reasons = {
        "check": plan.cross.kind != "cross",
        "open": kind in records.NO_POLLEN_PARENT,
        "own": kind in {"self", "sib"} or any(seed.same_clone(one) for one in visit.pollen),
        "technique": visit.made.technique not in {None, "plain"},
        "place": bool(unplaced),
        "mixed": unsure or pair_of(seed, visit.pollen) is None,
    }
    why = next((key for key, holds in reasons.items() if holds), None)
    return None if why is None else say(f"pollinate.no_chance.{why}", names=", ".join(unplaced))


def _warnings(
    collection: Collection, visit: Visit, forecast: ForecastNow | None, marks: Sequence[str]
) -> list[Caution]:
    """Return what may go wrong: names, the visit, and the pair, but nothing twice.

    Of the species of a formula some may be misspelt; any other name that is not known stops the visit. Of stored
    pollen it is no matter when its parent flowers.
    """
    written = dict.fromkeys(
        one.species for one in visit.parents if one.plant is None and one.parent is None and not one.unknown
    )
    spelling = [Caution("name", says) for name in written for says in misspelt(collection, name)]
    said = {"sex"} if QUERIED.keys() & set(marks) else set()
    said |= {"flowering"} if visit.lot is not None else set()
    of_the_pair = [one for one in (forecast.cautions if forecast else ()) if one.kind not in said]
    return [*spelling, *risks(visit), *of_the_pair]


def _queries(visit: Visit, kinds: Sequence[str]) -> list[str]:
    sides = [(MALE_SEED, visit.seed), *((FEMALE_POLLEN, one) for one in visit.pollen)]
    return [
        say("pollinate.query", plant=one.name, sex=one.sex)
        for kind, one in sides
        if kind in kinds and one.sex == QUERIED[kind]
    ]


def _answer(
    collection: Collection,
    visit: Visit,
    plan: PollinationRecords,
    forecast: ForecastNow | None,
    *,
    no_chance: str | None,
    obstacles: list[Caution],
    handling: list[Caution],
) -> Pollinated:
    kinds = [one.kind for one in obstacles]
    notes = (*collection.notices, *(one.parent.read_as for one in visit.parents if one.parent))
    return Pollinated(
        cross=plan.cross.number or plan.cross.id,
        id=plan.cross.id,
        begun=plan.before is None,
        kind=plan.cross.kind,
        seed_parent=visit.seed.species,
        seed_plant=visit.seed.own_name,
        pollen=[
            PollinatedBy(one.name, one.species, one.own_name, brought.certainty)
            for one, brought in zip(visit.pollen, plan.pollen, strict=True)
        ],
        pollen_kind=plan.visit.pollen_kind or "",
        lot=visit.lot.name if visit.lot else None,
        date=plan.visit.date,
        unit_kind=plan.visit.unit_kind,
        units=plan.visit.units,
        units_in_all=in_all(plan.units),
        units_by_kind=list(plan.units),
        visits=len(plan.visits),
        chance=forecast.chance if forecast else None,
        flowers=forecast.flowers if forecast else None,
        model=forecast.model if forecast else None,
        no_chance=no_chance,
        obstacles=obstacles,
        warnings=_warnings(collection, visit, forecast, kinds),
        queries=_queries(visit, kinds),
        overruled=plan.visit.overruled,
        handling=handling,
        notes=[note for note in dict.fromkeys(notes) if note],
        invented=collection.settings.invented,
        written=True,
    )


def _write_forecast(pen: Writing, new: records.GivenForecast) -> None:
    """Add a forecast to the ledger, unless the same was given for the cross that day."""
    alike = pen.current(records.GivenForecast, cross=new.cross, model=new.model, flowers=new.flowers, date=new.date)
    if all(replace(other, id=new.id) != new for other in alike):
        pen.add(new)
