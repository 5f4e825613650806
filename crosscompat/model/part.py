"""A part of a large stage: some of its species, and the crosses among them, to find about where its scales are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crosscompat.model.effects import Factor, Ints, Kinship
from crosscompat.model.elimination import Stage
from crosscompat.model.layout import lay_out
from crosscompat.model.likelihood import Floats

__all__ = ["Part", "part_of"]

_ENOUGH = 25_000  # records
_LEAST_SHARE, _MOST_SHARE = 0.2, 0.5  # of the species
_FEWEST = 40  # species


@dataclass(frozen=True, slots=True)
class Part:
    """A stage cut out of another.

    Attributes
    ----------
    stage : Stage
    tells : ndarray of float, shape (n_factors + 1,)
        About how many times as much the whole tells of each sd, and of lambda: by its levels that have records.
    """

    stage: Stage
    tells: Floats


def part_of(stage: Stage) -> Part | None:
    """Return a part with every second to fifth species, drawn by a fixed seed; None if too few would be left.

    Parameters
    ----------
    stage : Stage
        The species are the levels of the factors that share the largest number of columns.
    """
    species = [i for i, block in enumerate(stage.layout.blocks) if block.stop - block.start == _widest(stage)]
    size = _widest(stage)
    share = float(np.clip(np.sqrt(_ENOUGH / len(stage.x)), _LEAST_SHARE, _MOST_SHARE))
    if size * share < _FEWEST:
        return None
    kept = np.sort(np.random.default_rng(0).permutation(size)[: round(size * share)])
    inside = np.zeros(size + 1, dtype=np.bool_)  # the last stands for no level
    inside[kept] = inside[-1] = True
    records = np.flatnonzero(np.all([inside[stage.factors[i].levels].all(axis=1) for i in species], axis=0))
    factors, tells = [], []
    kin: dict[int, Kinship] = {}
    for i, factor in enumerate(stage.factors):
        levels = factor.levels[records]
        here = kept if i in species else np.unique(levels[levels >= 0])
        if here.size == 0:
            return None
        factors.append(_cut(factor, levels, records, here, kin))
        tells.append(_present(factor.levels) / max(_present(levels), 1))
    related = [told for told, factor in zip(tells, factors, strict=True) if factor.kinship is not None]
    x = stage.x[records]
    cut = replace(
        stage,
        counts=stage.counts[records],
        x=x,
        factors=tuple(factors),
        layout=lay_out(x, tuple(factors)),
        offset=stage.offset[records],
    )
    return Part(cut, np.array([*tells, min(related, default=1.0)], dtype=np.float64))


def _widest(stage: Stage) -> int:
    return max((block.stop - block.start for block in stage.layout.blocks), default=0)


def _present(levels: Ints) -> int:
    return int(np.unique(levels[levels >= 0]).size)


def _cut(factor: Factor, levels: Ints, records: Ints, here: Ints, kin: dict[int, Kinship]) -> Factor:
    """Keep some records and levels, and number these anew."""
    number = np.full(factor.size + 1, -1, dtype=np.intp)
    number[here] = np.arange(here.size)
    kinship = factor.kinship
    if kinship is not None:
        if id(kinship) not in kin:
            kin[id(kinship)] = Kinship.of(kinship.matrix[np.ix_(here, here)])
        kinship = kin[id(kinship)]
    return replace(factor, levels=number[levels], shares=factor.shares[records], size=here.size, kinship=kinship)
