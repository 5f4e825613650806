"""The two sides of a pairing, and what stands in its way or makes its chance less sure than it looks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from crosscompat.book.crosses import Cross, find_label
from crosscompat.book.current_plants import Plant
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import NoPairing, UnknownName
from crosscompat.ground.names import correct_form, fold, genus_of, one_of
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Parents, Seen
from crosscompat.model.training_set import fruitful

_UNISEXUAL = ("dioecious", "mostly dioecious")
_FEWEST_CROSSES = 10
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Parent:
    """One side of a pairing: the species as the tree writes it, of a hybrid the formula, and the plant that was named.

    ``read_as`` says how the name was read, where that is not plain.
    """

    label: str
    plant: Plant | None = None
    read_as: str = ""

    @property
    def name(self) -> str:
        """The species in correct form, genus in full."""
        return correct_form(self.label)

    @property
    def own_name(self) -> str | None:
        """The plant's own name; None where only a species is known."""
        return self.plant.plant if self.plant else None

    @property
    def called(self) -> str:
        """The plant's own name, else the species."""
        return self.own_name or self.name


def find_parents(collection: Collection, seed: str, pollen: str) -> tuple[Parent, Parent]:
    """Return both sides of a pairing; an abbreviated genus of the second is that of the first.

    One that stands nowhere raises `UnknownName` with the nearest, two of one plant or its offsets `NoPairing`.
    """
    seed_parent = find_parent(collection, seed)
    pollen_parent = find_parent(collection, pollen, genus_of(seed_parent.label))
    if collection.plants.one_clone(seed_parent.own_name, pollen_parent.own_name):
        raise NoPairing(say("parents.one_clone", seed=seed, pollen=pollen))
    return seed_parent, pollen_parent


def find_parent(collection: Collection, text: str, genus: str | None = None) -> Parent:
    """Return one side of a pairing: a plant by its own name, else a species or a hybrid, or raise `UnknownName`."""
    plant = collection.plants.find(text.strip())
    try:
        match = collection.index.match(plant.species if plant else text, genus)
    except UnknownName as fault:
        raise fault if plant else _with_plants(collection, text, fault) from None
    plain = match.how in {"exact", "parsed"} or fold(match.received) == match.label
    return Parent(match.label, plant, "" if plain else match.sentence)


def _with_plants(collection: Collection, text: str, fault: UnknownName) -> UnknownName:
    """Return the fault with the plants of like names before the species, where what was typed could be a plant's."""
    codes = {name.casefold(): name for name in collection.plants.by_name}
    typed = text.strip().casefold()
    like = sorted(codes[code] for code in get_close_matches(typed, codes)) if any(map(str.isdigit, typed)) else []
    if not like:
        return fault
    nearest = [*like, *fault.nearest][:3]
    return UnknownName(say("names.unknown", name=text, nearest=one_of(nearest)), text, nearest)


def uneven_parents(collection: Collection, seen: Seen, parents: Parents) -> Floats:
    """Count the parents that are hybrids with uneven chromosomes and have no cross seen yet, shape (n_pairs,)."""
    counted = np.zeros(len(parents.seed))
    for labels, plants in ((parents.seed, parents.seed_plants), (parents.pollen, parents.pollen_plants)):
        sides = list(zip(labels, list(plants) or [None] * len(labels), strict=True))
        uneven = {
            side: side[0] not in seen.species and _uneven_note(collection, *side) for side in dict.fromkeys(sides)
        }
        counted += [bool(uneven[side]) for side in sides]
    return counted


def hybrid_notes(collection: Collection, parent: Parent) -> list[str]:
    """Return where a hybrid parent stands, and whether its chromosomes are uneven or it has proved fertile."""
    plant = collection.taxa.pedigree(parent.label)
    if plant.parents is None:
        return []
    unit = collection.distances.unit
    shares = (
        say("hybrids.share", name=correct_form(species), share=f"{100 * share:.3g}")
        for species, share in plant.shares.items()
    )
    place = {
        "distance": f"{collection.taxa.apart(*([side] for side in plant.parents))[0]:.3g}",
        "unit": f" {unit}" if unit else "",
        "shares": ", ".join(shares),
    }
    clone, name = parent.plant.clone if parent.plant else None, parent.called
    proved = say("hybrids.proved", name=name) if proved_fertile(collection, parent.label, clone) else None
    notes = (say("hybrids.between", name=name, **place), _uneven_note(collection, parent.label, clone, name), proved)
    return [note for note in notes if note]


def expected_chromosomes(collection: Collection, label: str) -> float | None:
    """Return the 2n of a species; of a hybrid without a count half of each parent's. None where one is not known.

    The parents' own gametes are taken for reduced ones; where they are not, count the plant.
    """
    count = collection.trait(label, "2n")
    if isinstance(count, int):
        return float(count)
    counts = _parents_chromosomes(collection, label)
    return None if counts is None else sum(counts) / 2


def _parents_chromosomes(collection: Collection, hybrid: str) -> tuple[float, float] | None:
    counts = [expected_chromosomes(collection, parent) for parent in collection.taxa.pedigree(hybrid).parents or ()]
    known = [count for count in counts if count is not None]
    return (known[0], known[1]) if len(known) > 1 else None


def proved_fertile(collection: Collection, label: str, clone: str | None = None) -> bool:
    """Tell whether the book has a seedling of this clone; of the hybrid, if none is named."""
    return any(fruitful(cross) is True and _took_part(collection, cross, label, clone) for cross in collection.crosses)


def _uneven_note(collection: Collection, label: str, clone: str | None, name: str = "") -> str | None:
    """Tell of uneven chromosomes; a count, best of the clone, goes before what its parents let expect."""
    if not collection.taxa.pedigree(label).is_hybrid:
        return None
    [counted] = collection.plants.chromosomes([clone])
    own = collection.trait(label, "2n") if counted is None else counted
    if isinstance(own, int):
        return say("hybrids.odd", name=name, count=own) if own % 2 else None
    counts = _parents_chromosomes(collection, label)
    if counts is None or counts[0] == counts[1]:
        return None
    return say("hybrids.uneven", name=name, seed=f"{counts[0]:g}", pollen=f"{counts[1]:g}")


def _took_part(collection: Collection, cross: Cross, label: str, clone: str | None) -> bool:
    if clone is not None:
        named = (name for name in (cross.seed_plant, cross.pollen_plant) if name is not None)
        return clone in map(collection.plants.clone, named)
    sides = ((cross.seed_parent, None), (cross.pollen_parent, genus_of(cross.seed_parent)))
    return any(name is not None and find_label(collection.index, name, genus) == label for name, genus in sides)


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to know before the brush is taken out.

    Attributes
    ----------
    kind : str
        ``sex``, ``ploidy``, ``flowering``, ``hybrid``, ``placed``, ``outside``, ``unseen``, ``unknown``, ``few``,
        ``handling``, ``permits``, ``escaping``, ``name``, or a risk of `book.rules`.
    """

    kind: str
    says: str


def cautions(collection: Collection, model: FittedModel, seed: Parent, pollen: Parent, row: Floats) -> list[Caution]:
    """Return what to know about one directed pairing, the gravest first.

    ``row`` are the pairing's numbers, shape (n_features,), NaN where unknown; the model says what it has seen.
    """
    return [
        Caution(kind, says)
        for kind, says in (*_of_both(collection, seed, pollen), *_unsure(collection, model, seed, pollen, row))
    ]


def handling(collection: Collection) -> list[Caution]:
    """Return the cautions of the plant group, which concern hands, eyes and the law rather than one pairing."""
    group = collection.settings.group
    return [Caution("handling", say(f"cautions.handling.{group}"))] if group else []


def _of_both(collection: Collection, seed: Parent, pollen: Parent) -> Iterator[tuple[str, str]]:
    """Yield what stands in the way by what is known of the two."""
    for parent, other_sex, key in ((seed, "male", "seed"), (pollen, "female", "pollen")):
        sex = parent.plant.sex if parent.plant else None
        if sex == other_sex:
            yield "sex", say(f"cautions.sex.{key}_plant", plant=parent.own_name, name=parent.name)
        elif sex in {None, "unknown"} and collection.trait(parent.label, "sex") in _UNISEXUAL:
            yield "sex", say(f"cautions.sex.{key}_species", name=parent.name)
    ours, theirs = (chromosomes_of(collection, parent) for parent in (seed, pollen))
    if None not in (ours, theirs) and ours != theirs:
        yield "ploidy", say("cautions.ploidy", seed=ours, pollen=theirs)
    first, second = (collection.trait(parent.label, "flowering") for parent in (seed, pollen))
    if isinstance(first, frozenset) and isinstance(second, frozenset) and not first & second:
        yield "flowering", say("cautions.flowering", pollen=correct_form(pollen.label))
    for note in dict.fromkeys(note for parent in (seed, pollen) for note in hybrid_notes(collection, parent)):
        yield "hybrid", note
    labels = collection.taxa.species_of([seed.label, pollen.label])
    for each in collection.placed:
        if each.species in labels:
            yield "placed", say("cautions.placed", name=correct_form(each.species), group=each.group)


def _unsure(
    collection: Collection, model: FittedModel, seed: Parent, pollen: Parent, row: Floats
) -> Iterator[tuple[str, str]]:
    """Yield parents farther apart than any learned from, not seen at all, or of few crosses, and unknown traits."""
    if model.seen.crosses:
        [apart] = collection.taxa.apart([seed.label], [pollen.label])
        if apart > model.seen.farthest * (1 + _ROUNDING):
            yield "outside", say("cautions.outside")
        for label in dict.fromkeys((seed.label, pollen.label)):
            if label not in model.seen.species:
                yield "unseen", say("cautions.unseen", name=correct_form(label))
        if model.seen.crosses < _FEWEST_CROSSES:
            yield "few", say("cautions.few", n=model.seen.crosses)
    columns = [model.recipe.features[j].column for j in np.flatnonzero(np.isnan(row))]
    if blank := dict.fromkeys(spoken(column) for column in columns if column is not None):
        yield "unknown", say("cautions.unknown", columns=", ".join(blank))


def chromosomes_of(collection: Collection, parent: Parent) -> int | None:
    """Return the 2n of one side: counted on the very plant, else that of its species; None if neither is known."""
    if parent.plant is not None and parent.plant.chromosomes is not None:
        return parent.plant.chromosomes
    count = collection.trait(parent.label, "2n")
    return count if isinstance(count, int) else None


def spoken(column: str) -> str:
    """Return a trait's column name as words: "flower length" of ``flower_length_mm``."""
    if column == "2n":
        return say("cautions.chromosome_number")
    return column.replace("_", " ").removesuffix(" mm")
