"""Who takes part in a visit: plants of the book, species, or whatever else was written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from crosscompat.advice.parents import Parent, find_parent
from crosscompat.book import records
from crosscompat.book.current_plants import Plant, Sighting, usual_window
from crosscompat.book.entry import pollination_rules as rules
from crosscompat.book.find_records import find_cross, nearest_names, unknown_record
from crosscompat.book.numbers import read_pattern
from crosscompat.book.placing import find_label
from crosscompat.book.store import Reading
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import UnknownName, WrongUse
from crosscompat.ground.names import correct_form, fold, genus_of, read_name
from crosscompat.ground.wording import say

_WITHOUT_NAMES = ("open", "self", "sib", "none")
_UNNAMED = ("sp.", "aff.", "cf.")


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
    UnknownName, WrongUse
        If the cross or the pollen lot is not known; if the request contradicts itself, or what it names is of other
        parents.
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
        raise unknown_record("lot", name, [other.name for other in known.values()])
    return lot


def _seed(
    collection: Collection,
    plants: Mapping[str, records.Plant],
    names: Mapping[str, str],
    request: VisitRequest,
    continues: records.Cross | None,
) -> VisitParent:
    if continues is None:
        if request.seed is None:
            raise WrongUse(say("pollinate.no_seed"))
        return find_visit_parent(collection, plants, request.seed)
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
    key = next((key for key, is_wrong in wrong.items() if is_wrong), None)
    if key is not None:
        kinds = ", ".join(f"--{name}" for name in request.kinds)
        got, allowed = unread[0] if unread else "", ", ".join(records.CERTAINTIES)
        raise WrongUse(say(f"pollinate.{key}", kind=kind, kinds=kinds, got=got, words=allowed))


def pair_of(seed: VisitParent, pollen: Sequence[VisitParent]) -> tuple[Parent, Parent] | None:
    """Return the pairing that a visit makes: pollen of one species, from one plant where that is known; else None."""
    givers = [one.parent for one in pollen if one.parent is not None]
    if seed.parent is None or len(givers) < len(pollen) or len({one.label for one in givers}) != 1:
        return None
    return seed.parent, givers[0] if len(givers) == 1 else Parent(givers[0].label)
