"""What published crosses of a pairing and its kin say of it.

They are reported when they succeed, and hardly ever counted. So they have a level of their own, as wide as anything
that all of them may have in common, and what is left speaks for parents, their relatives and the very pair alone: never
for pairings in general. The posterior of so few is found by expectation propagation in the space of their logits [1]_.

References
----------
.. [1] Rasmussen CE, Williams CKI (2006). Gaussian Processes for Machine Learning, section 3.6. MIT Press.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from crosscompat.model.composition import Logits
from crosscompat.model.inference import TiltedMoments
from crosscompat.model.likelihood import Counts, Floats, Ints

_SHARE = 0.5
"""Of a species' effect that runs in the family; the middle of its prior."""

_SWEEPS, _DAMP = 200, 0.5
_SETTLED = 1e-6
_LEAST = 1e-6


@dataclass(frozen=True, slots=True)
class PublishedCrosses:
    """Published crosses among the species of a tree, arrays of shape (n,).

    Attributes
    ----------
    seed, pollen : ndarray of int
        Their parents, by number of species.
    directed : ndarray of bool
        False where it is not known which was the mother.
    counts : Counts
        Each as so many flowers: "some took", or none.
    level : float
        Standard deviation of what all of them have in common.
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
    """Let published crosses speak for pairings.

    Parameters
    ----------
    own, before : Logits
        Of the pairings, with the grower's own crosses and before any: the more these have told, the less is left to
        learn from others'.
    seed, pollen : ndarray of int, shape (n_pairs,)
        Their parents, by number of species.
    kin : ndarray of float, shape (n_species, n_published)
        How related the species are to those of the published crosses, which come first (`relatedness`); 0 for those not
        known to be.
    crosses : PublishedCrosses
    of_crosses : tuple of Logits, Logits
        Of the published pairings: as ``own`` and ``before``.
    scales : mapping of str to float
        Prior scale of each effect.

    Returns
    -------
    Logits
        Of the pairings, the published crosses among what is known.
    ndarray of float, shape (n_pairs,)
        What they add to each mean.

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
