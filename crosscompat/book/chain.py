"""All that crosses say about the way from flower to seedling."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crosscompat.book.gaps import Gaps, counts_stages, gaps_of
from crosscompat.book.stages import STAGES, StageOutcomes, stage_outcomes

__all__ = ["ChainOutcomes", "chain_outcomes"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class ChainOutcomes:
    """What crosses say about every stage.

    Attributes
    ----------
    stages : mapping of str to StageOutcomes
        By stage, in the order of the year.
    gaps : Gaps
        What is known of them beyond that.
    pods, seeds : ndarray of float, shape (n_crosses,)
        Ripe pods that were opened together, and the seeds in all of them; 0 pods where not counted.
    counted : bool
        Whether any cross has a count between the flower and the seedling.
    """

    stages: Mapping[str, StageOutcomes]
    gaps: Gaps
    pods: Floats
    seeds: Floats
    counted: bool

    @property
    def speaks(self) -> Flags:
        """Tell which crosses say anything, shape (n_crosses,)."""
        known = [outcomes.known for outcomes in self.stages.values()]
        return np.asarray(np.any([*known, self.gaps.there, self.pods > 0], axis=0), dtype=np.bool_)

    def __getitem__(self, at: Ints) -> ChainOutcomes:
        """Return those of some crosses."""
        stages = {name: outcomes[at] for name, outcomes in self.stages.items()}
        return ChainOutcomes(stages, self.gaps[at], self.pods[at], self.seeds[at], self.counted)


def chain_outcomes(
    counts: Mapping[str, Floats], age: Floats, windows: Mapping[str, float], lost: Flags | None = None
) -> ChainOutcomes:
    """Return what each cross says about every stage, and beyond the counts of its stages.

    Parameters
    ----------
    counts, age, windows, lost
        As for `stage_outcomes`.

    Examples
    --------
    Two pods of four flowers, 30 seeds in both; and three flowers of which none gave a seedling.

    >>> nan = np.nan
    >>> found = chain_outcomes(
    ...     {"units": np.array([4, 3]), "pods_held": np.array([2, nan]), "seeds": np.array([30, nan]),
    ...      "seedlings": np.array([nan, 0])},
    ...     age=np.array([400.0, 400.0]), windows={"set": 30, "hold": 150, "fill": 200, "germinate": 365})
    >>> found.pods, found.seeds, found.gaps.failed
    (array([2., 0.]), array([30.,  0.]), array([0., 3.]))
    """
    size = len(age)
    spared = np.ones(size, dtype=np.bool_) if lost is None else ~lost
    held, seeds = (counts.get(name, np.full(size, np.nan)) for name in ("pods_held", "seeds"))
    opened = (held > 0) & ~np.isnan(seeds) & spared & (age >= windows["fill"])
    return ChainOutcomes(
        stage_outcomes(counts, age, windows, lost),
        gaps_of(counts, age >= windows[list(STAGES)[-1]], lost),
        np.where(opened, held, 0.0),
        np.where(opened, seeds, 0.0),
        bool(counts_stages(counts).any()) if size else False,
    )
