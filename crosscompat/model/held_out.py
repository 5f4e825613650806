"""Which crosses are held out together, and what a model may learn from meanwhile.

Every function takes the parents or the season of each cross and returns folds of places among them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Fold", "by_pair", "by_season", "by_species", "pair_numbers"]

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

MOST = 40
FOLDS = 20


@dataclass(frozen=True, slots=True)
class Fold:
    """Crosses that are forecast by a model which has not seen them.

    Attributes
    ----------
    held : ndarray of int, shape (n_held,)
        Places of the crosses held out, in order.
    train : ndarray of int, shape (n_train,)
        Places of those that the model is fitted on, in order.
    """

    held: Ints
    train: Ints


def by_pair(seed: ArrayLike, pollen: ArrayLike, most: int = MOST) -> list[Fold]:
    """Hold out pair after pair, both directions together, so that every cross is held out once.

    Parameters
    ----------
    seed, pollen : array_like, shape (n_crosses,)
        Parents of each cross, by name or number.
    most : int
        Where there are more pairs than this, they are dealt out to twenty folds, by a fixed shuffle.

    Returns
    -------
    list of Fold
        All crosses but those held out are learned from.

    Examples
    --------
    >>> [fold.held.tolist() for fold in by_pair(["a", "b", "a"], ["b", "a", "c"])]
    [[0, 1], [2]]
    """
    pair = pair_numbers(seed, pollen)
    return [_fold(np.isin(pair, together)) for together in _dealt(np.unique(pair), most)]


def by_species(
    seed: ArrayLike, pollen: ArrayLike, most: int = MOST, comes_of: Mapping[str, Collection[str]] | None = None
) -> list[Fold]:
    """Hold out species after species, with every cross in which it is a parent.

    A cross of two species is held out twice, once with each of its parents; one within a species once.

    Parameters
    ----------
    seed, pollen : array_like, shape (n_crosses,)
        Parents of each cross, by name or number.
    most : int
        Where there are more species than this, so many of them are drawn, always the same.
    comes_of : mapping of str to collection of str, optional
        The species of each hybrid among the parents.

    Returns
    -------
    list of Fold
        No cross learned from has the species as a parent, or a hybrid that comes of it.

    Examples
    --------
    >>> [fold.held.tolist() for fold in by_species(["a", "b"], ["b", "c"])]
    [[0], [0, 1], [1]]
    >>> [fold.train.tolist() for fold in by_species(["a", "axb"], ["c", "d"], comes_of={"axb": "ab"})]
    [[], [0], [1], [0]]
    """
    mother, father = np.asarray(seed), np.asarray(pollen)
    species = np.unique(np.concatenate([mother, father]))
    if species.size > most:
        species = species[np.sort(np.random.default_rng(0).permutation(species.size)[:most])]
    folds = []
    for one in species:
        hybrids = [name for name, parts in (comes_of or {}).items() if one in parts]
        held = (mother == one) | (father == one)
        told = held | np.isin(mother, hybrids) | np.isin(father, hybrids)
        folds.append(Fold(np.flatnonzero(held), np.flatnonzero(~told)))
    return folds


def by_season(season: ArrayLike) -> list[Fold]:
    """Hold out season after season and learn from the seasons before only; the first is not held out.

    Parameters
    ----------
    season : array_like of int, shape (n_crosses,)

    Examples
    --------
    >>> [(fold.held.tolist(), fold.train.tolist()) for fold in by_season([2024, 2022, 2023, 2022])]
    [([2], [1, 3]), ([0], [1, 2, 3])]
    """
    year = np.asarray(season, dtype=np.int64)
    return [Fold(np.flatnonzero(year == one), np.flatnonzero(year < one)) for one in np.unique(year)[1:]]


def pair_numbers(seed: ArrayLike, pollen: ArrayLike) -> Ints:
    """Return a number for the pair of each cross, the same for both of its directions, shape (n_crosses,).

    Examples
    --------
    >>> pair_numbers(["a", "b", "a"], ["b", "a", "c"])
    array([0, 0, 1])
    """
    sides = np.column_stack([np.asarray(seed), np.asarray(pollen)])
    _, number = np.unique(sides, return_inverse=True)
    number = np.sort(number.reshape(sides.shape), axis=1).astype(np.int64)
    key = number[:, 0] * (number.max(initial=0) + 1) + number[:, 1]
    return np.unique(key, return_inverse=True)[1].astype(np.int64)


def _dealt(pairs: Ints, most: int) -> list[Ints]:
    if pairs.size <= most:
        return [pairs[i : i + 1] for i in range(pairs.size)]
    return np.array_split(np.random.default_rng(0).permutation(pairs), FOLDS)


def _fold(held: Flags) -> Fold:
    return Fold(np.flatnonzero(held), np.flatnonzero(~held))
