"""Who takes part in a visit: plants of the book, species, or whatever else was written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from crosscompat.advice.parents import Parent, find_parent
from crosscompat.advice.pollination_rules import Visit, VisitParent
from crosscompat.book import records
from crosscompat.book.cross_summary import CrossRecords, cross_records
from crosscompat.book.crosses import find_label
from crosscompat.book.current_plants import Plant, Sighting, sightings_of, usual_window
from crosscompat.book.find_records import find_cross, nearest_names, unknown_record
from crosscompat.book.numbers import read_pattern
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import correct_form, fold, genus_of, read_name
from crosscompat.ground.wording import say

_WITHOUT_NAMES = ("open", "self", "sib", "none")
_UNNAMED = ("sp.", "aff.", "cf.")


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
    lot = _lot(page, request.lot) if request.lot else None
    known = KnownPlants(collection, {plant.name: plant for plant in page.current(records.Plant)}, sightings_of(page))
    seed = _seed(known, request, named)
    names = request.pollen or _pollen_meant(known, request, lot, named)
    kind = request.without_names or (named.visits[0].pollen_kind if named and named.visits and not names else None)
    if kind not in _WITHOUT_NAMES:
        kind = "one" if len(names) == 1 else "several"
    pollen = tuple(known.find(name, genus_of(seed.species)) for name in names) if kind != "self" else (seed,)
    if lot is not None and lot.plant is not None and [one.id for one in pollen] != [lot.plant]:
        raise WrongUse(say("pollinate.other_lot", lot=lot.name))
    return Visit(
        made=replace(request.visit, pollen_kind=kind),
        seed=seed,
        pollen=pollen,
        lot=lot,
        near=tuple(known.of_one_kind(seed)),
        named=named,
        season_start=settings.season_start,
    )


@dataclass(frozen=True, slots=True)
class KnownPlants:
    """The plants of a book: their records by own name, and when each was seen by its identifier."""

    collection: Collection
    plants: Mapping[str, records.Plant]
    sightings: Mapping[str, Sequence[Sighting]]

    def find(self, text: str, genus: str | None = None) -> VisitParent:
        """Return one parent: a plant by its own name, else a species, else what was written.

        A name of which only the genus is sure (sp., cf., aff.), or the formula of a hybrid, needs no place on the tree.
        Any other that nothing here answers to has the reason under ``unknown``.
        """
        name = fold(text)
        plant = self.collection.plants.find(name)
        try:
            parent = find_parent(self.collection, name, genus)
        except UnknownName:
            parent = None
        if plant is not None:
            return self._with_plant(plant, parent)
        if parent is not None:
            selfs = self._species_is_self_fertile(parent)
            return VisitParent(parent.name, parent.name, parent=parent, self_fertile=selfs)
        read = read_name(name, genus)
        if read is not None and (read.parents is not None or read.qualifier in _UNNAMED):
            written = correct_form(name, genus)
            return VisitParent(written, written)
        index = self.collection.index
        near = [*nearest_names(name, self.collection.plants.by_name), *index.nearest(name, 1)]
        listed = ", ".join(correct_form(one) if one in index.labels else one for one in near)
        return VisitParent(name, name, unknown=say("pollinate.unknown", name=name, nearest=listed))

    def of_one_kind(self, seed: VisitParent) -> Iterator[VisitParent]:
        """Yield the other plants of the seed parent's own kind."""
        own, index = seed.parent.label if seed.parent else seed.species, self.collection.index
        for name, plant in self.collection.plants.by_name.items():
            if name != seed.name and (find_label(index, plant.species) or plant.species) == own:
                yield self._with_plant(plant, None)

    def called(self, plant: str | None, name: str | None) -> str | None:
        """Return the own name of the plant with an identifier, else the name that was written."""
        return next((known for known, one in self.plants.items() if one.id == plant), name)

    def _with_plant(self, plant: Plant, parent: Parent | None) -> VisitParent:
        record, selfs = self.plants[plant.plant], plant.self_fertile
        return VisitParent(
            plant.plant,
            parent.name if parent else plant.species,
            plant,
            record.id,
            record.place,
            parent,
            self._species_is_self_fertile(parent) if selfs is None and parent else selfs,
            usual_window(seen.date for seen in self.sightings.get(record.id, ()) if seen.flowers != 0),
        )

    def _species_is_self_fertile(self, parent: Parent) -> bool | None:
        value = self.collection.trait(parent.label, "self_fertile")
        return value if isinstance(value, bool) else None


def _lot(page: Reading, name: str) -> records.PollenLot:
    known = {lot.name.casefold(): lot for lot in page.current(records.PollenLot)}
    lot = known.get(name.strip().casefold())
    if lot is None:
        raise unknown_record("lot", name, [other.name for other in known.values()])
    return lot


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
