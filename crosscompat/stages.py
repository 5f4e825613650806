"""The stages from flower to seedling, a row each; all else that is said of stages follows from this table.

A stage is conditional on the one before, and its neighbours join it in a step. A step is as fine as it was counted: who
counts pods, seeds and seedlings speaks of stages, who writes down only what came up speaks of the whole way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

WHOLE = "whole"


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage; its words stand in ``wording/stages.toml``.

    Attributes
    ----------
    tried, took : str
        The count it is tried on, and that of what is left of it.
    step : str
        The step it makes up with its neighbours: ``pod``, a flower to a ripe pod, or ``seed``, a seed to a seedling.
    share : float
        How much of what is lost over that step is lost here, as a power; those of a step add up to 1. A judgement.
    best : float
        Its middling chance where nothing stands between the parents: some flowers fail in any cross. A judgement.
    days : mapping of str to float
        Days after a pollination on which it is closed, by group of plants, "" for all others. Judgements, with time to
        spare.
    """

    tried: str
    took: str
    step: str
    share: float
    best: float
    days: Mapping[str, float]


STAGES: Mapping[str, Stage] = {
    "set": Stage("units", "pods_set", "pod", 0.7, 0.95, {"": 30.0}),
    # fruit is ripe in 2 to 3 months in hedgehog cacti (Flora of North America)
    "hold": Stage("pods_set", "pods_held", "pod", 0.3, 0.97, {"": 150.0, "spurge": 100.0}),
    "fill": Stage("seeds", "seeds_filled", "seed", 0.6, 0.95, {"": 180.0, "spurge": 120.0}),
    "germinate": Stage("seeds_sown", "seedlings", "seed", 0.4, 0.95, {"": 365.0}),
}
"""In the order of the year."""

STEPS: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(STAGES, ()),
    **{step: tuple(name for name, stage in STAGES.items() if stage.step == step) for step in ("pod", "seed")},
    "fruitful": ("seed",),
    WHOLE: ("pod", "fruitful"),
}
"""Each step with the finer steps it joins; ``fruitful`` is a ripe pod to at least one seedling, ``whole`` a flower."""

LAST = list(STAGES)[-1]

STAGE_COLUMNS = tuple(dict.fromkeys(count for stage in STAGES.values() for count in (stage.tried, stage.took)))[1:]
"""What is counted along the way, after the units pollinated."""

GROUPS = ("", "cactus", "spurge")
"""Groups of plants with numbers of their own; "" for all others."""

USUAL_DAYS: Mapping[str, Mapping[str, float]] = {
    group: {name: stage.days.get(group, stage.days[""]) for name, stage in STAGES.items()} for group in GROUPS
}
"""Days after a pollination on which each stage is closed, by group."""
