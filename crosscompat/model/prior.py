"""What is believed of each coefficient before a grower's own crosses speak."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any

import numpy as np

from crosscompat.ground.errors import BadInput, Fault
from crosscompat.ground.wording import say
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.likelihood import Floats
from crosscompat.model.prior_faults import prior_faults
from crosscompat.pairing import Feature

__all__ = [
    "EffectRow",
    "PriorRow",
    "Priors",
    "centre_of",
    "doubt_of_uneven",
    "effect_rows",
    "effect_scales",
    "prior_for",
    "prior_rows",
    "published",
    "spread_of",
]

_EVERY = "every"


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
    own : bool
        Whether the grower has set it.
    """

    stage: str
    coefficient: str
    mean: float
    sd: float
    evidence: str
    own: bool = False


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
    own : bool
        Whether the grower has set it.
    """

    stage: str
    effect: str
    scale: float
    evidence: str
    own: bool = False


@dataclass(frozen=True, slots=True)
class Priors:
    """A table of priors: the published one (`published`), or one that a grower has changed.

    Attributes
    ----------
    rows : tuple of PriorRow
        Of the coefficients, stage by stage.
    effects : tuple of EffectRow
        Of the effects; a row of one stage stands in place of that of ``every`` stage.
    """

    rows: tuple[PriorRow, ...]
    effects: tuple[EffectRow, ...]

    @property
    def stages(self) -> tuple[str, ...]:
        """The stages of the table, in its order.

        Examples
        --------
        >>> published().stages
        ('plain', 'set', 'hold', 'fill', 'germinate')
        """
        return tuple(dict.fromkeys(row.stage for row in self.rows))

    @property
    def fingerprint(self) -> str:
        """SHA-256 over the numbers, in hexadecimal; the evidence changes no forecast."""
        rows = [(row.stage, row.coefficient, float(row.mean), float(row.sd)) for row in self.rows]
        effects = [(row.stage, row.effect, float(row.scale)) for row in self.effects]
        return sha256(repr((sorted(rows), sorted(effects))).encode()).hexdigest()

    def prior_for(self, stage: str, features: Sequence[Feature]) -> GaussianPrior:
        """Return the prior of a stage's intercept and coefficients, the intercept first.

        Examples
        --------
        >>> published().changed({"plain": {"distance": {"sd": 1}}}).prior_for("plain", [Feature("distance")]).sd
        array([1.5, 1. ])
        """
        row_of = {row.coefficient: row for row in self.rows if row.stage == stage}
        rows = [row_of["intercept"], *(row_of[feature.kind] for feature in features)]
        return GaussianPrior(*(np.array([getattr(row, key) for row in rows], np.float64) for key in ("mean", "sd")))

    def effect_scales(self, stage: str) -> dict[str, float]:
        """Return the half-normal scale of each effect of a stage.

        Examples
        --------
        >>> published().changed({"effects": {"set": {"record": {"scale": 0.2}}}}).effect_scales("set")["record"]
        0.2
        """
        of_every, own = ({row.effect: row.scale for row in self.effects if row.stage == at} for at in (_EVERY, stage))
        return of_every | own

    def faults(self, by: object, file: str | None = None) -> list[Fault]:
        """Return what is wrong with a table of changes, every fault with its place in the file."""
        coefficients = {at: [row.coefficient for row in self.rows if row.stage == at] for at in self.stages}
        kinds = list(dict.fromkeys(row.effect for row in self.effects))
        return prior_faults(by, coefficients, dict.fromkeys((_EVERY, *self.stages), kinds), file)

    def changed(self, by: Mapping[str, Any]) -> Priors:
        """Return the table with some of its numbers changed.

        Parameters
        ----------
        by : mapping
            Of the shape of the table: stage, coefficient, then any of ``mean``, ``sd`` and ``evidence``; under
            ``effects`` a stage or ``every``, effect, then any of ``scale`` and ``evidence``. What is not named stays.

        Raises
        ------
        BadInput
            With every fault of ``by``.

        Examples
        --------
        >>> own = published().changed({"set": {"distance": {"mean": -2.0}}})
        >>> [(row.mean, row.sd) for row in own.rows if row.own]
        [(-2.0, 3.5)]
        """
        if wrong := self.faults(by):
            raise BadInput(wrong)
        of_effects = by.get("effects", {})
        rows = [_own_row(row, by.get(row.stage, {}).get(row.coefficient, {})) for row in self.rows]
        effects = [_own_effect(row, of_effects.get(row.stage, {}).get(row.effect, {})) for row in self.effects]
        there = {(row.stage, row.effect) for row in self.effects}
        general = {row.effect: row for row in effects if row.stage == _EVERY}
        effects += [
            _own_effect(replace(general[effect], stage=stage), change)
            for stage, changes in of_effects.items()
            for effect, change in changes.items()
            if (stage, effect) not in there and change
        ]
        return Priors(tuple(rows), tuple(effects))


def _own_row(row: PriorRow, change: Mapping[str, Any]) -> PriorRow:
    if not change:
        return row
    was = say("priors.give_or_take", mean=f"{row.mean:g}", sd=f"{row.sd:g}")
    mean, sd = (float(change.get(key, value)) for key, value in (("mean", row.mean), ("sd", row.sd)))
    return replace(row, mean=mean, sd=sd, evidence=_own_evidence(change, was, row.evidence), own=True)


def _own_effect(row: EffectRow, change: Mapping[str, Any]) -> EffectRow:
    if not change:
        return row
    evidence = _own_evidence(change, f"{row.scale:g}", row.evidence)
    return replace(row, evidence=evidence, own=True, scale=float(change.get("scale", row.scale)))


def _own_evidence(change: Mapping[str, Any], was: str, evidence: str) -> str:
    """Say that the grower set it, and why if that was told; else what the number in its place leant on."""
    if "evidence" in change:
        return say("priors.own_because", was=was, why=change["evidence"])
    return say("priors.own", was=was, evidence=evidence)


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files("crosscompat.model").joinpath("priors.toml").read_text(encoding="utf-8"))


@cache
def published() -> Priors:
    """Return the table that comes with the package, the published evidence beside each number.

    Examples
    --------
    >>> [row.mean for row in published().rows if row.coefficient == "distance"]
    [-1.5, -0.75, -0.75, -2.0, -2.0]
    """
    stages = {name: rows for name, rows in _table().items() if name not in {"centre", "spread", "uneven", "effects"}}
    return Priors(
        tuple(PriorRow(stage, name, **row) for stage, rows in stages.items() for name, row in rows.items()),
        tuple(EffectRow(at, name, **row) for at, rows in _table()["effects"].items() for name, row in rows.items()),
    )


def prior_rows() -> tuple[PriorRow, ...]:
    """Return the whole published table of the coefficients.

    Examples
    --------
    >>> next(row.mean for row in prior_rows() if (row.stage, row.coefficient) == ("plain", "distance"))
    -1.5
    """
    return published().rows


def effect_rows() -> tuple[EffectRow, ...]:
    """Return the whole published table of the effects' scales.

    Examples
    --------
    >>> next(row.scale for row in effect_rows() if (row.stage, row.effect) == ("every", "seed"))
    1.5
    """
    return published().effects


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


def doubt_of_uneven(stage: str) -> tuple[float, float]:
    """Return mean and sd of what uneven chromosomes of a hybrid add at a stage.

    Examples
    --------
    >>> doubt_of_uneven("fill"), doubt_of_uneven("hold")
    ((-1.0, 1.0), (0.0, 0.0))
    """
    row = _table()["uneven"].get(stage, {})
    return float(row.get("mean", 0.0)), float(row.get("sd", 0.0))


def effect_scales(stage: str) -> dict[str, float]:
    """Return the published half-normal scale of each effect of a stage.

    Examples
    --------
    >>> sorted(effect_scales("plain"))
    ['direction', 'pair', 'pollen', 'pollen_plant', 'record', 'seed', 'seed_plant']
    """
    return published().effect_scales(stage)


def prior_for(stage: str, features: Sequence[Feature]) -> GaussianPrior:
    """Return the published prior of a stage's intercept and coefficients, the intercept first.

    Examples
    --------
    >>> prior_for("plain", [Feature("distance")]).sd
    array([1.5, 3.5])
    """
    return published().prior_for(stage, features)
