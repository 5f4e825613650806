"""A visit with the brush: who takes part, what stands in its way, which cross it is, and its chances now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Literal

from crosscompat.advice.cautions import Caution, handling
from crosscompat.advice.figures import Interval
from crosscompat.advice.forecast_now import ForecastNow, forecast_now
from crosscompat.advice.parents import Parent, find_parent
from crosscompat.book import records
from crosscompat.book.cross_summary import Units, in_all
from crosscompat.book.current_plants import Plant, Sighting, plants_of, sightings_of, usual_window
from crosscompat.book.entry import Bounds
from crosscompat.book.entry import pollination_rules as rules
from crosscompat.book.entry.enter_pollination import (
    PollinationEntry,
    PollinationRecords,
    named_cross,
    pollination_records,
    write_pollination,
)
from crosscompat.book.find_records import find_cross, nearest_names
from crosscompat.book.numbers import read_pattern
from crosscompat.book.placing import find_label
from crosscompat.book.store import Reading, Writing
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of, spoken_date
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import correct_form, fold, genus_of, read_name
from crosscompat.ground.wording import say

_WITHOUT_NAMES = ("open", "self", "sib", "none")
_UNNAMED = ("sp.", "aff.", "cf.")
_CHECKS = {"seed": "check of the seed parent", "pollen": "check of the pollen"}
_UNKNOWN_NAME, _ENTERED_BEFORE = "unknown name", "entered before"


@dataclass(frozen=True, slots=True)
class VisitParent:
    """One parent of a visit, as it was typed: a plant of the bench and its record, or the name of a species.

    A species with a place on the tree is in correct form and has a `Parent`. ``unknown`` says why a name is not known
    here at all, with the nearest; else it is empty.
    """

    plant: Plant | None
    record: records.Plant | None
    species: str
    parent: Parent | None
    unknown: str = ""

    @property
    def name(self) -> str:
        """The plant's own name, or the species."""
        return self.plant.plant if self.plant else self.species

    @property
    def own_name(self) -> str | None:
        """The plant's own name; None where only a species is known."""
        return self.plant.plant if self.plant else None

    @property
    def id(self) -> str | None:
        """The identifier of the plant's record."""
        return self.record.id if self.record else None

    @property
    def written(self) -> str | None:
        """What is written down as its name; None for a plant of the book."""
        return None if self.record else self.species


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitRequest:
    """A visit as the grower tells it; None is unknown.

    Attributes
    ----------
    visit, begins : records.Pollination, records.Cross
        What is said of the visit itself, and of the cross where it is a new one.
    seed : str or None
        A plant's own name or a species; None for that of the cross named.
    kinds : tuple of str
        ``open``, ``self``, ``sib`` or ``none`` in place of pollen parents.
    certainty : tuple of str
        One for all pollen parents, or one each.
    lot, cross : str or None
        The stored pollen, and the number of the cross that goes on.
    check : str or None
        ``seed`` or ``pollen``, where it is a check of a parent.
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
class VisitParents:
    """Who takes part in a visit, with the lot of stored pollen and the cross that were named.

    Pollen of the seed parent itself is that of a plant selfed on purpose; none is given where nobody knows.
    """

    seed: VisitParent
    pollen: tuple[VisitParent, ...]
    kind: str
    lot: records.PollenLot | None
    continues: records.Cross | None

    @property
    def all(self) -> tuple[VisitParent, ...]:
        """The seed parent, then the others."""
        return (self.seed, *self.pollen)


def find_parents_of_visit(
    collection: Collection, page: Reading, plants: Mapping[str, records.Plant], request: VisitRequest
) -> VisitParents:
    """Find who takes part in a visit.

    Raises
    ------
    UnknownName
        If the cross or the pollen lot is not known.
    WrongUse
        If the request contradicts itself, or the cross or the lot named is of other parents.
    """
    _refuse_contradictions(request)
    pattern = read_pattern(collection.settings.cross_number)
    continues = find_cross(page, request.cross, pattern) if request.cross else None
    names = {plant.id: name for name, plant in plants.items()}
    lot = _lot(page, request.lot) if request.lot else None
    seed = _seed(collection, plants, names, request, continues)
    genus = genus_of(seed.species)
    visit = page.find(records.Pollination, cross=continues.id) if continues else None
    given = request.pollen or _pollen_meant(page, names, request, lot, visit)
    kind = request.without_names or (visit.pollen_kind if visit and not given else None)
    if kind not in _WITHOUT_NAMES:
        kind = "one" if len(given) == 1 else "several"
    pollen = tuple(find_visit_parent(collection, plants, name, genus) for name in given)
    pollen = (seed,) if kind == "self" else pollen
    if lot is not None and lot.plant is not None and [one.id for one in pollen] != [lot.plant]:
        raise WrongUse(say("pollinate.other_lot", lot=lot.name))
    return VisitParents(seed, pollen, kind, lot, continues)


def _lot(page: Reading, name: str) -> records.PollenLot:
    known = {lot.name.casefold(): lot for lot in page.current(records.PollenLot)}
    lot = known.get(name.strip().casefold())
    if lot is None:
        near = nearest_names(name, [one.name for one in known.values()])
        hint = say("labels.nearest", numbers=", ".join(near)) if near else ""
        raise UnknownName(f"{say('pollinate.unknown_lot', name=name)} {hint}".strip(), name, near)
    return lot


def _seed(
    collection: Collection,
    plants: Mapping[str, records.Plant],
    names: Mapping[str, str],
    request: VisitRequest,
    continues: records.Cross | None,
) -> VisitParent:
    if request.seed is None and continues is None:
        raise WrongUse(say("pollinate.no_seed"))
    if continues is None:
        return find_visit_parent(collection, plants, request.seed or "")
    own = names.get(continues.seed_plant or "") or continues.seed_parent or ""
    seed = find_visit_parent(collection, plants, own)
    if request.seed is not None:
        given = find_visit_parent(collection, plants, request.seed)
        if (given.id, given.written) != (seed.id, seed.written):
            raise WrongUse(say("pollinate.other_seed", cross=continues.number or continues.id, seed=own))
    return seed


def _pollen_meant(
    page: Reading,
    names: Mapping[str, str],
    request: VisitRequest,
    lot: records.PollenLot | None,
    visit: records.Pollination | None,
) -> tuple[str, ...]:
    """Return the pollen parents that a lot, or the first visit to a cross, tells where none were named."""
    if lot is not None:
        name = names.get(lot.plant or "") or lot.species
        if name is None:
            raise WrongUse(say("pollinate.whose_lot", lot=lot.name))
        return (name,)
    if visit is None or request.without_names is not None or visit.pollen_kind == "self":
        return ()
    brought = page.current(records.Pollen, pollination=visit.id)
    return tuple(name for one in brought if (name := names.get(one.plant or "") or one.name))


def find_visit_parent(
    collection: Collection, plants: Mapping[str, records.Plant], text: str, genus: str | None = None
) -> VisitParent:
    """Return one parent: a plant by its own name, else a species, else what was written.

    A name of which only the genus is sure (sp., cf., aff.), or the formula of a hybrid, needs no place on the tree.
    Any other that nothing here answers to is told as ``unknown``. ``plants`` are those of the book by own name.
    """
    name = fold(text)
    plant = collection.plants.find(name)
    try:
        parent = find_parent(collection, name, genus)
    except UnknownName:
        parent = None
    if plant is not None:
        return VisitParent(plant, plants[plant.plant], parent.name if parent else plant.species, parent)
    if parent is not None:
        return VisitParent(None, None, parent.name, parent)
    read = read_name(name, genus)
    if read is not None and (read.parents is not None or read.qualifier in _UNNAMED):
        return VisitParent(None, None, correct_form(name, genus), None)
    near = [*nearest_names(name, collection.plants.by_name), *collection.index.nearest(name, 1)]
    listed = ", ".join(correct_form(one) if one in collection.index.labels else one for one in near)
    return VisitParent(None, None, name, None, say("pollinate.unknown", name=name, nearest=listed))


def rules_side(collection: Collection, one: VisitParent, sightings: Sequence[Sighting] = ()) -> rules.Side:
    """Return what the rules of pollination ask of a plant, or of a species for want of one."""
    selfs = one.plant.self_fertile if one.plant else None
    if selfs is None and one.parent is not None:
        value = collection.trait(one.parent.label, "self_fertile")
        selfs = value if isinstance(value, bool) else None
    window = usual_window(sighting.date for sighting in sightings if sighting.flowers != 0)
    return rules.Side(one.name, one.plant, selfs, window, one.record.place if one.record else None)


def misspelt(collection: Collection, text: str) -> list[str]:
    """Return a sentence for each species in a name that has no place on the tree but is spelt like one that has.

    None for a name of which only the genus is sure.
    """
    read = read_name(text)
    if read is None:
        return []
    if read.parents is not None:
        return [says for parent in read.parents for says in misspelt(collection, str(parent))]
    name = correct_form(text)
    if read.qualifier in _UNNAMED or find_label(collection.index, name) is not None:
        return []
    near = nearest_names(name, [correct_form(one) for one in collection.index.nearest(name, 3)])
    return [say("pollinate.unplaced", name=name, nearest=", ".join(near))] if near else []


def _refuse_contradictions(request: VisitRequest) -> None:
    kind, pollen, words = request.without_names, request.pollen, request.certainty
    unread = [word for word in words if word not in records.CERTAINTIES]
    wrong = {
        "kinds": len(request.kinds) > 1,
        "pollen_twice": bool(pollen and kind),
        "left_alone": request.left_alone and kind != "none",
        "no_pollen": not (pollen or kind or request.lot or request.cross),
        "lot_of_one": bool(request.lot) and (kind is not None or len(pollen) > 1),
        "certainty": bool(unread),
        "certainties": len(words) > 1 and len(words) != len(pollen),
        "one_kind": bool(request.left_alone and request.check),
        "cross_or_number": bool(request.cross and request.begins.number),
    }
    for key, is_wrong in wrong.items():
        if is_wrong:
            kinds = ", ".join(f"--{name}" for name in request.kinds)
            got = {
                "kind": kind,
                "kinds": kinds,
                "got": unread[0] if unread else "",
                "words": ", ".join(records.CERTAINTIES),
            }
            raise WrongUse(say(f"pollinate.{key}", **got))


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
    """Work out all about a visit and its chances today; nothing is written.

    Raises
    ------
    UnknownName
        If the cross or the pollen lot is not known.
    WrongUse
        If the request contradicts itself or the cross that it names.
    """
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
    record = forecast.record(collection.index, pair, plan.cross.id, today) if pair and forecast else None
    return Prepared(answer, plan, record)


def _entered_before(page: Reading, plan: PollinationRecords) -> list[rules.Remark]:
    """Ask about a visit that the book has already: the same day, place on the plant and count."""
    new = plan.visit
    if plan.before is None or new.units is None or new.flowers != "new":
        return []
    alike = ("date", "hour", "marker", "unit_kind", "units")
    told = [getattr(new, name) for name in alike]
    others = page.current(records.Pollination, cross=plan.cross.id)
    if all([getattr(other, name) for name in alike] != told for other in others):
        return []
    day = spoken_date(new.date)
    return [rules.Remark(_ENTERED_BEFORE, say("pollinate.twice", cross=plan.cross.number or plan.cross.id, date=day))]


def write_visit(pen: Writing, prepared: Prepared, bounds: Bounds) -> Pollinated:
    """Write a visit down, with its chances unless the same were told that day, and return the answer that says so.

    Raises
    ------
    WrongUse
        As `enter_pollination.write_pollination`.
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


def pair_of(seed: VisitParent, pollen: Sequence[VisitParent]) -> tuple[Parent, Parent] | None:
    """Return the pairing that a visit makes: pollen of one species, from one plant where that is known; else None."""
    givers = [one.parent for one in pollen if one.parent is not None]
    if seed.parent is None or len(givers) < len(pollen) or len({one.label for one in givers}) != 1:
        return None
    return seed.parent, givers[0] if len(givers) == 1 else Parent(givers[0].label)


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
