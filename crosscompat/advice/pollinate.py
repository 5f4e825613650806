"""A visit with the brush: what stands in its way, what to look out for, which cross it is, and its chances now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal

from crosscompat.advice.figures import Interval
from crosscompat.advice.ledger import ForecastNow, forecast_now
from crosscompat.advice.parents import Caution, handling
from crosscompat.advice.visit_parents import (
    VisitParent,
    VisitParents,
    VisitRequest,
    find_parents_of_visit,
    misspelt,
    pair_of,
    rules_side,
)
from crosscompat.book import records
from crosscompat.book.cross_summary import Units, in_all
from crosscompat.book.current_plants import plants_of, sightings_of
from crosscompat.book.entry import Bounds
from crosscompat.book.entry import pollination_rules as rules
from crosscompat.book.entry.enter_pollination import (
    PollinationEntry,
    PollinationRecords,
    named_cross,
    pollination_records,
    write_pollination,
)
from crosscompat.book.numbers import read_pattern
from crosscompat.book.placing import find_label
from crosscompat.book.store import Reading, Writing
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of, spoken_date
from crosscompat.ground.wording import say

_CHECKS = {"seed": "check of the seed parent", "pollen": "check of the pollen"}
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
    obstacles : list of Remark
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
    obstacles: list[rules.Remark]
    warnings: list[Caution]
    queries: list[str]
    overruled: str | None
    handling: list[Caution]
    notes: list[str]
    invented: bool
    written: bool
    schema: Literal["crosscompat.pollinate/1"] = "crosscompat.pollinate/1"


@dataclass(frozen=True, slots=True)
class Prepared:
    """A visit that is ready to be written, and the answer about it."""

    answer: Pollinated
    plan: PollinationRecords
    forecast: records.GivenForecast | None


def prepare(collection: Collection, page: Reading, request: VisitRequest, today: date) -> Prepared:
    """Work out all about a visit and its chances today, and write nothing; raises as `find_parents_of_visit` does."""
    pattern, start = read_pattern(collection.settings.cross_number), collection.settings.season_start
    now = plants_of(page)
    collection = collection if now == collection.plants else replace(collection, plants=now)
    plants = {plant.name: plant for plant in page.current(records.Plant)}
    parents = find_parents_of_visit(collection, page, plants, request)
    visit = _visit(collection, page, plants, parents, request.visit)
    unknown = dict.fromkeys(one.unknown for one in parents.all if one.unknown)
    hindered = [*(rules.Remark(_UNKNOWN_NAME, says) for says in unknown), *rules.obstacles(visit)]
    marks = [one.kind for one in hindered if one.kind not in {_UNKNOWN_NAME, *rules.ASKED_ONLY}]
    plan = pollination_records(page, _asked(parents, request, "; ".join(dict.fromkeys(marks)) or None), pattern, start)
    hindered = hindered or _entered_before(page, plan)
    why = _no_chance(collection, parents, plan, request)
    pair = None if why is not None else pair_of(parents.seed, parents.pollen)
    forecast = None if pair is None else forecast_now(collection, pair, in_all(plan.units) or 1)
    season = season_of(request.visit.date, start)
    first = all(season_of(day, start) != season for (day,) in page.columns(records.Pollination, "date"))
    warnings = [
        *_spelling(collection, parents),
        *(Caution(one.kind, one.says) for one in rules.risks(visit)),
        *_of_the_pair(forecast, marks, visit),
    ]
    answer = _answer(
        collection,
        parents,
        plan,
        forecast,
        no_chance=why,
        obstacles=hindered,
        warnings=warnings,
        queries=_queries(parents, [one.kind for one in hindered]),
        handling=handling(collection) if first else [],
    )
    record = forecast.record(collection, pair, plan.cross.id, today) if pair and forecast else None
    return Prepared(answer, plan, record)


def _entered_before(page: Reading, plan: PollinationRecords) -> list[rules.Remark]:
    """Ask about a visit that the book has already: the same day, place on the plant and count."""
    new = plan.visit
    if plan.before is None or new.units is None or new.flowers != "new":
        return []
    alike = ("date", "hour", "marker", "unit_kind", "units")
    same = [getattr(new, name) for name in alike]
    others = page.current(records.Pollination, cross=plan.cross.id)
    if all([getattr(other, name) for name in alike] != same for other in others):
        return []
    day = spoken_date(new.date)
    return [rules.Remark(_ENTERED_BEFORE, say("pollinate.twice", cross=plan.cross.number or plan.cross.id, date=day))]


def write_visit(pen: Writing, prepared: Prepared, bounds: Bounds) -> Pollinated:
    """Write a visit down, with its chances unless the same were told that day, and return the answer that says so.

    It raises what `enter_pollination.write_pollination` does.
    """
    write_pollination(pen, prepared.plan, bounds)
    new = prepared.forecast
    if new is not None:
        alike = pen.current(records.GivenForecast, cross=new.cross, model=new.model, flowers=new.flowers, date=new.date)
        if all(replace(other, id=new.id) != new for other in alike):
            pen.add(new)
    return replace(prepared.answer, written=True)


def _visit(
    collection: Collection,
    page: Reading,
    plants: Mapping[str, records.Plant],
    parents: VisitParents,
    visit: records.Pollination,
) -> rules.Visit:
    """Return the visit as the rules see it."""
    sightings, seed = sightings_of(page), parents.seed
    own = seed.parent.label if seed.parent else seed.species
    near = [
        VisitParent(plant, plants[name], plant.species, None)
        for name, plant in collection.plants.by_name.items()
        if name != seed.name and (find_label(collection.index, plant.species) or plant.species) == own
    ]

    def side(one: VisitParent) -> rules.Side:
        return rules_side(collection, one, sightings.get(one.id or "", ()))

    season_start = collection.settings.season_start
    return rules.Visit(
        day=visit.date,
        seed=side(seed),
        pollen_kind=parents.kind,
        pollen=tuple(map(side, parents.pollen)),
        lot=parents.lot,
        isolation=visit.isolation,
        stamens_removed=visit.stamens_removed,
        near=tuple(map(side, near)),
        cross=named_cross(page, parents.continues, visit.date, season_start) if parents.continues else None,
    )


def _spelling(collection: Collection, parents: VisitParents) -> list[Caution]:
    """Return which species of a formula may be misspelt; any other name that is not known stops the visit."""
    written = [one for one in parents.all if one.plant is None and one.parent is None and not one.unknown]
    names = dict.fromkeys(one.species for one in written)
    return [Caution("name", says) for name in names for says in misspelt(collection, name)]


def _asked(parents: VisitParents, request: VisitRequest, overruled: str | None) -> PollinationEntry:
    visit = replace(request.visit, pollen_kind=parents.kind, overruled=overruled)
    n, words = len(parents.pollen), request.certainty
    sure = (words if len(words) > 1 else words * n) or (None,) * n
    lot = parents.lot.id if parents.lot else None
    pollen = tuple(
        records.Pollen(pollination=visit.id, plant=one.id, name=one.written, lot=lot, certainty=certainty)
        for one, certainty in zip(parents.pollen, sure, strict=True)
    )
    kind = "left alone" if request.left_alone else _CHECKS.get(request.check or "", "cross")
    return PollinationEntry(
        cross=replace(
            request.begins, number=None, kind=kind, seed_plant=parents.seed.id, seed_parent=parents.seed.written
        ),
        visit=visit,
        pollen=pollen,
        continues=parents.continues,
        pollen_named=bool(request.pollen or request.without_names or request.lot),
        kind_named=bool(request.check or request.left_alone),
        number=request.begins.number,
    )


def _no_chance(
    collection: Collection, parents: VisitParents, plan: PollinationRecords, request: VisitRequest
) -> str | None:
    """Return why a visit has no chances to be told, in words."""
    if plan.cross.kind != "cross":
        return say("pollinate.no_chance.check")
    if parents.kind not in {"one", "several"}:
        return say(f"pollinate.no_chance.{'open' if parents.kind in records.NO_POLLEN_PARENT else 'own'}")
    if any(collection.plants.one_clone(parents.seed.own_name, one.own_name) for one in parents.pollen):
        return say("pollinate.no_chance.own")
    if request.visit.technique not in {None, "plain"}:
        return say("pollinate.no_chance.technique")
    unplaced = [one.name for one in parents.all if one.parent is None]
    if unplaced:
        return say("pollinate.no_chance.place", names=", ".join(dict.fromkeys(unplaced)))
    unsure = "unknown" in request.certainty
    return say("pollinate.no_chance.mixed") if unsure or pair_of(parents.seed, parents.pollen) is None else None


def _of_the_pair(forecast: ForecastNow | None, marks: Sequence[str], visit: rules.Visit) -> list[Caution]:
    """Return what to mind of the two; not what was said already, and of stored pollen not when its parent flowers."""
    said = {"sex"} if set(marks) & set(rules.QUERIED) else set()
    said |= {"flowering"} if visit.lot is not None else set()
    return [one for one in (forecast.cautions if forecast else ()) if one.kind not in said]


def _answer(
    collection: Collection,
    parents: VisitParents,
    plan: PollinationRecords,
    forecast: ForecastNow | None,
    **judged: Any,
) -> Pollinated:
    seed, visit = parents.seed, plan.visit
    notes = (*collection.notices, *(one.parent.read_as for one in parents.all if one.parent))
    return Pollinated(
        cross=plan.cross.number or plan.cross.id,
        id=plan.cross.id,
        begun=plan.before is None,
        kind=plan.cross.kind,
        seed_parent=seed.species,
        seed_plant=seed.own_name,
        pollen=[
            PollinatedBy(one.name, one.species, one.own_name, brought.certainty)
            for one, brought in zip(parents.pollen, plan.pollen, strict=True)
        ],
        pollen_kind=parents.kind,
        lot=parents.lot.name if parents.lot else None,
        date=visit.date,
        unit_kind=visit.unit_kind,
        units=visit.units,
        units_in_all=in_all(plan.units),
        units_by_kind=list(plan.units),
        visits=plan.visits,
        chance=forecast.chance if forecast else None,
        flowers=forecast.flowers if forecast else None,
        model=forecast.model if forecast else None,
        overruled=visit.overruled,
        notes=[note for note in dict.fromkeys(notes) if note],
        invented=collection.settings.invented,
        written=False,
        **judged,
    )


def _queries(parents: VisitParents, kinds: Sequence[str]) -> list[str]:
    sides = [(rules.MALE_SEED, parents.seed), *((rules.FEMALE_POLLEN, one) for one in parents.pollen)]
    return [
        say("pollinate.query", plant=one.name, sex=rules.QUERIED[kind])
        for kind, one in sides
        if kind in kinds and one.plant is not None and one.plant.sex == rules.QUERIED[kind]
    ]
