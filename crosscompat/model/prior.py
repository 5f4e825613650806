"""What is believed of each coefficient before a grower's own crosses speak."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from crosscompat.model.laplace import GaussianPrior
from crosscompat.model.likelihood import Floats
from crosscompat.pairing import Feature

__all__ = ["EffectRow", "PriorRow", "centre_of", "effect_rows", "effect_scales", "prior_for", "prior_rows", "spread_of"]


@dataclass(frozen=True, slots=True)
class PriorRow:
    """One row of the table of priors.

    Attributes
    ----------
    stage, coefficient : str
        Where it applies; ``coefficient`` is ``intercept`` or the kind of a feature.
    mean, sd : float
        Normal prior on the logit scale.
    evidence : str
        What it leans on.
    """

    stage: str
    coefficient: str
    mean: float
    sd: float
    evidence: str


@dataclass(frozen=True, slots=True)
class EffectRow:
    """The prior of how widely one kind of effect varies: half-normal on the logit scale.

    Attributes
    ----------
    stage : str
        Where it applies, in place of that of ``every`` stage.
    effect : str
    scale : float
        The median of the standard deviation is 0.67 of it.
    evidence : str
        What it leans on.
    """

    stage: str
    effect: str
    scale: float
    evidence: str


_NOT_STAGES = ("centre", "spread", "effects")


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files("crosscompat.model").joinpath("priors.toml").read_text(encoding="utf-8"))


@cache
def prior_rows() -> tuple[PriorRow, ...]:
    """Return the whole table of priors.

    Examples
    --------
    >>> next(row.mean for row in prior_rows() if (row.stage, row.coefficient) == ("plain", "distance"))
    -1.5
    """
    return tuple(
        PriorRow(stage, coefficient, row["mean"], row["sd"], row["evidence"])
        for stage, rows in _table().items()
        if stage not in _NOT_STAGES
        for coefficient, row in rows.items()
    )


def centre_of(features: Sequence[Feature]) -> Floats:
    """Return where each feature stands when the intercept alone speaks, shape (n_features,).

    Examples
    --------
    >>> centre_of([Feature("distance"), Feature("ratio", "style")])
    array([0.5, 0. ])
    """
    return np.array([_table()["centre"][feature.kind] for feature in features], dtype=np.float64)


def spread_of(features: Sequence[Feature]) -> Floats:
    """Return the variance of each feature among pairings, for want of data, shape (n_features,).

    Examples
    --------
    >>> spread_of([Feature("both", "spines paired")])
    array([0.25])
    """
    return np.array([_table()["spread"][feature.kind] for feature in features], dtype=np.float64)


@cache
def effect_rows() -> tuple[EffectRow, ...]:
    """Return the table of the effects' scales.

    Examples
    --------
    >>> next(row.scale for row in effect_rows() if (row.stage, row.effect) == ("every", "seed"))
    1.5
    """
    return tuple(
        EffectRow(stage, effect, row["scale"], row["evidence"])
        for stage, rows in _table()["effects"].items()
        for effect, row in rows.items()
    )


def effect_scales(stage: str) -> dict[str, float]:
    """Return the half-normal scale of each effect of a stage.

    Examples
    --------
    >>> sorted(effect_scales("plain"))
    ['direction', 'pair', 'pollen', 'pollen_plant', 'record', 'seed', 'seed_plant']
    """
    of_every, own = (
        {row.effect: row.scale for row in effect_rows() if row.stage == where} for where in ("every", stage)
    )
    return of_every | own


def prior_for(stage: str, features: Sequence[Feature]) -> GaussianPrior:
    """Return the prior of a stage's intercept and coefficients, the intercept first.

    Examples
    --------
    >>> prior_for("plain", [Feature("distance")]).sd
    array([1.5, 3.5])
    """
    row_of = {row.coefficient: row for row in prior_rows() if row.stage == stage}
    rows = [row_of["intercept"], *(row_of[feature.kind] for feature in features)]
    return GaussianPrior(np.array([row.mean for row in rows]), np.array([row.sd for row in rows]))
