"""A visit with the brush: who takes part, what stands in its way, which cross it is, and its chances now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

from crosscompat.advice.figures import Interval
from crosscompat.advice.forecast_record import ForecastNow, forecast_now
from crosscompat.advice.parents import Caution, Parent, handling
from crosscompat.advice.season.mating import FEMALE_POLLEN, MALE_SEED
from crosscompat.advice.season.pollination_rules import (
    ASKED_ONLY,
    QUERIED,
    KnownPlants,
    Visit,
    VisitParent,
    misspelt,
    obstacles,
    risks,
)
from crosscompat.book import records
from crosscompat.book.cross_summary import CrossRecords, Units, cross_records, in_all
from crosscompat.book.current_plants import plants_of, sightings_of
from crosscompat.book.entry import Bounds
from crosscompat.book.entry.enter_pollination import (
    PollinationEntry,
    PollinationRecords,
    pollination_records,
    write_pollination,
)
from crosscompat.book.numbers_and_names import find_cross, read_pattern, unknown_record
from crosscompat.book.store import Reading, Writing
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of, spoken_date
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import genus_of
from crosscompat.ground.wording import say

_CHECKS = {None: "cross", "seed": "check of the seed parent", "pollen": "check of the pollen"}
_UNKNOWN_NAME, _ENTERED_BEFORE = "unknown name", "entered before"
_WITHOUT_NAMES = ("open", "self", "sib", "none")


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitRequest:
    """A visit as the grower tells it; None is unknown.

    What is said of the ``visit`` itself, and of the cross that it ``begins``; ``seed`` and ``pollen`` are names, and
    ``kinds`` open, self, sib or none in place of pollen; ``certainty`` is one word for all pollen, or one each;
    ``cross`` is the number of one that goes on; ``check`` names the side that is checked.
    """

    visit: records.Pollination
    begins: records.Cross = field(default_factory=records.Cross)
    seed: str | None = None
    pollen: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    certainty: tuple[str, ...] = ()
    lot: str | None = None
    cross: str | None = None
    check: str | None = None
    left_alone: bool = False

    @property
    def without_names(self) -> str | None:
        """What was said in place of pollen parents."""
        return next(iter(self.kinds), "none" if self.left_alone else None)


@dataclass(frozen=True, slots=True)
class PollinatedBy:
    """One pollen parent: the name written down, its species, the very plant, and how sure that is."""

    name: str
    species: str
    plant: str | None
    certainty: str | None


@dataclass(frozen=True, slots=True)
class Pollinated:
    """A visit as it was written down, or would be; the cross has so many ``visits`` with this one.

    ``begun`` tells a new cross; ``units`` are of this visit, ``units_in_all`` the new ones of all, none where some were
    not counted, or not in the same units. The ``chance`` is of a seedling from so many ``flowers`` in all, by the
    ``model`` of that fingerprint; or ``no_chance`` says why there is none. ``obstacles`` cannot be, or must be asked
    about first; the visit is marked with what was ``overruled``, and contradicts the findings in ``queries``.
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
    visit, settings = find_visit(collection, pen, request), collection.settings
    unknown = dict.fromkeys(one.unknown for one in visit.parents if one.unknown)
    barred = obstacles(visit)
    marks = dict.fromkeys(one.kind for one in barred if one.kind not in ASKED_ONLY)
    entry = _entry(visit, request, "; ".join(marks) or None)
    plan = pollination_records(pen, entry, read_pattern(settings.cross_number), settings.season_start)
    no_chance = _no_chance(visit, plan, request)
    pair = None if no_chance is not None else pair_of(visit.seed, visit.pollen)
    forecast = None if pair is None else forecast_now(collection, pair, in_all(plan.units) or 1)
    hindrances = [*(Caution(_UNKNOWN_NAME, says) for says in unknown), *barred] or _entered_before(plan)
    minded = handling(collection) if _is_first_of_season(pen, visit) else []
    answer = _answer(collection, visit, plan, forecast, no_chance, hindrances, minded)
    pen.what = say("pollinate.change", cross=answer.cross)
    write_pollination(pen, plan, Bounds(today, settings.pod[1]))
    if pair and forecast:
        new = forecast.record(collection, pair, plan.cross.id, today)
        alike = {"cross": new.cross, "model": new.model, "flowers": new.flowers, "date": new.date}
        if all(replace(other, id=new.id) != new for other in pen.current(records.GivenForecast, **alike)):
            pen.add(new)
    return answer


def find_visit(collection: Collection, page: Reading, request: VisitRequest) -> Visit:
    """Find who takes part in a visit, the lot of stored pollen and the cross that were named.

    Raises
    ------
    UnknownName, WrongUse
        If the cross or the pollen lot is not known; if the request contradicts itself, or what it names is of other
        parents.
    """
    _refuse_contradictions(request)
    settings = collection.settings
    pattern = read_pattern(settings.cross_number)
    named = cross_records(page, find_cross(page, request.cross, pattern)) if request.cross else None
    lots = {lot.name.casefold(): lot for lot in page.current(records.PollenLot)} if request.lot else {}
    lot = lots.get((request.lot or "").strip().casefold())
    if request.lot and lot is None:
        raise unknown_record("lot", request.lot, [other.name for other in lots.values()])
    known = KnownPlants(collection, {plant.name: plant for plant in page.current(records.Plant)}, sightings_of(page))
    seed = _seed(known, request, named)
    names = request.pollen or _pollen_meant(known, request, lot, named)
    kind = request.without_names or (named.visits[0].pollen_kind if named and named.visits and not names else None)
    if kind not in _WITHOUT_NAMES:
        kind = "one" if len(names) == 1 else "several"
    pollen = tuple(known.find(name, genus_of(seed.species)) for name in names) if kind != "self" else (seed,)
    if lot is not None and lot.plant is not None and [one.id for one in pollen] != [lot.plant]:
        raise WrongUse(say("pollinate.other_lot", lot=lot.name))
    made, near = replace(request.visit, pollen_kind=kind), tuple(known.of_one_kind(seed))
    return Visit(made=made, seed=seed, pollen=pollen, lot=lot, near=near, named=named,
                 season_start=settings.season_start)  # fmt: skip


def _seed(known: KnownPlants, request: VisitRequest, named: CrossRecords | None) -> VisitParent:
    if named is None:
        if request.seed is None:
            raise WrongUse(say("pollinate.no_seed"))
        return known.find(request.seed)
    cross = named.cross
    own = known.called(cross.seed_plant, cross.seed_parent) or ""
    seed = known.find(own)
    given = seed if request.seed is None else known.find(request.seed)
    if (given.id, given.written) != (seed.id, seed.written):
        raise WrongUse(say("pollinate.other_seed", cross=cross.number or cross.id, seed=own))
    return seed


def _pollen_meant(
    known: KnownPlants, request: VisitRequest, lot: records.PollenLot | None, named: CrossRecords | None
) -> tuple[str, ...]:
    """Return the pollen parents that a lot, or the first visit to a cross, tells where none were named."""
    if lot is not None:
        name = known.called(lot.plant, lot.species)
        if name is None:
            raise WrongUse(say("pollinate.whose_lot", lot=lot.name))
        return (name,)
    if named is None or not named.visits or request.without_names or named.visits[0].pollen_kind == "self":
        return ()
    brought = [one for one in named.pollen if one.pollination == named.visits[0].id]
    return tuple(name for one in brought if (name := known.called(one.plant, one.name)))


def _refuse_contradictions(request: VisitRequest) -> None:
    kind, pollen, words = request.without_names, request.pollen, request.certainty
    wrong = {
        "kinds": len(request.kinds) > 1,
        "pollen_twice": bool(pollen and kind),
        "left_alone": request.left_alone and kind != "none",
        "no_pollen": not (pollen or kind or request.lot or request.cross),
        "lot_of_one": bool(request.lot) and (kind is not None or len(pollen) > 1),
        "certainties": len(words) > 1 and len(words) != len(pollen),
        "one_kind": bool(request.left_alone and request.check),
        "cross_or_number": bool(request.cross and request.begins.number),
    }
    key = next((key for key, is_wrong in wrong.items() if is_wrong), None)
    if key is not None:
        kinds = ", ".join(f"--{name}" for name in request.kinds)
        raise WrongUse(say(f"pollinate.{key}", kind=kind, kinds=kinds))


def pair_of(seed: VisitParent, pollen: Sequence[VisitParent]) -> tuple[Parent, Parent] | None:
    """Return the pairing that a visit makes: pollen of one species, from one plant where that is known; else None."""
    givers = [one.parent for one in pollen if one.parent is not None]
    if seed.parent is None or len(givers) < len(pollen) or len({one.label for one in givers}) != 1:
        return None
    return seed.parent, givers[0] if len(givers) == 1 else Parent(givers[0].label)


def _is_first_of_season(page: Reading, visit: Visit) -> bool:
    days = [visit.made.date, *(day for (day,) in page.columns(records.Pollination, "date"))]
    seasons = [season_of(day, visit.season_start) for day in days]
    return seasons[0] not in seasons[1:]


def _entry(visit: Visit, request: VisitRequest, overruled: str | None) -> PollinationEntry:
    made = replace(visit.made, overruled=overruled)
    n, lot = len(visit.pollen), visit.lot.id if visit.lot else None
    sure = (request.certainty if len(request.certainty) > 1 else request.certainty * n) or (None,) * n
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
    *others, new = [(one.date, one.hour, one.marker, one.unit_kind, one.units) for one in plan.visits]
    if plan.visit.units is None or plan.visit.flowers != "new" or new not in others:
        return []
    number = plan.cross.number or plan.cross.id
    return [Caution(_ENTERED_BEFORE, say("pollinate.twice", cross=number, date=spoken_date(plan.visit.date)))]


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


def _warnings(collection: Collection, visit: Visit, forecast: ForecastNow | None, kinds: set[str]) -> list[Caution]:
    """Return what may go wrong: names, the visit, and the pair, but nothing twice.

    Of the species of a formula some may be misspelt; any other name that is not known stops the visit. Of stored
    pollen it is no matter when its parent flowers.
    """
    written = dict.fromkeys(
        one.species for one in visit.parents if one.plant is None and one.parent is None and not one.unknown
    )
    spelling = [Caution("name", says) for name in written for says in misspelt(collection.index, name)]
    said = {"sex"} if QUERIED.keys() & kinds else set()
    said |= {"flowering"} if visit.lot is not None else set()
    of_the_pair = [one for one in (forecast.cautions if forecast else ()) if one.kind not in said]
    return [*spelling, *risks(visit), *of_the_pair]


def _answer(
    collection: Collection, visit: Visit, plan: PollinationRecords, forecast: ForecastNow | None,
    no_chance: str | None, hindrances: list[Caution], minded: list[Caution],
) -> Pollinated:  # fmt: skip
    kinds = {one.kind for one in hindrances}
    sides = [(MALE_SEED, visit.seed), *((FEMALE_POLLEN, one) for one in visit.pollen)]
    queried = [one for kind, one in sides if kind in kinds and one.sex == QUERIED[kind]]
    brought = zip(visit.pollen, plan.pollen, strict=True)
    notes = (*collection.notices, *(one.parent.read_as for one in visit.parents if one.parent))
    return Pollinated(
        cross=plan.cross.number or plan.cross.id,
        id=plan.cross.id,
        begun=plan.before is None,
        kind=plan.cross.kind,
        seed_parent=visit.seed.species,
        seed_plant=visit.seed.own_name,
        pollen=[PollinatedBy(one.name, one.species, one.own_name, record.certainty) for one, record in brought],
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
        obstacles=hindrances,
        warnings=_warnings(collection, visit, forecast, kinds),
        queries=[say("pollinate.query", plant=one.name, sex=one.sex) for one in queried],
        overruled=plan.visit.overruled,
        handling=minded,
        notes=[note for note in dict.fromkeys(notes) if note],
        invented=collection.settings.invented,
        written=True,
    )
