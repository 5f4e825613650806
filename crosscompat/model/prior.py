"""What is believed of a pairing before a grower's own crosses speak."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import Any, TypeVar

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.wording import say
from crosscompat.model.composition import Logits
from crosscompat.model.gaussian import GaussianPrior
from crosscompat.model.likelihood import Counts, Floats, Ints, TiltedMoments
from crosscompat.pairing import Feature

# On the logit scale 20 is a certainty, and numbers beyond these have no fit.
_MOST_MEAN, _LEAST_SD, _MOST_SD = 20.0, 0.001, 100.0


@dataclass(frozen=True, slots=True)
class PriorRow:
    """The prior of one coefficient, normal on the logit scale.

    ``coefficient`` is ``intercept`` or the kind of a feature, before the name of its column where that has a prior of
    its own; ``basis`` is ``learned`` from published crosses, ``judged``, or ``own``: set by the grower; ``evidence`` is
    what it leans on.
    """

    coefficient: str
    mean: float
    sd: float
    basis: str
    evidence: str


@dataclass(frozen=True, slots=True)
class EffectRow:
    """The prior of how widely an effect varies: half-normal on the logit scale, the sd's median .67 of ``scale``."""

    effect: str
    scale: float
    basis: str
    evidence: str


_Row = TypeVar("_Row", PriorRow, EffectRow)


@dataclass(frozen=True, slots=True)
class Priors:
    """A table of priors: the one that comes with the package (`published`), or one that a grower has changed."""

    rows: tuple[PriorRow, ...]
    effects: tuple[EffectRow, ...]

    @property
    def fingerprint(self) -> str:
        """SHA-256 over the numbers, in hexadecimal; the evidence changes no forecast."""
        rows = sorted((row.coefficient, float(row.mean), float(row.sd)) for row in self.rows)
        effects = sorted((row.effect, float(row.scale)) for row in self.effects)
        return sha256(repr((rows, effects)).encode()).hexdigest()

    @property
    def own(self) -> int:
        """How many rows the grower has set."""
        return sum(row.basis == "own" for row in self.rows) + sum(row.basis == "own" for row in self.effects)

    def prior_for(self, features: Sequence[Feature]) -> GaussianPrior:
        """Return the prior of the intercept and the coefficients, the intercept first.

        Examples
        --------
        >>> published().changed({"time": {"sd": 1}}).prior_for([Feature("time")]).sd
        array([2., 1.])
        """
        row_of = {row.coefficient: row for row in self.rows}
        rows = [row_of["intercept"], *(row_of[_entry(feature, row_of)] for feature in features)]
        return GaussianPrior(*(np.array([getattr(row, key) for row in rows], np.float64) for key in ("mean", "sd")))

    def effect_scales(self, step: str, spread: float = 1.0) -> dict[str, float]:
        """Return the half-normal scale of each effect at a step that has so great a share of what the whole varies by.

        The fate of a record is each step's own.

        Examples
        --------
        >>> published().effect_scales("set", 0.5)["seed"], published().effect_scales("fill", 0.5)["record"]
        (1.25, 1.0)
        """
        scales = {row.effect: spread * row.scale for row in self.effects}
        record = next(row.scale for row in self.effects if row.effect == "record")
        return {**scales, "record": float(_table()["records"].get(step, record))}

    def faults(self, by: object, file: str | None = None) -> list[Fault]:
        """Return what is wrong with a table of changes, every fault with its place in the file."""
        shape: dict[str, Any] = {row.coefficient: _OF_A_COEFFICIENT for row in self.rows}
        shape["effects"] = {row.effect: _OF_AN_EFFECT for row in self.effects}
        return list(_walk(("priors",), by, shape, file))

    def changed(self, by: Mapping[str, Any]) -> Priors:
        """Return the table with some of its numbers changed; BadInput with every fault of ``by``.

        ``by`` is of the shape of the table: coefficient, then any of ``mean``, ``sd`` and ``evidence``; under
        ``effects`` the effect, then any of ``scale`` and ``evidence``. What is not named stays.

        Examples
        --------
        >>> own = published().changed({"time": {"mean": -2.5}})
        >>> [(row.mean, row.sd) for row in own.rows if row.basis == "own"]
        [(-2.5, 1.5)]
        """
        if wrong := self.faults(by):
            raise BadInput(wrong)
        of_effects = by.get("effects", {})
        rows = tuple(
            _own(row, say("priors.give_or_take", mean=f"{row.mean:g}", sd=f"{row.sd:g}"), by.get(row.coefficient, {}))
            for row in self.rows
        )
        return Priors(rows, tuple(_own(row, f"{row.scale:g}", of_effects.get(row.effect, {})) for row in self.effects))


_OF_A_COEFFICIENT = {"mean": "number", "sd": "positive", "evidence": "text"}
_OF_AN_EFFECT = {"scale": "positive", "evidence": "text"}


def _entry(feature: Feature, table: Mapping[str, Any]) -> str:
    """Return where a feature stands in a table: under its column, if that has a row of its own."""
    own = f"{feature.kind} {feature.column}"
    return own if own in table else feature.kind


def _own(row: _Row, was: str, change: Mapping[str, Any]) -> _Row:
    """Say that the grower set it, and why if that was said; else what the number in its place leant on."""
    if not change:
        return row
    evidence = say("priors.own", was=was, evidence=row.evidence)
    if "evidence" in change:
        evidence = say("priors.own_because", was=was, why=change["evidence"])
    numbers: dict[str, Any] = {key: float(value) for key, value in change.items() if key != "evidence"}
    return replace(row, evidence=evidence, basis="own", **numbers)


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files("crosscompat.model").joinpath("priors.toml").read_text(encoding="utf-8"))


@cache
def published() -> Priors:
    """Return the table that comes with the package, what each number leans on beside it."""
    return Priors(
        tuple(
            PriorRow(name, row["mean"], row["sd"], row["basis"], row["evidence"])
            for name, row in _table()["coefficients"].items()
        ),
        tuple(EffectRow(name, **row) for name, row in _table()["effects"].items()),
    )


def centre_of(features: Sequence[Feature]) -> Floats:
    """Return where each feature stands when the intercept alone speaks, shape (n_features,).

    Examples
    --------
    >>> centre_of([Feature("time"), Feature("same", "growth")])
    array([0. , 0.5])
    """
    return _of_rows(features, "centre")


def spread_of(features: Sequence[Feature]) -> Floats:
    """Return the variance of each feature among pairings, for want of data, shape (n_features,)."""
    return _of_rows(features, "spread")


def _of_rows(features: Sequence[Feature], key: str) -> Floats:
    rows = _table()["coefficients"]
    return np.array([rows[_entry(feature, rows)].get(key, 0.0) for feature in features], dtype=np.float64)


def doubt_of_uneven() -> tuple[float, float]:
    """Return mean and sd of what uneven chromosomes of a hybrid parent add to the logit."""
    row = _table()["uneven"]
    return float(row["mean"]), float(row["sd"])


def published_weight(how: str) -> tuple[float, float, float]:
    """Return how much a published cross made in some way weighs, as how many flowers, and how wide their level is.

    Examples
    --------
    >>> published_weight("in nature")
    (0.5, 20.0, 2.0)
    """
    row = _table()["published"]
    return float(row["weight"].get(how, 0.5)), float(row["flowers"]), float(row["level"])


def _walk(path: tuple[str, ...], value: object, shape: Mapping[str, Any] | str, file: str | None) -> Iterator[Fault]:
    """Hold a table of changes against the shape of the table."""
    place = Place(file, column=".".join(path))
    if isinstance(shape, str):
        if not _IS[shape](value):
            yield Fault(place, say(f"priors.must_be.{shape}", got=value))
    elif not isinstance(value, Mapping):
        yield Fault(place, say("priors.must_be.table", got=value), say("priors.example"))
    else:
        for key, inner in value.items():
            if key in shape:
                yield from _walk((*path, key), inner, shape[key], file)
            else:
                below = Place(file, column=".".join((*path, str(key))))
                yield Fault(below, say("priors.unknown", key=key), say("priors.known", keys=", ".join(shape)))


def _within(value: object, least: float, most: float) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and least <= value <= most


_IS: Mapping[str, Callable[[object], bool]] = {
    "number": lambda value: _within(value, -_MOST_MEAN, _MOST_MEAN),
    "positive": lambda value: _within(value, _LEAST_SD, _MOST_SD),
    "text": lambda value: isinstance(value, str) and bool(value.strip()),
}


_SHARE = 0.5
"""Of a species' effect that runs in the family; the middle of its prior."""

_SWEEPS, _DAMP = 200, 0.5
_SETTLED = 1e-6
_LEAST = 1e-6


@dataclass(frozen=True, slots=True)
class PublishedCrosses:
    """Published crosses among the species of a tree, arrays of shape (n,).

    Their parents are numbers of species; ``directed`` is False where it is not known which was the mother. Each counts
    as so many flowers, "some took" or none; ``level`` is the sd of what all of them have in common.
    """

    seed: Ints
    pollen: Ints
    directed: np.ndarray[tuple[int], np.dtype[np.bool_]]
    counts: Counts
    level: float


def with_published(
    own: Logits, before: Logits, seed: Ints, pollen: Ints, kin: Floats, crosses: PublishedCrosses,
    of_crosses: tuple[Logits, Logits], scales: Mapping[str, float],
) -> tuple[Logits, Floats]:  # fmt: skip
    """Let published crosses speak for pairings; return the logits, and what that adds to each mean, shape (n_pairs,).

    They are reported when they succeed, and hardly ever counted. So they have a level of their own, as wide as anything
    that all of them may have in common, and what is left speaks for parents, their relatives and the very pair alone.
    The posterior is found by expectation propagation in the space of their logits (Rasmussen CE, Williams CKI 2006,
    Gaussian Processes for Machine Learning, section 3.6).

    ``own`` and ``before`` are of the pairings, with the grower's own crosses and before any: the more these have told,
    the less is left to learn from others'. ``of_crosses`` are the same of the published pairings. ``seed`` and
    ``pollen``, shape (n_pairs,), are numbers of species; ``kin``, shape (n_species, n_published), is how related these
    are to the species of the published crosses, which come first (`relatedness`), 0 where that is not known; ``scales``
    are the prior scales of the effects.

    Examples
    --------
    A hybrid of species 0 and 1 is on record. It speaks for that pairing, and not at all for strangers.

    >>> way, one, two = np.array([0, 2]), *(Logits(np.full(n, -2.0), np.full(n, 3.0)) for n in (1, 2))
    >>> crosses = PublishedCrosses(way[:1], way[:1] + 1, np.array([True]), Counts.of([20.0], [0.0], some=[True]), 2.0)
    >>> scales = {"seed": 1.5, "pollen": 1.5, "pair": 1.0, "direction": 0.5}
    >>> _, adds = with_published(two, two, way, way + 1, np.eye(4), crosses, (one, one), scales)
    >>> bool(adds[0] > 0), float(adds[1])
    (True, 0.0)
    """
    if not crosses.seed.size:
        return own, np.zeros(own.mean.size)
    left = np.clip(own.sd / before.sd, 0.0, 1.0)
    theirs, theirs_before = of_crosses
    theirs_left = np.clip(theirs.sd / theirs_before.sd, 0.0, 1.0)
    among = _covariance(crosses.seed, crosses.pollen, crosses, kin, scales) * np.outer(theirs_left, theirs_left)
    rest = np.maximum(theirs.sd**2 - np.diag(among), _LEAST)
    whole = 0.5 * (among + among.T) + np.diag(rest) + crosses.level**2
    pull, inverse = _posterior(theirs.mean, whole, crosses.counts)
    across = _covariance(seed, pollen, crosses, kin, scales) * np.outer(left, theirs_left)
    adds: Floats = across @ pull
    taken = np.einsum("ij,jk,ik->i", across, inverse, across)
    return Logits(own.mean + adds, np.sqrt(np.maximum(own.sd**2 - taken, _LEAST))), adds


def _covariance(
    seed: Ints, pollen: Ints, crosses: PublishedCrosses, kin: Floats, scales: Mapping[str, float]
) -> Floats:
    """Covariance of the effects of pairings with those of published crosses, shape (n_pairs, n)."""
    one_way = _directed(seed, pollen, crosses.seed, crosses.pollen, kin, scales)
    other_way = _directed(seed, pollen, crosses.pollen, crosses.seed, kin, scales)
    return np.where(crosses.directed, one_way, 0.5 * (one_way + other_way))


def _directed(
    seed: Ints, pollen: Ints, mothers: Ints, fathers: Ints, kin: Floats, scales: Mapping[str, float]
) -> Floats:
    def related(here: Ints, there: Ints) -> Floats:
        same = here[:, None] == there[None, :]
        return np.asarray(_SHARE * kin[np.ix_(here, there)] + (1.0 - _SHARE) * same)

    same_way = (seed[:, None] == mothers) & (pollen[:, None] == fathers)
    other_way = (seed[:, None] == fathers) & (pollen[:, None] == mothers)
    return np.asarray(
        scales["seed"] ** 2 * related(seed, mothers)
        + scales["pollen"] ** 2 * related(pollen, fathers)
        + scales["pair"] ** 2 * (same_way | other_way)
        + scales["direction"] ** 2 * same_way
    )


def _posterior(mean: Floats, covariance: Floats, counts: Counts) -> tuple[Floats, Floats]:
    """Return K⁻¹ (posterior mean - prior mean), and the inverse of K plus that of the sites' precisions.

    Moments are matched site by site, all at once and damped, until they stand still.
    """
    size = len(mean)
    tau, nu = np.full(size, _LEAST), _LEAST * mean
    tilting: TiltedMoments | None = None
    for _ in range(_SWEEPS):
        root = np.sqrt(tau)
        inner = np.linalg.inv(np.eye(size) + root[:, None] * covariance * root)
        inverse = root[:, None] * inner * root
        spread = covariance - covariance @ inverse @ covariance
        centre = mean + spread @ (nu - tau * mean)
        variance = np.maximum(np.diag(spread), _LEAST)
        rest = np.maximum(1.0 / variance - tau, _LEAST)
        cavity = (centre / variance - nu) / rest
        tilting = tilting or TiltedMoments.of(counts, 1.0 / rest)
        _, moved, matched = tilting.moments(cavity, 1.0 / rest, centre, np.sqrt(variance))
        tau_new = np.maximum(1.0 / matched - rest, _LEAST)
        nu_new = moved / matched - cavity * rest
        far = np.max(np.abs(moved - centre) / np.sqrt(variance))
        tau, nu = tau + _DAMP * (tau_new - tau), nu + _DAMP * (nu_new - nu)
        if far < _SETTLED:
            break
    return nu - tau * centre, inverse
