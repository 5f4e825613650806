"""The likeliest of all pairings among the species of a tree, however many: tile by tile, in bounded memory."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from crosscompat.advice.basis import asked_of, basis_of, spread_of
from crosscompat.advice.parents import Parent
from crosscompat.advice.rank import Candidate, Ranking, rank
from crosscompat.collection.opening import Collection
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.model.bound import most_chance
from crosscompat.model.diallel import Diallel, Tile, diallel
from crosscompat.model.effects import Ints
from crosscompat.model.fitted import FittedModel
from crosscompat.model.forecast import Logits
from crosscompat.model.kinship import relatedness
from crosscompat.model.likelihood import Floats
from crosscompat.model.outlook import Outlook, mean_chances, pods_differ
from crosscompat.model.pairings import Levels, Parents
from crosscompat.pairing import trait_codes

__all__ = ["Best", "Found", "Search", "search_of"]

_ROWS = 16
_COLUMNS = 2048
_AT_ONCE = 4096
_KIN_AT_ONCE = 1000


@dataclass(frozen=True, slots=True)
class Found:
    """Some pairings by number of species, with the mean chance of a seedling.

    Attributes
    ----------
    chance : ndarray of float, shape (n,)
    seed, pollen : ndarray of int, shape (n,)
    """

    chance: Floats
    seed: Ints
    pollen: Ints

    def best(self, most: int) -> Found:
        """Return the likeliest so many, best first; equal chances by number."""
        order = np.lexsort((self.pollen, self.seed, -self.chance))[:most]
        return Found(self.chance[order], self.seed[order], self.pollen[order])

    def with_(self, other: Found) -> Found:
        """Return both."""
        return Found(
            np.concatenate([self.chance, other.chance]),
            np.concatenate([self.seed, other.seed]),
            np.concatenate([self.pollen, other.pollen]),
        )


NOTHING = Found(np.empty(0), np.empty(0, dtype=np.intp), np.empty(0, dtype=np.intp))


class Best:
    """The likeliest pairings met so far.

    Parameters
    ----------
    most : int
        How many are kept.
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self.found = NOTHING

    @property
    def floor(self) -> float:
        """What a pairing must reach to be among them."""
        return float(self.found.chance[-1]) if len(self.found.chance) == self.most else -1.0

    def take(self, found: Found) -> None:
        """Keep the likeliest of those kept and of some more."""
        if len(found.chance):
            self.found = self.found.with_(found).best(self.most)


@dataclass(frozen=True, slots=True)
class Crossed:
    """Pairs that were crossed, whose own crosses speak too.

    Attributes
    ----------
    seed, pollen : ndarray of int, shape (n,)
        By number of species.
    mean, sd : ndarray of float, shape (n_stages, n)
        Of the logit of each stage.
    """

    seed: Ints
    pollen: Ints
    mean: Floats
    sd: Floats

    def put_into(self, tile: Tile, rows: slice, columns: slice) -> None:
        """Write what is believed of those among the pairings of a tile."""
        here = (self.seed >= rows.start) & (self.seed < rows.stop)
        here &= (self.pollen >= columns.start) & (self.pollen < columns.stop)
        at = self.seed[here] - rows.start, self.pollen[here] - columns.start
        tile.mean[:, at[0], at[1]] = self.mean[:, here]
        tile.sd[:, at[0], at[1]] = self.sd[:, here]


@dataclass(frozen=True, slots=True)
class Search:
    """A search for the likeliest pairings, a few seed parents at a time with all pollen parents.

    Attributes
    ----------
    collection : Collection
    model : FittedModel
    ready : Diallel
    crossed : Crossed
    flowers, wanted : int
        For each pairing, and how many pairings are wanted.
    """

    collection: Collection
    model: FittedModel
    ready: Diallel
    crossed: Crossed
    flowers: int
    wanted: int

    @property
    def most(self) -> int:
        """How many to keep while searching: some more, for the quick mean chance is off by a thousandth or two."""
        return self.wanted + self.wanted // 10 + 20

    @property
    def species(self) -> tuple[str, ...]:
        """The labels, by number."""
        return self.collection.distances.tips

    @property
    def parts(self) -> list[slice]:
        """Some seed parents at a time."""
        return _parts(len(self.species), _ROWS)

    @property
    def pairings(self) -> int:
        """How many there are, both ways round."""
        return len(self.species) * (len(self.species) - 1)

    def among(self, rows: slice, floor: float = -1.0) -> Found:
        """Return the likeliest pairings of some seed parents, if any is above a floor.

        Parameters
        ----------
        rows : slice
            Which seed parents.
        floor : float
            Pairings at or below this mean chance are not wanted; some are passed over by a quick bound.
        """
        best = Best(self.most)
        distance = np.stack([self.collection.distances.patristic_from(tip) for tip in self.species[rows]])
        for columns in _parts(len(self.species), _COLUMNS):
            self._take_tile(best, rows, columns, distance[:, columns], floor)
        return best.found

    def _take_tile(self, best: Best, rows: slice, columns: slice, distance: Floats, floor: float) -> None:
        tile = self.ready.tile(rows, columns, distance, self._spread(rows, columns))
        self.crossed.put_into(tile, rows, columns)
        mean, sd = (side.reshape(len(side), -1) for side in (tile.mean, tile.sd))
        seed, pollen = np.divmod(np.arange(distance.size), distance.shape[1])
        seed, pollen = seed + rows.start, pollen + columns.start
        bound = most_chance(mean, sd, self.model.seeds, self.flowers)
        bound[np.isnan(distance.ravel()) | (seed == pollen)] = -1.0
        promising = np.flatnonzero(bound > max(floor, best.floor))
        promising = promising[np.argsort(-bound[promising])]
        for begin in range(0, len(promising), _AT_ONCE):
            least = max(floor, best.floor)
            at = promising[begin : begin + _AT_ONCE]
            at = at[bound[at] > least]
            stages = tuple(Logits(mean[k, at], sd[k, at]) for k in range(len(mean)))
            chance = mean_chances(Outlook(stages, self.model.seeds, pods_differ(self.model)), self.flowers)
            above = chance > least
            best.take(Found(chance[above], seed[at][above], pollen[at][above]))

    def _spread(self, rows: slice, columns: slice) -> Floats | None:
        ours, theirs = self.species[rows], self.species[columns]
        seed, pollen = [one for one in ours for _ in theirs], list(theirs) * len(ours)
        found = spread_of(self.collection, self.model, seed, pollen)
        return None if found is None else found.reshape(len(ours), -1)

    def ranking(self, found: Found, watch: Callable[[Sequence[int]], Iterable[int]] = iter) -> Ranking:
        """Rank the pairings found, and keep as many as were wanted; ``watch`` is as for `rank`."""
        pairs = zip(found.seed.tolist(), found.pollen.tolist(), strict=True)
        candidates = [Candidate(Parent(self.species[one]), Parent(self.species[other])) for one, other in pairs]
        ranked = rank(self.collection, candidates, flowers=self.flowers, watch=watch)
        rows = ranked.rows[: self.wanted]
        looked_at = say("rank.looked_at", n=len(rows), pairings=f"{self.pairings:,}", species=f"{len(self.species):,}")
        return replace(ranked, rows=rows, notes=[looked_at, *ranked.notes])


def search_of(collection: Collection, *, flowers: int = 1, most: int = 20) -> Search:
    """Make the search for the likeliest of all pairings of a collection's species ready.

    Parameters
    ----------
    collection : Collection
    flowers : int
        For each pairing, at least 1.
    most : int
        How many are wanted.

    Raises
    ------
    WrongUse
        If ``flowers`` is below 1.
    """
    if flowers < 1:
        raise WrongUse(say("take.flowers", got=flowers))
    model, species = basis_of(collection).model, collection.distances.tips
    level = Levels.of(model.seen, Parents(species, species)).seed
    codes = trait_codes(model.recipe, collection.traits, species)
    ready = diallel(model, codes, level, _kin(collection, model, species))
    return Search(collection, model, ready, _crossed(collection, model, species), flowers, most)


def _kin(collection: Collection, model: FittedModel, species: tuple[str, ...]) -> Floats | None:
    if not model.seen.related:
        return None
    parts = [
        relatedness(collection.distances, model.seen.species, species[part], collection.taxa.pedigree)
        for part in _parts(len(species), _KIN_AT_ONCE)
    ]
    return None if any(part is None for part in parts) else np.concatenate([part for part in parts if part is not None])


def _crossed(collection: Collection, model: FittedModel, species: tuple[str, ...]) -> Crossed:
    """Return what is believed of the pairs crossed, both ways round, as far as they are on the tree."""
    number = {label: i for i, label in enumerate(species)}
    seen = model.seen.species
    ways = {
        (seen[one], seen[other])
        for stage in model.stages
        if stage.effects is not None
        for one, other in stage.effects.ties.ways.tolist()
    }
    pairs = sorted(way for way in ways if way[0] in number and way[1] in number)
    seed, pollen = [one for one, _ in pairs], [other for _, other in pairs]
    outlook = asked_of(collection, model, Parents(seed, pollen)).outlook
    mean, sd = (np.array([getattr(stage, key) for stage in outlook.stages]) for key in ("mean", "sd"))
    ours, theirs = (np.array([number[label] for label in side], dtype=np.intp) for side in (seed, pollen))
    return Crossed(ours, theirs, mean, sd)


def _parts(size: int, step: int) -> list[slice]:
    return [slice(begin, min(begin + step, size)) for begin in range(0, size, step)]
