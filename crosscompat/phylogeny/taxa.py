"""Where everything that can be crossed stands: species of the tree, species only placed in a group, hybrids."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import Match, NameIndex, PlantName, correct_form, fold, parse
from crosscompat.phylogeny.classification import Placed, spread_of_placed
from crosscompat.phylogeny.distances import Distances
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Floats, Ints

if TYPE_CHECKING:
    from crosscompat.phylogeny.formats import TreeSample

_FOR_PACE = 100
"""About so many species, evenly over the tree, tell how fast a sample runs beside it."""


class Pedigree(NamedTuple):
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
        """Return whose offspring a name means; raises `UnknownName` if neither it nor its parents are found."""
        if text not in self._pedigrees:
            self._pedigrees[text] = self._pedigree_of(text)
        return self._pedigrees[text]

    @cached_property
    def _pedigrees(self) -> dict[str, Pedigree]:
        return {}

    def _pedigree_of(self, text: str) -> Pedigree:
        label = self.resolve(text)
        if self._is_listed(label):
            return Pedigree(label, {label: 1.0})
        parents = parse(label).parents
        if parents is None:
            raise UnknownName(label, label)
        seed, pollen = (self.pedigree(str(parent)) for parent in parents)
        species = dict.fromkeys([*seed.shares, *pollen.shares])
        shares = {name: (seed.shares.get(name, 0.0) + pollen.shares.get(name, 0.0)) / 2 for name in species}
        return Pedigree(label, shares, (seed.label, pollen.label))

    def _is_listed(self, label: str) -> bool:
        return self._exact.get(fold(label)) == label

    def _read(self, text: str, genus: str | None) -> Match | None:
        match = super()._read(text, genus)
        if match is None:
            return self._formula(text, genus)
        if match.how == "synonym" and not self._is_listed(match.label):
            return Match(match.label, "hybrid", text)
        return match

    def _formula(self, text: str, genus: str | None) -> Match | None:
        """Read a formula whose parents are found; what else is not found stays so."""
        try:
            parents = parse(text, genus).parents or ()
            sides = [side for parent in parents if (side := self._search(str(parent), None))]
            labels = [parse(correct_form(side.label)) for side in sides]
        except UnknownName:
            return None
        if len(sides) != 2:  # noqa: PLR2004 - both parents
            return None
        if labels[0] == labels[1] and self._is_listed(sides[0].label):
            return Match(sides[0].label, "species", text)  # a cross within a species is of that species
        whole = any(side.how == "species" for side in sides)
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
    """Take pairs of plants apart into pairs of species."""
    parts = [
        (species, other, share * part * (mother.label != father.label), at)
        for at, (mother, father) in enumerate(zip(seed, pollen, strict=True))
        for species, share in mother.shares.items()
        for other, part in father.shares.items()
    ]
    a, b, weight, of = zip(*parts, strict=True) if parts else ((), (), (), ())
    return Pairs(a, b, np.array(weight, dtype=np.float64), np.array(of, dtype=np.int64), len(seed))


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


@dataclass(frozen=True)
class Taxa:
    """Distances of all that can be named, and how unsure each is.

    ``distances`` has the ``placed`` species in it, which stand in their group only; ``index`` finds species, by
    synonyms too, and hybrid formulas; the tree is a summary of the ``sample``, if there is one.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((Aloe_vera:1,Aloe_ferox:1):2,Aloe_rara:3);")
    >>> taxa = Taxa(tree, HybridIndex(tree.tips))
    >>> hybrid = taxa.index.resolve("Aloe vera × A. rara", "Aloe")
    >>> taxa.apart([hybrid], ["Aloe_ferox"]).tolist(), taxa.spread([hybrid], ["Aloe_ferox"]).tolist()
    ([4.0], [3.0])
    """

    distances: Distances
    index: HybridIndex
    placed: tuple[Placed, ...] = ()
    sample: TreeSample | None = None

    def pedigree(self, label: str) -> Pedigree:
        """Return the species that have a share in a label of the tree or a hybrid formula, or raise `UnknownName`."""
        return self._of([label])[0]

    def species_of(self, labels: Iterable[str]) -> list[str]:
        """Return the species of the tree that have a share in any of some labels, each once, in the order met."""
        return list(dict.fromkeys(tip for plant in self._of(list(labels)) for tip in plant.shares))

    def apart(self, seed: Sequence[str], pollen: Sequence[str]) -> Floats:
        """Return how far apart each two of m pairs stand, in the unit of the tree, as an (m,) array.

        Of hybrids it is the mean of the distances of their species, weighted by the shares of both; 0 for a plant's own
        kind, so also for a hybrid with itself. What is neither a label of the tree nor a hybrid formula raises
        `UnknownName`, a gap in a table `BadInput`.
        """
        if self._all_tips(seed, pollen):
            return self.distances.patristic_pairs(seed, pollen)
        pairs = pairs_of(self._of(seed), self._of(pollen))
        apart = np.zeros(pairs.size)
        np.add.at(apart, pairs.of, pairs.weight * self.distances.patristic_pairs(pairs.a, pairs.b))
        return apart

    def spread(self, seed: Sequence[str], pollen: Sequence[str]) -> Floats:
        """Return how unsure those distances are: standard deviations in the unit of the tree, shape (m,).

        What a species that was only placed, and a sample of trees, leave open; 0 where nothing is left. A hybrid may be
        like any of its species, each with the chance of its share: its variance is the weighted mean of theirs, and
        `scatter` of its own beside it. So it is never surer than its species are, and the less sure the farther apart
        those stand.
        """
        if self._all_tips(seed, pollen):
            return np.hypot(self._placed_spread(seed, pollen), self._sampled_spread(seed, pollen))
        pairs = pairs_of(self._of(seed), self._of(pollen))
        variance = self.scatter(seed) + self.scatter(pollen)
        unsure = np.hypot(self._placed_spread(pairs.a, pairs.b), self._sampled_spread(pairs.a, pairs.b))
        np.add.at(variance, pairs.of, pairs.weight * unsure**2)
        return np.sqrt(variance)

    def trees_on(self, seed: str, pollen: str) -> int:
        """Return how many trees of the sample say how far apart two labels stand; 0 if none."""
        species = set(self.species_of([seed, pollen]))
        if self.sample is None or len(species) == 1 or not species <= self._in_sample.keys():
            return 0
        return len(self.sample.trees)

    def scatter(self, labels: Sequence[str]) -> Floats:
        """Return how widely the species of each label scatter: a variance in the unit of the tree squared, shape (k,).

        Half the mean of their squared distances from each other, weighted by both shares: of points on a line that is
        their variance. A cross of two species scatters by the square of half their distance, a species not at all.

        Examples
        --------
        >>> from crosscompat.phylogeny.newick import parse_newick
        >>> tree = parse_newick("((Aloe_vera:1,Aloe_ferox:1):2,Aloe_rara:3);")
        >>> Taxa(tree, HybridIndex(tree.tips)).scatter(["Aloe vera × Aloe rara", "Aloe_vera"]).tolist()
        [9.0, 0.0]
        """
        plants = self._of(labels)
        scatter = dict.fromkeys((plant.label for plant in plants), 0.0)
        for label, plant in {plant.label: plant for plant in plants if plant.is_hybrid}.items():
            shares = np.array(list(plant.shares.values()))
            scatter[label] = float(0.5 * shares @ self.distances.patristic_matrix(list(plant.shares)) ** 2 @ shares)
        return np.array([scatter[plant.label] for plant in plants], dtype=np.float64)

    def _all_tips(self, *sides: Sequence[str]) -> bool:
        return all(self._tips.issuperset(side) for side in sides)

    def _of(self, labels: Sequence[str]) -> list[Pedigree]:
        own = {label: Pedigree(label, {label: 1.0}) for label in self._tips.intersection(labels)}
        return [own.get(label) or self.index.pedigree(label) for label in labels]

    def _placed_spread(self, a: Sequence[str], b: Sequence[str]) -> Floats:
        if not self.placed or not isinstance(self.distances, Phylogeny):
            return np.zeros(len(a))
        return spread_of_placed(self.distances, [placed.species for placed in self.placed], a, b)

    def _sampled_spread(self, a: Sequence[str], b: Sequence[str]) -> Floats:
        """Return the root mean square of what the sample's trees differ from the tree; 0 where it lacks a species."""
        off = np.zeros(len(a))
        names = self._in_sample
        at = [i for i, pair in enumerate(zip(a, b, strict=True)) if pair[0] in names and pair[1] in names]
        if self.sample is not None and at:
            distance = self.distances.patristic_pairs([a[i] for i in at], [b[i] for i in at])
            mean, sd = self.sample.of_pairs([names[a[i]] for i in at], [names[b[i]] for i in at])
            off[at] = np.hypot(sd * self._pace, mean * self._pace - distance)
        return off

    @cached_property
    def _tips(self) -> frozenset[str]:
        return frozenset(self.distances.tips)

    @cached_property
    def _in_sample(self) -> dict[str, str]:
        """The sample's label of each tip that it holds."""
        if self.sample is None:
            return {}
        find = self.sample.index.find
        return {tip: label for tip in self.distances.tips if (label := find(tip)) is not None}

    @cached_property
    def _pace(self) -> float:
        """What the sample's distances are multiplied by, so that their mean is that of the tree."""
        tips = list(self._in_sample)[:: max(1, len(self._in_sample) // _FOR_PACE)]
        if self.sample is None or len(tips) < 2:  # noqa: PLR2004 - one has no distance
            return 1.0
        first, second = np.triu_indices(len(tips), 1)
        a, b = [tips[i] for i in first.tolist()], [tips[j] for j in second.tolist()]
        theirs = self.sample.of_pairs([self._in_sample[tip] for tip in a], [self._in_sample[tip] for tip in b])[0]
        return float(np.nanmean(self.distances.patristic_matrix(tips)[first, second]) / theirs.mean())
