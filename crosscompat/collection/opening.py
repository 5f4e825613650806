"""Opening a collection: everything in it read at once, and every fault of it told at once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from crosscompat.book.crosses import Cross, Wanted, crosses_fingerprint, read_wanted
from crosscompat.book.current_plants import Plants
from crosscompat.book.placing import find_label
from crosscompat.book.records import GivenForecast
from crosscompat.carried import CarriedTree, carried_tree, carried_trees, formulas
from crosscompat.collection.recorded import read_book
from crosscompat.collection.settings import FILE_NAME, NewerFormat, Settings, read_settings
from crosscompat.ground.errors import BadInput, CrosscompatError, Fault, Place
from crosscompat.ground.synonyms import for_labels, read_synonyms
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

    Parameters
    ----------
    distances : Phylogeny or DistanceTable
        A table of distances, and a tree that tells no clades, stay as they are.
    traits : TraitTable or None
        A row is what says that a species exists; its ranks, or else the genus of its name, say where it belongs. A
        hybrid of species of the tree stands between them and is not missing.
    synonyms : mapping of str to str
        Accepted name by name: a species that stands on the tree under another name is not missing.
    names : iterable of str
        What plants are taken for; one that says no more than where it belongs ("Echinocereus sect. Triglochidiati") is
        missing too.
    """
    somewhere = {name: ranks for name in names if (ranks := ranks_said(name))}
    if not isinstance(distances, Phylogeny) or (traits is None and not somewhere):
        return distances, ()
    index = HybridIndex(distances.tips, for_labels({**formulas(), **synonyms}, distances.tips))
    tips = set(distances.tips)
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


def ranks_by_species(traits: TraitTable) -> dict[str, dict[str, str]]:
    """Return the ranks that a trait table knows of each species.

    Examples
    --------
    >>> from crosscompat.traits import TraitColumn
    >>> ranks_by_species(TraitTable(("a", "b"), (TraitColumn("section", "text", True, ("One", None)),)))
    {'a': {'section': 'One'}, 'b': {}}
    """
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
    """Everything a grower keeps in one folder.

    Attributes
    ----------
    folder : Path or None
        None for a tree that comes with the package, without a folder of the grower's own.
    settings : Settings
    distances : Phylogeny or DistanceTable
    tree_name : str
        What the tree is called on screens.
    traits : TraitTable or None
    plants : Plants
    crosses : tuple of Cross
    wanted : tuple of Wanted
    saved : SavedModel or None
        The model of the last retraining.
    notices : tuple of str
        What opening it could not use.
    forecasts : tuple of GivenForecast
        Those that were given so far, in the order of the file.
    placed : tuple of Placed
        Species that the tree lacks and the traits put in a group of it; they are tips of ``distances``.
    synonyms : mapping of str to str
        Accepted name by name.
    sample : TreeSample or None
        What the tree is a summary of.
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
        named = for_labels({**formulas(), **self.synonyms}, self.distances.tips)
        index = HybridIndex(self.distances.tips, named)
        return Taxa(self.distances, index, self.placed, self.sample)

    @cached_property
    def priors(self) -> Priors:
        """The published priors, with what the settings change of them."""
        return published().changed(self.settings.priors)

    @cached_property
    def fingerprints(self) -> Mapping[str, str]:
        """What a model was fitted on: tree, traits, crosses and priors, each as SHA-256, and which book, if known."""
        book = self.settings.book_id
        return ({"book": book} if book else {}) | {
            "tree": _with_synonyms(self.distances.fingerprint, self.synonyms),
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


def open_collection(folder: Path, *, crosses: bool = True, remember: bool = False) -> Collection:
    """Open the collection in a folder.

    Parameters
    ----------
    folder : Path
    crosses : bool
        Whether its crosses and forecasts are read, which takes a second in a book of a hundred thousand observations;
        without a saved model they are read in any case, for the prior asks how crosses are kept.
    remember : bool
        Whether what the book comes to and the tree are kept in the folder for the next time, in two files of ours.

    Raises
    ------
    BadInput
        With the faults of every file in it; nothing has been changed then.
    FileNotFoundError
        If the folder holds no settings.
    """
    reading = _Reading(folder)
    settings = reading.attempt(lambda: read_settings(folder / FILE_NAME))
    distances = reading.attempt(lambda: _distances(folder, settings)) if settings else None
    traits = reading.attempt(lambda: _traits(folder, settings)) if settings else None
    synonyms = (reading.attempt(lambda: _synonyms(folder, settings)) if settings else None) or {}
    sample = reading.attempt(lambda: _sample(folder, settings)) if settings else None
    wanted = reading.optional("wanted.csv", read_wanted) or ()
    if reading.faults or settings is None or distances is None:
        raise BadInput(reading.faults)
    saved, unread = _model(folder / MODEL_FILE)
    recorded = read_book(folder, settings, crosses=crosses or saved is None, remember=remember)
    more: dict[str, Any] = {"saved": saved, "notices": unread, "wanted": wanted, "sample": sample}
    more |= {"plants": recorded.plants, "crosses": recorded.crosses, "forecasts": recorded.forecasts}
    return _collection(folder, settings, distances, traits, synonyms, **more)


def open_carried(carried: CarriedTree) -> Collection:
    """Open a tree that comes with the package, as a collection without records."""
    settings = Settings(
        name=carried.title,
        tree=carried.name,
        traits=carried.name,
        synonyms=carried.name if carried.synonyms else None,
        tree_unit=carried.unit,
        group=carried.group,
        fruit_word=carried.fruit_word,
    )
    nowhere = Path()
    distances, traits = _distances(nowhere, settings), _traits(nowhere, settings)
    return _collection(None, settings, distances, traits, _synonyms(nowhere, settings))


def _collection(
    folder: Path | None,
    settings: Settings,
    distances: Distances,
    traits: TraitTable | None,
    synonyms: dict[str, str],
    **more: Any,
) -> Collection:
    """Return a collection in which tree and traits know each other's species."""
    traits = replace(traits, synonyms={**formulas(), **synonyms}) if traits is not None else None
    names = [plant.species for plant in more["plants"].by_name.values()] if "plants" in more else []
    wider, placed = with_missing(distances, traits, synonyms, names) if settings.place_missing else (distances, ())
    return Collection(folder, settings, wider, settings.tree, traits, placed=placed, synonyms=synonyms, **more)


@dataclass
class _Reading:
    """Gathers the faults of one file after the other."""

    folder: Path
    faults: list[Fault] = field(default_factory=list)

    def attempt(self, read: Callable[[], _T]) -> _T | None:
        try:
            return read()
        except (NewerFormat, FileNotFoundError):
            raise
        except BadInput as bad:
            self.faults += bad.faults
        except (CrosscompatError, OSError) as error:
            self.faults.append(Fault(Place(FILE_NAME), str(error)))
        return None

    def optional(self, name: str, read: Callable[[Path], _T]) -> _T | None:
        path = self.folder / name
        return self.attempt(lambda: read(path)) if path.exists() else None


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
        from crosscompat.phylogeny.table import read_distances  # noqa: PLC0415 - most collections have a tree

        return read_distances(path, unit=unit)
    from crosscompat.phylogeny.formats import read_tree  # noqa: PLC0415 - a tree is read once

    return read_tree(path, unit=unit, index=index)


def _traits(folder: Path, settings: Settings) -> TraitTable | None:
    if settings.traits is None:
        return None
    carried = _carried(settings.traits)
    if carried:
        return read_traits(carried.traits, {**carried.trait_kinds, **settings.trait_kinds})
    return read_traits(folder / settings.traits, settings.trait_kinds)


def _synonyms(folder: Path, settings: Settings) -> dict[str, str]:
    if settings.synonyms is None:
        return {}
    carried = _carried(settings.synonyms)
    if carried is None:
        return read_synonyms(folder / settings.synonyms)
    return read_synonyms(carried.synonyms) if carried.synonyms else {}


def _sample(folder: Path, settings: Settings) -> TreeSample | None:
    if settings.tree_sample is None:
        return None
    from crosscompat.phylogeny.formats import read_sample  # noqa: PLC0415 - few collections have one

    return read_sample(folder / settings.tree_sample, unit=settings.tree_unit)


def _with_synonyms(fingerprint: str, synonyms: Mapping[str, str]) -> str:
    """Tell a tree asked by other names from the same tree asked by its own."""
    if not synonyms:
        return fingerprint
    text = json.dumps([fingerprint, sorted(synonyms.items())], ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _carried(name: str) -> CarriedTree | None:
    """Return the carried tree that a setting names; a name with an ending is a file."""
    if "." in name:
        return None
    return carried_tree(name) if name in {tree.name for tree in carried_trees()} else None


def _model(path: Path) -> tuple[SavedModel | None, tuple[str, ...]]:
    """Read the saved model; one that cannot be read is told and done without, for it can be made anew."""
    if not path.exists():
        return None, ()
    try:
        return read_model(path), ()
    except (BadInput, OSError) as error:
        return None, (str(error),)
