"""Published hybrids, and published failures, near a pairing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from crosscompat.book.placing import find_label
from crosscompat.carried import KnownHybrid, known_hybrids
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say
from crosscompat.phylogeny.distances import Distances
from crosscompat.phylogeny.taxa import Pedigree

__all__ = ["KnownNear", "known_near", "published_of"]

_LEVEL = 1e-9


@dataclass(frozen=True, slots=True)
class KnownNear:
    """A published cross near a pairing.

    Attributes
    ----------
    hybrid : str or None
    seed_parent, pollen_parent : str
        Its parents in correct form.
    outcome : {"hybrid", "failure"}
    same : bool
        Whether it is the very pairing asked about (where its direction is known, this way round).
    farther : float
        How far the farther of its parents stands from the parent it is set against, in the unit of the tree.
    source : str
    words : str
        All of it in a sentence.
    """

    hybrid: str | None
    seed_parent: str
    pollen_parent: str
    outcome: Literal["hybrid", "failure"]
    same: bool
    farther: float
    source: str
    words: str


def known_near(
    seed: str, pollen: str, distances: Distances, known: Sequence[KnownHybrid] | None = None, *, most: int = 3
) -> list[KnownNear]:
    """Return published crosses near a pairing, the nearest first.

    A published cross a × b is near s × p if both bridge the same gap: a stands nearer to s, and b nearer to p, than a
    to b; or as near, where s and p are as far apart as a and b, as in a group that is not resolved. Which of its
    parents was the mother does not matter for that. A failure is near only if it is the very pairing: one failure says
    little of relatives.

    Parameters
    ----------
    seed, pollen : str
        Labels of the tree, seed parent first.
    distances : Phylogeny or DistanceTable
        Published crosses with a parent that has no place there, or no known distance to the pairing, are passed over.
    known : sequence of KnownHybrid, optional
        By default those that come with the package.
    most : int
        So many at most.

    Raises
    ------
    UnknownName
        If the pairing's own parents have no place.

    Notes
    -----
    The rule is a judgement of this project.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(((Aloe_ferox:1,Aloe_africana:1):1,Aloe_vera:2):3,Aloe_dichotoma:5);")
    >>> made = KnownHybrid("Aloe ×nova", "Aloe ferox", "Aloe vera", False, "hybrid", "by hand", "", "invented")
    >>> [(near.hybrid, near.same, near.farther) for near in known_near("Aloe_vera", "Aloe_africana", tree, [made])]
    [('Aloe ×nova', False, 2.0)]
    >>> known_near("Aloe_vera", "Aloe_dichotoma", tree, [made])
    []
    """
    found = []
    for entry in known_hybrids() if known is None else known:
        parents = [find_label(distances.index, name) for name in (entry.seed_parent, entry.pollen_parent)]
        if parents[0] is None or parents[1] is None:
            continue
        near = _nearness(entry, (seed, pollen), (parents[0], parents[1]), distances)
        if near is not None:
            found.append(near)
    return sorted(found, key=lambda near: (not near.same, near.farther, near.words))[:most]


def published_of(hybrids: Sequence[Pedigree], distances: Distances) -> list[KnownNear]:
    """Return the published crosses that hybrids themselves came of, each once; none of a hybrid of hybrids."""
    species = set(distances.tips)
    made = [plant.parents for plant in hybrids if plant.parents is not None and species.issuperset(plant.parents)]
    found = (near for seed, pollen in made for near in known_near(seed, pollen, distances))
    own = {near.words: replace(near, same=False) for near in found if near.same and near.outcome == "hybrid"}
    return list(own.values())


def _nearness(
    entry: KnownHybrid, asked: tuple[str, str], parents: tuple[str, str], distances: Distances
) -> KnownNear | None:
    """Set a published cross against a pairing, either way round."""
    between = distances.patristic_matrix([*asked, *parents])
    gap, own_gap = between[2, 3], between[0, 1]
    ways = [max(between[0, 2], between[1, 3]), max(between[0, 3], between[1, 2])]
    farther = float(np.fmin(*ways))
    same = ways[0] == 0 or (ways[1] == 0 and not entry.direction_known)
    nearer = farther < gap * (1 - _LEVEL) or (farther <= gap * (1 + _LEVEL) and own_gap >= gap * (1 - _LEVEL))
    if not same and (entry.outcome == "failure" or not nearer):
        return None
    seed, pollen = (correct_form(name) for name in (entry.seed_parent, entry.pollen_parent))
    name = correct_form(entry.hybrid) if entry.hybrid else None
    return KnownNear(
        name, seed, pollen, entry.outcome, bool(same), farther, entry.source, _words(entry, seed, pollen, name)
    )


def _words(entry: KnownHybrid, seed: str, pollen: str, name: str | None) -> str:
    def part(text: str | None) -> str:
        return say("known_hybrids.between") + text if text else ""

    note = say("known_hybrids.note", note=entry.note) if entry.note else ""
    return say(
        f"known_hybrids.{entry.outcome}",
        pair=f"{seed} × {pollen}",
        name=part(name),
        how=part(entry.how),
        note=note,
        source=entry.source,
    )
