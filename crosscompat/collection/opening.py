"""Opening a collection: settings, tree, traits and cross book read at once, and every fault of them told at once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from crosscompat.book.crosses import Cross, Wanted, crosses_fingerprint, find_label, read_wanted
from crosscompat.book.current_plants import Plants
from crosscompat.book.records import GivenForecast
from crosscompat.carried import CarriedTree, carried_trees, formulas
from crosscompat.collection.settings import FILE_NAME, NewerFormat, Settings, book_place, open_book, read_settings
from crosscompat.ground.errors import BadInput, CrosscompatError, Fault, Place
from crosscompat.ground.synonyms import for_labels, read_synonyms
from crosscompat.ground.wording import say
from crosscompat.model.prior import Priors, published
from crosscompat.model.saved import SavedModel, read_model
from crosscompat.phylogeny.classification import (
    Placed,
    is_classification,
    place,
    place_for,
    ranks_among,
    ranks_said,
    read_classification,
)
from crosscompat.phylogeny.taxa import HybridIndex, Taxa
from crosscompat.phylogeny.tree import Distances, Phylogeny
from crosscompat.traits import TraitTable, read_traits

if TYPE_CHECKING:
    from crosscompat.phylogeny.formats import TreeSample


def with_missing(
    distances: Distances, traits: TraitTable | None, synonyms: Mapping[str, str], names: Iterable[str] = ()
) -> tuple[Distances, tuple[Placed, ...]]:
    """Return a tree with the species of the traits that it lacks, and which those are.

    A row of the traits is what says that a species exists; its ranks, or else the genus of its name, say where it
    belongs. A hybrid of species of the tree stands between them and is not missing, nor is what stands there under
    another name (``synonyms``: accepted name by name). What plants are taken for (``names``) is missing too where it
    says no more than where it belongs ("Echinocereus sect. Triglochidiati"). A table of distances, and a tree without
    clades, stay as is.
    """
    somewhere = {name: ranks for name in names if (ranks := ranks_said(name))}
    if not isinstance(distances, Phylogeny) or (traits is None and not somewhere):
        return distances, ()
    index, tips = _index(distances, synonyms), set(distances.tips)
    known: dict[str, Mapping[str, str]] = {}
    missing: dict[str, Mapping[str, str]] = {}
    for species, ranks in {**(ranks_by_species(traits) if traits else {}), **somewhere}.items():
        label = find_label(index, species)
        if label is None:
            missing[species] = ranks
        elif label in tips:
            known[label] = ranks
    placed = place_for(distances, known, missing)
    return place(distances, placed), placed


def _index(distances: Distances, synonyms: Mapping[str, str]) -> HybridIndex:
    return HybridIndex(distances.tips, for_labels({**formulas(), **synonyms}, distances.tips))


def ranks_by_species(traits: TraitTable) -> dict[str, dict[str, str]]:
    """Return the ranks that a trait table knows of each species."""
    columns = {column.name: column.values for column in traits.columns}
    ranks = ranks_among(columns)
    return {
        species: {rank: str(columns[rank][row]) for rank in ranks if columns[rank][row] is not None}
        for row, species in enumerate(traits.species)
    }


MODEL_FILE = "model.json"
_T = TypeVar("_T")


@dataclass(frozen=True)
class Collection:
    """Everything a grower keeps in one folder; ``folder`` is None for a tree that comes with the package.

    ``tree_name`` is what the tree is called on screens and ``sample`` what it is a summary of, ``saved`` the model of
    the last retraining, ``notices`` what opening could not use, ``forecasts`` those that were given, in the order in
    which they were written, ``synonyms`` accepted names by name. Species ``placed`` are those that the tree lacks and
    the traits put in a group of it; they are tips of ``distances``.
    """

    folder: Path | None
    settings: Settings
    distances: Distances
    tree_name: str
    traits: TraitTable | None = None
    plants: Plants = field(default_factory=lambda: Plants.of([]))
    crosses: tuple[Cross, ...] = ()
    wanted: tuple[Wanted, ...] = ()
    saved: SavedModel | None = None
    notices: tuple[str, ...] = ()
    forecasts: tuple[GivenForecast, ...] = ()
    placed: tuple[Placed, ...] = ()
    synonyms: Mapping[str, str] = field(default_factory=dict)
    sample: TreeSample | None = None

    @property
    def index(self) -> HybridIndex:
        """All that has a place: the species of the tree, by their synonyms too, and hybrids of them."""
        return self.taxa.index

    @cached_property
    def taxa(self) -> Taxa:
        """Where species and hybrids stand; named hybrids are known by their published parents."""
        return Taxa(self.distances, _index(self.distances, self.synonyms), self.placed, self.sample)

    @cached_property
    def priors(self) -> Priors:
        """The published priors, with what the settings change of them."""
        return published().changed(self.settings.priors)

    @cached_property
    def fingerprints(self) -> Mapping[str, str]:
        """What a model was fitted on: tree, traits, crosses and priors, each as SHA-256, and which book, if known."""
        book, tree = self.settings.book_id, self.distances.fingerprint
        if self.synonyms:  # a tree asked by other names is another tree
            text = json.dumps([tree, sorted(self.synonyms.items())], ensure_ascii=False)
            tree = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
        return ({"book": book} if book else {}) | {
            "tree": tree,
            "traits": self.traits.fingerprint if self.traits is not None else "",
            "crosses": crosses_fingerprint(self.crosses),
            "priors": self.priors.fingerprint,
        }

    def trait(self, label: str, column: str) -> Any:
        """Return what is known of a species, or None: unknown, or no such column."""
        if self.traits is None or all(known.name != column for known in self.traits.columns):
            return None
        species = self.traits.index.find(label)
        return None if species is None else self.traits.value(species, column)

    def source_of(self, label: str, column: str) -> str | None:
        """Return where what is known of a species is from; None where it is unknown, or nothing says so."""
        if self.trait(label, column) is None or self.traits is None:
            return None
        return self.traits.source_of(str(self.traits.index.find(label)), column)


def open_collection(folder: Path, *, crosses: bool = True) -> Collection:
    """Open the collection in a folder.

    Its ``crosses`` and forecasts, which take a second in a book of a hundred thousand observations, may be left
    unread; without a saved model they are read in any case, for the prior asks how crosses are kept.

    Raises
    ------
    BadInput
        With the faults of every file in it; nothing has been changed then.
    FileNotFoundError
        If the folder holds no settings.
    """
    faults: list[Fault] = []
    settings = _attempt(faults, read_settings, folder / FILE_NAME)

    def part(read: Callable[[Path, Settings], _T]) -> _T | None:
        return _attempt(faults, read, folder, settings) if settings else None

    distances, traits, synonyms, sample = part(_distances), part(_traits), part(_synonyms) or {}, part(_sample)
    path = folder / "wanted.csv"
    wanted = (_attempt(faults, read_wanted, path) if path.exists() else None) or ()
    if faults or settings is None or distances is None:
        raise BadInput(faults)
    saved, notices = _model(folder / MODEL_FILE)
    found = read_book(folder, settings, crosses=crosses or saved is None)
    book = {item.name: getattr(found, item.name) for item in fields(found)}
    more = {"wanted": wanted, "saved": saved, "notices": notices, "sample": sample}
    return _collection(folder, settings, distances, traits, synonyms, **book, **more)


def open_carried(carried: CarriedTree) -> Collection:
    """Open a tree that comes with the package, as a collection without records."""
    name, synonyms = carried.name, carried.name if carried.synonyms else None
    words: dict[str, Any] = {"group": carried.group, "fruit_word": carried.fruit_word, "tree_unit": carried.unit}
    settings = Settings(name=carried.title, tree=name, traits=name, synonyms=synonyms, **words)
    distances, traits = _distances(Path(), settings), _traits(Path(), settings)
    return _collection(None, settings, distances, traits, _synonyms(Path(), settings))


def _collection(
    folder: Path | None,
    settings: Settings,
    distances: Distances,
    traits: TraitTable | None,
    synonyms: Mapping[str, str],
    **more: Any,
) -> Collection:
    """Return a collection in which tree and traits know each other's species."""
    traits = replace(traits, synonyms={**formulas(), **synonyms}) if traits is not None else None
    names = [plant.species for plant in more["plants"].by_name.values()] if "plants" in more else []
    wider, placed = with_missing(distances, traits, synonyms, names) if settings.place_missing else (distances, ())
    return Collection(folder, settings, wider, settings.tree, traits, placed=placed, synonyms=synonyms, **more)


def _attempt(faults: list[Fault], read: Callable[..., _T], *where: Any) -> _T | None:
    """Read one of several files; its faults are added to those of the others."""
    try:
        return read(*where)
    except (NewerFormat, FileNotFoundError):
        raise
    except BadInput as bad:
        faults += bad.faults
    except (CrosscompatError, OSError) as error:
        faults.append(Fault(Place(FILE_NAME), str(error)))
    return None


def _distances(folder: Path, settings: Settings) -> Distances:
    carried = _carried(settings.tree)
    path = carried.tree if carried else folder / settings.tree
    unit = settings.tree_unit or (carried.unit if carried else None)
    return tree_or_table(path, unit=unit, index=settings.tree_index)


def tree_or_table(path: Path, *, unit: str | None, index: int | None) -> Distances:
    """Return the tree of a file, or of a CSV the checklist's tree or the table; raises a `BadInput` of every fault."""
    if path.suffix.lower() == ".csv":
        if is_classification(path):
            return read_classification(path)
        from crosscompat.phylogeny.distances import read_distances  # noqa: PLC0415 - most collections have a tree

        return read_distances(path, unit=unit)
    from crosscompat.phylogeny.formats import read_tree  # noqa: PLC0415 - a tree is read once

    return read_tree(path, unit=unit, index=index)


def _traits(folder: Path, settings: Settings) -> TraitTable | None:
    if settings.traits is None:
        return None
    if carried := _carried(settings.traits):
        return read_traits(carried.traits, {**carried.trait_kinds, **settings.trait_kinds})
    return read_traits(folder / settings.traits, settings.trait_kinds)


def _synonyms(folder: Path, settings: Settings) -> dict[str, str]:
    if settings.synonyms is None:
        return {}
    carried = _carried(settings.synonyms)
    path = carried.synonyms if carried else folder / settings.synonyms
    return read_synonyms(path) if path else {}


def _sample(folder: Path, settings: Settings) -> TreeSample | None:
    if settings.tree_sample is None:
        return None
    from crosscompat.phylogeny.formats import read_sample  # noqa: PLC0415 - few collections have one

    return read_sample(folder / settings.tree_sample, unit=settings.tree_unit)


def _carried(name: str) -> CarriedTree | None:
    """Return the carried tree that a setting names; a name with an ending is a file, and no tree need be read."""
    return None if "." in name else next((tree for tree in carried_trees() if tree.name == name), None)


def _model(path: Path) -> tuple[SavedModel | None, tuple[str, ...]]:
    """Read the saved model; one that cannot be read is told and done without, for it can be made anew."""
    try:
        return (read_model(path) if path.exists() else None), ()
    except (BadInput, OSError) as error:
        return None, (str(error),)


@dataclass(frozen=True, slots=True)
class Recorded:
    """Plants, crosses and the forecasts that were given, as they stand."""

    plants: Plants = field(default_factory=lambda: Plants.of([]))
    crosses: tuple[Cross, ...] = ()
    forecasts: tuple[GivenForecast, ...] = ()


def read_book(folder: Path, settings: Settings, *, crosses: bool = True) -> Recorded:
    """Read the cross book of a collection, all or the plants alone; one that is not there yet holds nothing."""
    place = book_place(folder, settings)
    if isinstance(place, Path) and not place.exists():
        return Recorded()
    from crosscompat.book.cross_summary import crosses_of  # noqa: PLC0415 - no records need no database
    from crosscompat.book.current_plants import plants_of, species_of  # noqa: PLC0415 - as above

    with open_book(folder, settings) as store, store.reading() as page:
        species = species_of(page)
        plants = plants_of(page, species)
        return Recorded(plants, crosses_of(page, species), page.current(GivenForecast)) if crosses else Recorded(plants)


def add_forecasts(folder: Path, settings: Settings, given: Iterable[GivenForecast]) -> int:
    """Write forecasts into the cross book that do not stand there yet, and return how many those were."""
    with open_book(folder, settings) as store, store.writing(say("recorded.forecasts")) as pen:
        known = set(pen.current(GivenForecast))
        fresh = [one for one in dict.fromkeys(given) if one not in known]
        pen.add(*fresh)
    return len(fresh)
