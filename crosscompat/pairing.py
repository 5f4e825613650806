"""A pairing becomes one row of numbers, by a frozen recipe that is saved with the model.

Unknown stays unknown: a feature that cannot be told for a pairing is NaN, never "no".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.phylogeny.taxa import Pedigree
from crosscompat.phylogeny.tree import Distances
from crosscompat.traits import FEATURES, TRAIT_KINDS, TraitTable

Floats = NDArray[np.float64]

MILLION_YEARS = "My"

NOT_FEATURES = ("self_fertile",)
"""Columns that speak for a record and not for a pairing: a self-fertile mother makes an unchecked seedling doubtful."""


CURVES = ("time", "root", "linear", "square")
"""How a distance may bend a chance: by the logarithm of its millions of years, and by its root, itself and its square
against the usual distance on the tree. Which of them does is for the crosses to say."""

_MOST_SPECIES = 400
_YOUNG = 2.0
"""Millions of years below which time tells no more: 9 in 10 published crosses of such pairs work."""

_USUAL_TIME = np.log1p(8.0)
_FARTHEST = 2.0
_LEAST_WIDTH = 0.1
_QUARTILES_OF_A_NORMAL = 1.349


@dataclass(frozen=True, slots=True)
class DistanceScale:
    """What a distance is measured by: fixed by the tree alone, so that no record moves it.

    Attributes
    ----------
    width : float
        The median distance between two species of the tree, in its ``unit``.
    places : tuple of (str, float, float)
        Each curve with where its middle lies and how wide its middle half is, as the standard deviation of a normal;
        only millions of years ("My") have the curve "time".
    """

    width: float
    places: tuple[tuple[str, float, float], ...]
    unit: str | None = None

    def rows(self, distance: Floats) -> Floats:
        """Return each distance along every curve, shape (n_pairs, n_curves); NaN where it is unknown.

        Examples
        --------
        >>> scale = DistanceScale(2.0, (("linear", 1.0, 0.5),))
        >>> scale.rows(np.array([1.0, 2.0, 99.0])).ravel().tolist()
        [-1.0, 0.0, 2.0]
        """
        columns = [(_CURVE[name](distance, self.width) - centre) / spread for name, centre, spread in self.places]
        return np.clip(np.column_stack(columns), -_FARTHEST, _FARTHEST)


_CURVE: Mapping[str, Callable[[Floats, float], Floats]] = {
    "time": lambda distance, _: np.log1p(np.maximum(distance, _YOUNG)),
    "root": lambda distance, width: np.sqrt(np.maximum(distance, 0.0) / width),
    "linear": lambda distance, width: distance / width,
    "square": lambda distance, width: (distance / width) ** 2,
}


def scale_of(distances: Distances) -> DistanceScale:
    """Return the scale of a tree or a table of distances.

    Of more than 400 species, every so many-th is looked at. A gap in a table is passed over.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> scale_of(parse_newick("((a:1,b:1):2,(c:1,d:1):2);")).width
    6.0
    """
    tips = list(distances.tips)
    some = tips[:: -(-len(tips) // _MOST_SPECIES)] if tips else []
    matrix = np.asarray(distances.patristic_matrix(some), dtype=np.float64)
    apart = matrix[np.triu_indices(len(some), 1)]
    apart = apart[np.isfinite(apart)]
    width = float(np.median(apart)) if apart.size else 0.0
    width = width if width > 0 else 1.0
    places = []
    for name in CURVES:
        if name == "time":
            if distances.unit == MILLION_YEARS:
                places.append((name, float(_USUAL_TIME), 1.0))
            continue
        low, middle, high = np.quantile(_CURVE[name](apart, width), [0.25, 0.5, 0.75]) if apart.size else (0, 1, 1)
        places.append((name, float(middle), max(float(high - low) / _QUARTILES_OF_A_NORMAL, _LEAST_WIDTH)))
    return DistanceScale(width, tuple(places), distances.unit)


@dataclass(frozen=True, slots=True)
class Feature:
    """One number about a pairing.

    ``kind`` is one of ``CURVES``, or how the two parents' values of the trait ``column`` (None for the distance) are
    set against each other: ``both``, ``same``, ``lower``, ``higher``, ``ratio``, ``size``.
    """

    kind: str
    column: str | None = None

    @property
    def name(self) -> str:
        """The feature in one word or two, as saved and printed.

        Examples
        --------
        >>> Feature("time").name, Feature("lower", "2n").name
        ('time', '2n lower')
        """
        return self.kind if self.column is None else f"{self.column} {self.kind}"


@dataclass(frozen=True, slots=True)
class Recipe:
    """Which numbers a pairing is turned into: ``features`` in the order of a row's columns, the distance's first."""

    features: tuple[Feature, ...]
    scale: DistanceScale

    @property
    def names(self) -> tuple[str, ...]:
        """The features' names, in the order of a row's columns."""
        return tuple(feature.name for feature in self.features)

    @property
    def of_distance(self) -> NDArray[np.bool_]:
        """Which features are curves of the distance, shape (n_features,)."""
        return np.array([feature.column is None for feature in self.features], dtype=np.bool_)


def recipe_for(traits: TraitTable | None, scale: DistanceScale, *, left_out: Sequence[str] = ()) -> Recipe:
    """Return the recipe that uses the distance and every trait column that speaks for a pairing.

    Flags, categories, counts and measures become features; months, text, a column that is all blank, and those of
    ``NOT_FEATURES`` and ``left_out`` do not. ``scale`` is from `scale_of`.
    """
    features = [Feature(name) for name, _, _ in scale.places]
    for column in traits.columns if traits is not None else ():
        if column.known and column.name not in {*NOT_FEATURES, *left_out}:
            features += [Feature(name, column.name) for name in TRAIT_KINDS[column.kind].features]
    return Recipe(tuple(features), scale)


def pair_rows(
    recipe: Recipe,
    distance: Floats,
    traits: TraitTable | None,
    seed: Sequence[str],
    pollen: Sequence[str],
    own: Mapping[str, tuple[Floats, Floats]] | None = None,
    pedigree: Callable[[str], Pedigree] | None = None,
) -> Floats:
    """Return the rows of numbers of directed pairs, shape (n_pairs, n_features), NaN where a number is unknown.

    ``distance`` (n_pairs,) is in the unit of the recipe; a species that is absent from the ``traits`` is unknown
    throughout. ``own`` is by trait column of counts or flags what was found on the very seed plants and pollen plants,
    (n_pairs,) each: it overrides the species, and NaN leaves it. ``pedigree`` gives the species that a parent is of: a
    hybrid without a row of its own has what all of its species have. By default every parent is a species.
    """
    rows = np.full((len(seed), len(recipe.features)), np.nan)
    if recipe.of_distance.any():
        rows[:, recipe.of_distance] = recipe.scale.rows(np.asarray(distance, dtype=np.float64))
    seed_at, pollen_at = (_positions(traits, side, pedigree) for side in (seed, pollen))
    columns = {column.name: column for column in traits.columns} if traits is not None else {}
    for j, feature in enumerate(recipe.features):
        if feature.column in columns:
            column = columns[feature.column]
            codes = np.append(TRAIT_KINDS[column.kind].codes(column.values), np.nan)  # the last is of an absent species
            found = (own or {}).get(feature.column, (np.full(len(seed), np.nan),) * 2)
            both = zip(found, (_agreed(codes[seed_at]), _agreed(codes[pollen_at])), strict=True)
            rows[:, j] = FEATURES[feature.kind](*(np.where(np.isnan(mine), its, mine) for mine, its in both))
    return rows


def farther_rows(recipe: Recipe, distance: Floats, spread: Floats) -> Floats:
    """Return what rows gain where their distances are one standard deviation longer, shape (n_pairs, n_features).

    ``distance`` and ``spread``, shape (n_pairs,), are in the unit of the recipe; NaN for a spread leaves nothing open.
    """
    gain = np.zeros((len(distance), len(recipe.features)))
    longer = recipe.scale.rows(distance + np.nan_to_num(spread))
    gain[:, recipe.of_distance] = longer - recipe.scale.rows(distance)
    return gain


def _positions(
    traits: TraitTable | None, names: Sequence[str], pedigree: Callable[[str], Pedigree] | None
) -> NDArray[np.int64]:
    """Rows of the species of each parent in the trait table, shape (n_names, most), the first repeated to fill.

    The row past the last one stands for an absent species.
    """
    if traits is None:
        return np.zeros((len(names), 1), dtype=np.int64)
    row_of = {label: i for i, label in enumerate(traits.species)}
    absent = len(traits.species)
    found: dict[str, list[int]] = {}
    for name in dict.fromkeys(names):
        labels = [traits.index.find(name)]
        if labels == [None] and pedigree is not None:
            labels = [traits.index.find(species) for species in pedigree(name).shares]
        found[name] = [absent if label is None else row_of[label] for label in labels]
    most = max(map(len, found.values()), default=1)
    filled = {name: rows + rows[:1] * (most - len(rows)) for name, rows in found.items()}
    return np.array([filled[name] for name in names], dtype=np.int64).reshape(len(names), most)


def _agreed(codes: Floats) -> Floats:
    """Return what all in a row have, NaN where they differ or one is unknown; of shape (n_names,)."""
    return np.where((codes == codes[:, :1]).all(axis=1), codes[:, 0], np.nan)
