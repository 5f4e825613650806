"""A pairing becomes one row of numbers, by a frozen recipe that is saved with the model.

Unknown stays unknown: a feature that cannot be told for a pairing is NaN, never "no".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.trait_kinds import FEATURES, TRAIT_KINDS
from crosscompat.traits import TraitColumn, TraitTable

__all__ = ["FEATURE_KINDS", "NOT_FEATURES", "Feature", "Recipe", "compared", "pair_rows", "recipe_for", "trait_codes"]

Floats = NDArray[np.float64]

FEATURE_KINDS = ("distance", *FEATURES)

NOT_FEATURES = ("self_fertile",)
"""Columns that speak for a record and not for a pairing: a self-fertile mother makes an unchecked seedling doubtful."""


@dataclass(frozen=True, slots=True)
class Feature:
    """One number about a pairing.

    Attributes
    ----------
    kind : str
        ``distance``, or how the two parents' values of ``column`` are set against each other: ``both``, ``same``,
        ``lower``, ``higher``, ``ratio``, ``size``.
    column : str or None
        The trait; None for the distance.
    """

    kind: str
    column: str | None = None

    @property
    def name(self) -> str:
        """The feature in one word or two, as saved and printed.

        Examples
        --------
        >>> Feature("distance").name, Feature("lower", "2n").name
        ('distance', '2n lower')
        """
        return self.kind if self.column is None else f"{self.column} {self.kind}"


@dataclass(frozen=True, slots=True)
class Recipe:
    """Which numbers a pairing is turned into.

    Attributes
    ----------
    features : tuple of Feature
        In the order of the columns of a row.
    reference : float
        The distance that counts as 1, in the unit of the tree.
    unit : str or None
        That unit.
    """

    features: tuple[Feature, ...]
    reference: float
    unit: str | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The features' names, in the order of a row's columns."""
        return tuple(feature.name for feature in self.features)


def recipe_for(
    traits: TraitTable | None, reference: float, *, unit: str | None = None, left_out: Sequence[str] = ()
) -> Recipe:
    """Return the recipe that uses the distance and every trait column that speaks for a pairing.

    Parameters
    ----------
    traits : TraitTable or None
        Flags, categories, counts and measures become features; months, text, a column that is all blank, and those of
        ``NOT_FEATURES`` do not.
    reference : float
        The distance that counts as 1.
    unit : str, optional
        The unit of the distances.
    left_out : sequence of str
        Names of columns that the forecast shall not read.
    """
    features = [Feature("distance")]
    for column in traits.columns if traits is not None else ():
        if column.known and column.name not in {*NOT_FEATURES, *left_out}:
            features += [Feature(name, column.name) for name in TRAIT_KINDS[column.kind].features]
    return Recipe(tuple(features), float(reference), unit)


def pair_rows(
    recipe: Recipe,
    distance: Floats,
    traits: TraitTable | None,
    seed: Sequence[str],
    pollen: Sequence[str],
    own: Mapping[str, tuple[Floats, Floats]] | None = None,
) -> Floats:
    """Return the rows of numbers of directed pairs.

    Parameters
    ----------
    recipe : Recipe
        Which numbers, and the reference of the distance.
    distance : ndarray of float, shape (n_pairs,)
        Distance between the parents, in the unit of the recipe.
    traits : TraitTable or None
        The parents' traits; a species that is absent from it is unknown throughout.
    seed, pollen : sequence of str, length n_pairs
        Seed parents and pollen parents.
    own : mapping of str to (ndarray of float, ndarray of float), optional
        By trait column of counts or flags what was found on the very seed plants and pollen plants, each of shape
        (n_pairs,); it overrides the species, and NaN leaves it.

    Returns
    -------
    ndarray of float, shape (n_pairs, n_features)
        NaN where a number is unknown.
    """
    rows = np.full((len(seed), len(recipe.features)), np.nan)
    seed_at, pollen_at = _positions(traits, seed), _positions(traits, pollen)
    columns = {column.name: column for column in traits.columns} if traits is not None else {}
    for j, feature in enumerate(recipe.features):
        if feature.column is None:
            rows[:, j] = distance / recipe.reference
        elif feature.column in columns:
            codes = _codes(columns[feature.column])
            found = (own or {}).get(feature.column, (np.full(len(seed), np.nan),) * 2)
            both = zip(found, (codes[seed_at], codes[pollen_at]), strict=True)
            rows[:, j] = compared(feature, *(np.where(np.isnan(mine), its, mine) for mine, its in both))
    return rows


def trait_codes(recipe: Recipe, traits: TraitTable | None, species: Sequence[str]) -> tuple[Floats | None, ...]:
    """Return what each feature reads of each species: a number, NaN where unknown; None for the distance.

    Parameters
    ----------
    recipe : Recipe
    traits : TraitTable or None
        A species that is absent from it is unknown throughout.
    species : sequence of str

    Returns
    -------
    tuple of (n_species,) float array or None
        One a feature. Two parents' numbers become the pairing's by `compared`.
    """
    at = _positions(traits, species)
    read = {feature.column for feature in recipe.features}
    columns = traits.columns if traits is not None else ()
    codes = {column.name: _codes(column) for column in columns if column.name in read}
    unknown = np.full(len(species), np.nan)
    return tuple(
        None if name is None else codes[name][at] if name in codes else unknown
        for name in (feature.column for feature in recipe.features)
    )


def compared(feature: Feature, seed: Floats, pollen: Floats) -> Floats:
    """Return the numbers of pairings from those of their parents, which are broadcast together.

    Examples
    --------
    >>> compared(Feature("both", "paired_spines"), np.array([1.0, 1.0, np.nan]), np.array([1.0, 0.0, 0.0])).tolist()
    [1.0, 0.0, 0.0]
    """
    return FEATURES[feature.kind](seed, pollen)


def _positions(traits: TraitTable | None, names: Sequence[str]) -> NDArray[np.int64]:
    """Row of each species in the trait table; the row past the last one stands for an absent species."""
    if traits is None:
        return np.zeros(len(names), dtype=np.int64)
    row_of = {label: i for i, label in enumerate(traits.species)}
    absent = len(traits.species)
    found: dict[str, int] = {}
    for name in dict.fromkeys(names):
        label = traits.index.find(name)
        found[name] = absent if label is None else row_of[label]
    return np.fromiter((found[name] for name in names), dtype=np.int64, count=len(names))


def _codes(column: TraitColumn) -> Floats:
    """One number a species, NaN where unknown, and a last NaN for absent species."""
    return np.append(TRAIT_KINDS[column.kind].codes(column.values), np.nan)
