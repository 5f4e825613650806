"""Logging a visit: what stands in its way, what to mind, which cross it is, and its chances at that moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from crosscompat.advice.cautions import Caution, handling
from crosscompat.advice.figures import Interval
from crosscompat.advice.forecast_now import Moment, moment, pair_of
from crosscompat.advice.visit_parents import VisitParents, parents_in
from crosscompat.advice.visit_request import VisitRequest, refuse_contradictions
from crosscompat.advice.visit_sides import Bench, Found, misspelt
from crosscompat.book import records
from crosscompat.book.current_plants import Plant, plants_of
from crosscompat.book.dates import season_of
from crosscompat.book.entry.enter_pollination import Asked, Planned, named_cross, planned, write_planned
from crosscompat.book.entry.pollination_rules import (
    ASKED_ONLY,
    FEMALE_POLLEN,
    MALE_SEED,
    QUERIED,
    NamedCross,
    Obstacle,
    Visit,
    obstacles,
    risks,
)
from crosscompat.book.entry.validation import Bounds
from crosscompat.book.flowers import sightings_of
from crosscompat.book.numbers import read_pattern
from crosscompat.book.placing import find_label
from crosscompat.book.records import NO_POLLEN_PARENT
from crosscompat.book.store import Reading, Writing
from crosscompat.book.units import Units, in_all
from crosscompat.collection.opening import Collection
from crosscompat.ground.wording import say

__all__ = ["Pollinated", "PollinatedBy", "Prepared", "prepare", "write_visit"]

UNKNOWN_NAME = "unknown name"
_CHECKS = {"seed": "check of the seed parent", "pollen": "check of the pollen"}
_PLAIN = (None, "plain")


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
    date : str
        ISO date.
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
    obstacles : list of Obstacle
        What cannot be, or must be asked about first.
    warnings : list of Caution
        What may go wrong.
    queries : list of str
        Findings that the visit contradicts.
    overruled : str or None
        What the visit is marked with.
    handling : list of Caution
        On hands, eyes and the law; with the first visit of a season.
    written : bool
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
    date: str
    unit_kind: str | None
    units: int | None
    units_in_all: int | None
    units_by_kind: list[Units]
    visits: int
    chance: Interval | None
    flowers: int | None
    model: str | None
    no_chance: str | None
    obstacles: list[Obstacle]
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
    plan: Planned
    forecast: records.GivenForecast | None


def prepare(collection: Collection, page: Reading, request: VisitRequest, today: date) -> Prepared:
    """Work out all about a visit; nothing is written.

    Parameters
    ----------
    collection : Collection
        For the tree, the traits, the settings and the model.
    page : Reading
        The book.
    request : VisitRequest
    today : date
        The day on which the chances are told.

    Raises
    ------
    UnknownName
        If the cross or the pollen lot is not known.
    WrongUse
        If the request contradicts itself or the cross that it names.
    """
    refuse_contradictions(request)
    pattern = read_pattern(collection.settings.cross_number)
    collection = _up_to_date(collection, page)
    plants = {plant.name: plant for plant in page.current(records.Plant)}
    bench = Bench(plants, sightings_of(page))
    parents = parents_in(collection, page, bench, request, pattern)
    rules = replace(_visit(collection, bench, parents, request), cross=_named(collection, page, parents, request))
    found = (*_unknown(parents), *obstacles(rules))
    marks = [one.kind for one in found if one.kind not in {UNKNOWN_NAME, *ASKED_ONLY}]
    asked = _asked(parents, request, "; ".join(dict.fromkeys(marks)) or None)
    plan = planned(page, asked, pattern, collection.settings.season_start)
    why = _no_chance(collection, parents, plan, request)
    pair = None if why is not None else pair_of(parents.seed, parents.pollen)
    told = None if pair is None else moment(collection, pair, in_all(plan.units) or 1)
    forecast = told.record(collection.index, pair, plan.cross.id, today) if pair and told else None
    warnings = [
        *_spelling(collection, parents),
        *(Caution(one.kind, one.says) for one in risks(rules)),
        *_of_the_pair(told, marks, rules),
    ]
    answer = _answer(collection, parents, plan, told, why, found, warnings)
    if not _crossed_before(page, collection.settings.season_start, request.day):
        answer = replace(answer, handling=handling(collection))
    return Prepared(answer, plan, forecast)


def write_visit(pen: Writing, prepared: Prepared, bounds: Bounds) -> Pollinated:
    """Write a visit down, with its chances unless the same were told that day, and return the answer that says so.

    Raises
    ------
    WrongUse
        As `visits.write_planned`.
    """
    write_planned(pen, prepared.plan, bounds)
    if prepared.forecast is not None and not _told_before(pen, prepared.forecast):
        pen.add(prepared.forecast)
    return replace(prepared.answer, written=True)


def _told_before(page: Reading, one: records.GivenForecast) -> bool:
    alike = page.current(records.GivenForecast, cross=one.cross, model=one.model, flowers=one.flowers, date=one.date)
    return any(replace(other, id=one.id) == one for other in alike)


def _up_to_date(collection: Collection, page: Reading) -> Collection:
    """Return the collection with the plants as they stand in the book now."""
    now = plants_of(page)
    return collection if now == collection.plants else replace(collection, plants=now)


def _visit(collection: Collection, bench: Bench, parents: VisitParents, request: VisitRequest) -> Visit:
    """Return the visit as the rules see it."""
    seed = bench.side(collection, parents.seed)
    return Visit(
        day=request.day,
        seed=seed,
        pollen_kind=parents.kind,
        pollen=tuple(bench.side(collection, one) for one in parents.pollen),
        lot=parents.lot,
        isolation=request.isolation,
        stamens_removed=request.stamens_removed,
        near=tuple(bench.of_plant(collection, plant, None) for plant in _of_its_kind(collection, parents.seed)),
    )


def _named(collection: Collection, page: Reading, parents: VisitParents, request: VisitRequest) -> NamedCross | None:
    if parents.continues is None:
        return None
    return named_cross(page, parents.continues, request.day, collection.settings.season_start)


def _of_its_kind(collection: Collection, seed: Found) -> list[Plant]:
    """Return the other plants of the seed parent's species, cf. and subspecies of it too."""
    own = seed.parent.label if seed.parent else seed.species
    others = [plant for plant in collection.plants.by_name.values() if plant.plant != seed.name]
    labels = {name: find_label(collection.index, name) or name for name in {plant.species for plant in others}}
    return [plant for plant in others if labels[plant.species] == own]


def _unknown(parents: VisitParents) -> tuple[Obstacle, ...]:
    named = dict.fromkeys(one.unknown for one in (parents.seed, *parents.pollen) if one.unknown)
    return tuple(Obstacle(UNKNOWN_NAME, says) for says in named)


def _spelling(collection: Collection, parents: VisitParents) -> list[Caution]:
    """Return which species of a formula may be misspelt; any other name that is not known stops the visit."""
    written = [one for one in (parents.seed, *parents.pollen) if one.plant is None and one.parent is None]
    names = dict.fromkeys(one.text for one in written if not one.unknown)
    return [Caution("name", says) for name in names for says in misspelt(collection, name)]


def _asked(parents: VisitParents, request: VisitRequest, overruled: str | None) -> Asked:
    visit = records.Pollination(
        cross="",
        date=request.day,
        hour=request.hour,
        who=request.who,
        marker=request.marker,
        unit_kind=request.unit,
        units=request.count,
        count_how=request.count_how,
        flowers="same again" if request.again else "new",
        pollen_kind=parents.kind,
        technique=request.technique,
        stamens_removed=request.stamens_removed,
        isolation=request.isolation,
        temperature=request.temperature,
        humidity=request.humidity,
        overruled=overruled,
        note=request.note,
    )
    certain = request.certainty if len(request.certainty) > 1 else request.certainty * len(parents.pollen)
    sure = certain or (None,) * len(parents.pollen)
    lot = parents.lot.id if parents.lot else None
    pollen = tuple(
        records.Pollen(pollination=visit.id, plant=one.id, name=one.written, lot=lot, certainty=certainty)
        for one, certainty in zip(parents.pollen, sure, strict=True)
    )
    kind = "left alone" if request.left_alone else _CHECKS.get(request.check or "", "cross")
    cross = records.Cross(
        kind=kind, seed_plant=parents.seed.id, seed_parent=parents.seed.written, aim=request.aim, wanted=request.wanted
    )
    return Asked(
        cross=cross,
        visit=visit,
        pollen=pollen,
        continues=parents.continues,
        pollen_named=bool(request.pollen or request.kind or request.lot or request.left_alone),
        kind_named=bool(request.check or request.left_alone),
        number=request.number,
    )


def _no_chance(collection: Collection, parents: VisitParents, plan: Planned, request: VisitRequest) -> str | None:
    """Return why a visit has no chances to be told, in words."""
    if plan.cross.kind != "cross":
        return say("pollinate.no_chance.check")
    if parents.kind not in {"one", "several"}:
        return say(f"pollinate.no_chance.{'open' if parents.kind in NO_POLLEN_PARENT else 'own'}")
    if any(collection.plants.one_clone(_plant(parents.seed), _plant(one)) for one in parents.pollen):
        return say("pollinate.no_chance.own")
    if request.technique not in _PLAIN:
        return say("pollinate.no_chance.technique")
    unplaced = [one.name for one in (parents.seed, *parents.pollen) if one.parent is None]
    if unplaced:
        return say("pollinate.no_chance.place", names=", ".join(dict.fromkeys(unplaced)))
    unsure = "unknown" in request.certainty
    return say("pollinate.no_chance.mixed") if unsure or pair_of(parents.seed, parents.pollen) is None else None


def _plant(found: Found) -> str | None:
    return found.plant.plant if found.plant else None


def _of_the_pair(told: Moment | None, marks: Sequence[str], rules: Visit) -> list[Caution]:
    """Return what to mind of the two; not what was said already, and of stored pollen not when its parent flowers."""
    if told is None:
        return []
    said = {"sex"} if set(marks) & set(QUERIED) else set()
    said |= {"flowering"} if rules.lot is not None else set()
    return [one for one in told.cautions if one.kind not in said]


def _answer(
    collection: Collection,
    parents: VisitParents,
    plan: Planned,
    told: Moment | None,
    why: str | None,
    found: Sequence[Obstacle],
    warnings: Sequence[Caution],
) -> Pollinated:
    seed, visit = parents.seed, plan.visit
    read_as = [one.parent.read_as for one in (seed, *parents.pollen) if one.parent]
    return Pollinated(
        cross=plan.cross.number or plan.cross.id,
        id=plan.cross.id,
        begun=plan.before is None,
        kind=plan.cross.kind,
        seed_parent=seed.species,
        seed_plant=_plant(seed),
        pollen=[
            PollinatedBy(one.name, one.species, _plant(one), brought.certainty)
            for one, brought in zip(parents.pollen, plan.pollen, strict=True)
        ],
        pollen_kind=parents.kind,
        lot=parents.lot.name if parents.lot else None,
        date=visit.date.isoformat(),
        unit_kind=visit.unit_kind,
        units=visit.units,
        units_in_all=in_all(plan.units),
        units_by_kind=list(plan.units),
        visits=plan.visits,
        chance=told.chance if told else None,
        flowers=told.flowers if told else None,
        model=told.model if told else None,
        no_chance=why,
        obstacles=list(found),
        warnings=list(warnings),
        queries=_queries(parents, [one.kind for one in found]),
        overruled=visit.overruled,
        handling=[],
        notes=[note for note in dict.fromkeys((*collection.notices, *read_as)) if note],
        invented=collection.settings.invented,
        written=False,
    )


def _queries(parents: VisitParents, kinds: Sequence[str]) -> list[str]:
    sides = ((MALE_SEED, (parents.seed,)), (FEMALE_POLLEN, parents.pollen))
    return [
        say("pollinate.query", plant=one.name, sex=QUERIED[kind])
        for kind, found in sides
        for one in found
        if kind in kinds and one.plant is not None and one.plant.sex == QUERIED[kind]
    ]


def _crossed_before(page: Reading, start: str, day: date) -> bool:
    """Tell whether the season of a day has seen a visit already, so that its cautions were given."""
    season = season_of(day, start)
    return any(season_of(other, start) == season for (other,) in page.columns(records.Pollination, "date"))
