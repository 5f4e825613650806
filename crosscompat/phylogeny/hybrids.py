"""Hybrids: what share each species has in one, and how far it stands from others for that."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import Match, NameIndex, PlantName, correct_form, fold, parse
from crosscompat.phylogeny.name_lookup import Distances
from crosscompat.phylogeny.types import Floats, Ints

__all__ = ["HybridIndex", "Pairs", "Pedigree", "pairs_of", "share_matrix", "weighted_pairs"]


@dataclass(frozen=True, slots=True)
class Pedigree:
    """Whose offspring a plant is, down to species of the tree.

    ``label`` is one of the tree, or the formula of a hybrid, whose ``parents`` are the labels of its seed and pollen
    parents. ``shares`` by label of the tree sum to 1; a species has all of itself.
    """

    label: str
    shares: Mapping[str, float]
    parents: tuple[str, str] | None = None

    @property
    def is_hybrid(self) -> bool:
        """Whether it has parents of its own."""
        return self.parents is not None


class HybridIndex(NameIndex):
    """Finds names as `NameIndex` does, and hybrid formulas whose parents are found.

    A name comes before a formula: a hybrid that stands on the tree itself is that tip. The label of a hybrid is the
    formula of its parents' labels in correct form; of a cross within a species it is the species.

    Examples
    --------
    >>> index = HybridIndex(["Aloe_vera", "Aloe_ferox"], {"Aloe ×nova": "Aloe vera × Aloe ferox"})
    >>> index.resolve("A. ferox × A. vera 'Gold'", genus="Aloe")
    'Aloe ferox × Aloe vera'
    >>> index.pedigree("Aloe ×nova × Aloe vera").shares
    {'Aloe_vera': 0.75, 'Aloe_ferox': 0.25}
    """

    def pedigree(self, text: str) -> Pedigree:
        """Return whose offspring a name means.

        Raises
        ------
        UnknownName
            If neither the name nor its parents are found.
        """
        label = self.resolve(text)
        if self._is_listed(label):
            return Pedigree(label, {label: 1.0})
        parents = parse(label).parents
        if parents is None:
            raise UnknownName(label, label)
        seed, pollen = (self.pedigree(str(parent)) for parent in parents)
        shares: dict[str, float] = {}
        for side in (seed, pollen):
            for species, share in side.shares.items():
                shares[species] = shares.get(species, 0.0) + share / 2
        return Pedigree(label, shares, (seed.label, pollen.label))

    def _is_listed(self, label: str) -> bool:
        return self._exact.get(fold(label)) == label

    def _search(self, text: str, genus: str | None, seen: frozenset[str]) -> Match | None:
        match = super()._search(text, genus, seen)
        if match is None:
            return self._formula(text, genus)
        if match.how == "synonym" and not self._is_listed(match.label):
            return Match(match.label, "hybrid", text)
        return match

    def _formula(self, text: str, genus: str | None) -> Match | None:
        """Read a formula whose parents are found; what else is not found stays so."""
        try:
            parents = parse(text, genus).parents
            sides = [self._search(str(parent), None, frozenset()) for parent in parents or ()]
            labels = [parse(correct_form(side.label)) for side in sides if side is not None]
        except UnknownName:
            return None
        if len(labels) != 2:  # noqa: PLR2004 - both parents
            return None
        if sides[0] is not None and labels[0] == labels[1] and self._is_listed(sides[0].label):
            return Match(sides[0].label, "species", text)  # a cross within a species is of that species
        whole = any(side is not None and side.how == "species" for side in sides)
        return Match(str(PlantName(text, parents=(labels[0], labels[1]))), "species" if whole else "hybrid", text)


class Pairs(NamedTuple):
    """Pairs of plants, taken apart into n pairs of species ``a[i]`` and ``b[i]``.

    ``weight``, shape (n,), is the product of the two shares, 0 where both plants are one; ``of``, shape (n,), says to
    which of the ``size`` pairs of plants each belongs.
    """

    a: tuple[str, ...]
    b: tuple[str, ...]
    weight: Floats
    of: Ints
    size: int


def pairs_of(seed: Sequence[Pedigree], pollen: Sequence[Pedigree]) -> Pairs:
    """Take pairs of plants apart into pairs of species.

    Examples
    --------
    >>> cross = Pedigree("a × b", {"a": 0.5, "b": 0.5}, ("a", "b"))
    >>> pairs_of([cross], [Pedigree("c", {"c": 1.0})]).weight.tolist()
    [0.5, 0.5]
    """
    parts = [
        (species, other, share * part * (mother.label != father.label), at)
        for at, (mother, father) in enumerate(zip(seed, pollen, strict=True))
        for species, share in mother.shares.items()
        for other, part in father.shares.items()
    ]
    a, b, weight, of = zip(*parts, strict=True) if parts else ((), (), (), ())
    return Pairs(a, b, np.array(weight, dtype=np.float64), np.array(of, dtype=np.int64), len(seed))


def weighted_pairs(distances: Distances, seed: Sequence[Pedigree], pollen: Sequence[Pedigree]) -> Floats:
    """Return how far apart m pairs of plants stand, hybrids among them, as an (m,) array.

    It is the mean of the distances of their species, weighted by the shares of both; 0 for a plant's own kind, so also
    for a hybrid with itself.

    Raises
    ------
    BadInput
        If a table has a gap there.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((a:1,b:1):2,c:3);")
    >>> cross = Pedigree("a × c", {"a": 0.5, "c": 0.5}, ("a", "c"))
    >>> species = [Pedigree(tip, {tip: 1.0}) for tip in "abc"]
    >>> weighted_pairs(tree, [cross] * 4, [*species, cross]).tolist()
    [3.0, 4.0, 3.0, 0.0]
    """
    pairs = pairs_of(seed, pollen)
    apart = np.zeros(pairs.size)
    np.add.at(apart, pairs.of, pairs.weight * distances.patristic_pairs(pairs.a, pairs.b))
    return apart


def share_matrix(plants: Iterable[Pedigree]) -> tuple[tuple[str, ...], Floats]:
    """Return the n species that have a share in k plants, in the order met, and the shares as a (k, n) array.

    Rows sum to 1. What is known of the species by rows of numbers (a correlation, an effect) is that of the plants
    after ``shares @ ...``.

    Examples
    --------
    >>> share_matrix([Pedigree("a", {"a": 1.0}), Pedigree("b × a", {"b": 0.5, "a": 0.5}, ("b", "a"))])
    (('a', 'b'), array([[1. , 0. ],
           [0.5, 0.5]]))
    """
    listed = list(plants)
    species = tuple(dict.fromkeys(name for plant in listed for name in plant.shares))
    at = {name: j for j, name in enumerate(species)}
    shares = np.zeros((len(listed), len(species)))
    for i, plant in enumerate(listed):
        for name, share in plant.shares.items():
            shares[i, at[name]] = share
    return species, shares
