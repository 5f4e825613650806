"""The figures that answers are made of, as they are printed and published."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from crosscompat.advice.parents import Caution, Parent, cautions
from crosscompat.advice.predict import Basis, Prediction
from crosscompat.book.crosses import Cross, placed
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import spoken_date
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.model.forecast import Chances
from crosscompat.model.training_set import fruitful, no_pairing
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.show.chances import one_in

_FLOWERS = 3
_FROM_MEAN = (
    (0.8, "very_likely"),
    (0.6, "likely"),
    (0.4, "even"),
    (0.2, "possible"),
    (0.05, "long_shot"),
    (0.0, "very_unlikely"),
)
_A_COIN = 0.9
_SURE_WITHIN, _FAIRLY_WITHIN = 0.3, 0.6

VERDICTS = ("cannot_tell", *(name for _, name in _FROM_MEAN))
SURE_WORDS = ("sure", "fairly", "guess")


@dataclass(frozen=True, slots=True)
class Interval:
    """A chance: its mean, its 90% interval, and how a grower says it."""

    mean: float
    low: float
    high: float
    words: str


def interval_at(chances: Chances, i: int) -> Interval:
    """Return one pairing's chance."""
    mean = float(chances.mean[i])
    return Interval(mean, float(chances.low[i]), float(chances.high[i]), one_in(mean))


def verdict(chance: Interval, *, known: bool = True) -> str:
    """Return a chance of a seedling as one of ``VERDICTS``, a judgement of this project.

    ``cannot_tell`` is a coin: an even chance, open over nine tenths, of which nothing is ``known``: no cross of either
    parent, and no published one that bears on the pair.

    Examples
    --------
    >>> coin = Interval(0.5, 0.01, 0.97, "")
    >>> verdict(Interval(0.65, 0.5, 0.7, "")), verdict(coin), verdict(coin, known=False)
    ('likely', 'even', 'cannot_tell')
    """
    name = next(name for least, name in _FROM_MEAN if chance.mean >= least)
    return "cannot_tell" if name == "even" and not known and chance.high - chance.low > _A_COIN else name


def how_sure(chance: Interval) -> str:
    """Return how sure a chance is, by the width of its interval, as one of ``SURE_WORDS``."""
    width = chance.high - chance.low
    return "sure" if width < _SURE_WITHIN else "fairly" if width < _FAIRLY_WITHIN else "guess"


@dataclass(frozen=True, slots=True)
class Past:
    """An earlier cross, by the grower's number.

    Attributes
    ----------
    outcome : str
        ``took``, ``failed``, ``lost`` to an accident, or ``open``.
    date_words : str or None
        The month or season, where no more is known.
    friend : str or None
        Whose it is, where it is not the grower's own.
    """

    number: str
    date: str
    flowers: int | None
    outcome: str
    lost_to: str | None = None
    date_words: str | None = None
    friend: str | None = None


_Labels = tuple[str, str]


def past_crosses(collection: Collection, of: Container[_Labels] | None = None) -> Mapping[_Labels, list[Past]]:
    """Return earlier crosses by seed parent and pollen parent, oldest first; own, sib or open pollen makes none.

    All of them, or those ``of`` some pairings.
    """
    crosses = [cross for cross in collection.crosses if no_pairing(cross, collection.plants) is None]
    crosses.sort(key=lambda cross: (cross.date, cross.row))
    places = placed(collection.index, [(cross.seed_parent, cross.pollen_parent) for cross in crosses])
    past: dict[_Labels, list[Past]] = {}
    for cross, (seed, pollen) in zip(crosses, places, strict=True):
        if seed is not None and pollen is not None and (of is None or (seed, pollen) in of):
            outcome = outcome_of(cross), cross.lost_to, cross.date_words, cross.friend
            flowers, day = cross.tried or cross.units, cross.date.isoformat()
            past.setdefault((seed, pollen), []).append(Past(cross.number, day, flowers, *outcome))
    return past


def outcome_of(cross: Cross) -> str:
    """Return what came of a cross: ``took``, ``failed``, ``lost`` to an accident, or ``open`` for not known yet."""
    return {True: "took", False: "failed", None: "open" if cross.lost_to is None else "lost"}[fruitful(cross)]


@dataclass(frozen=True, slots=True)
class PairFigures:
    """What is said of a directed pairing of species or, where they are named, of very plants.

    Attributes
    ----------
    chance, per_flower : Interval
        Of at least one seedling from the flowers, and from one.
    past : list of Past
        Earlier crosses of this pairing, this way round.
    """

    seed_parent: str
    pollen_parent: str
    seed_plant: str | None
    pollen_plant: str | None
    chance: Interval
    per_flower: Interval
    verdict: str
    verdict_words: str
    past: list[Past]
    cautions: list[Caution]


def pair_figures(
    collection: Collection,
    basis: Basis,
    predicted: Prediction,
    pairs: Sequence[tuple[Parent, Parent]],
    flowers: int,
    places: Iterable[int],
) -> Iterator[dict[str, Any]]:
    """Yield the fields of `PairFigures` for those of the pairs predicted that stand at some places."""
    all_flowers, one_flower = predicted.chance(flowers), predicted.chance()
    past = past_crosses(collection, {(seed.label, pollen.label) for seed, pollen in pairs})
    known = predicted.known
    for i in places:
        seed, pollen = pairs[i]
        chance = interval_at(all_flowers, i)
        word = verdict(chance, known=bool(known[i]))
        yield {
            "seed_parent": seed.name,
            "pollen_parent": pollen.name,
            "seed_plant": seed.own_name,
            "pollen_plant": pollen.own_name,
            "chance": chance,
            "per_flower": interval_at(one_flower, i),
            "verdict": word,
            "verdict_words": say(f"verdict.{word}"),
            "past": past.get((seed.label, pollen.label), []),
            "cautions": cautions(collection, basis.model, seed, pollen, predicted.rows[i]),
        }


@dataclass(frozen=True, slots=True)
class Distance:
    """How far apart two parents stand.

    Attributes
    ----------
    relative : float
        ``patristic`` against the usual (median) distance between two species of the tree.
    spread : float
        How unsure ``patristic`` is: a standard deviation, 0 where nothing leaves it open. A sample of trees, species
        that were only placed in a group and hybrids, which stand between their parents, leave it open.
    trees : int or None
        How many trees of a sample it was told from; None if none says anything of it.
    nodes : int or None
        Nodes between them on the tree; None for a table of distances and for hybrids.
    clade_size : int or None
        Species in the smallest clade that holds both, with all that a hybrid comes of.
    clade_depth : float or None
        Where that clade starts: 0 at the root, near 1 if the two have just parted.
    """

    patristic: float
    unit: str | None
    relative: float
    spread: float = 0.0
    trees: int | None = None
    nodes: int | None = None
    clade_size: int | None = None
    clade_depth: float | None = None
    clade_name: str | None = None


def distance_of(collection: Collection, basis: Basis, seed: str, pollen: str) -> Distance:
    """Return how far apart two labels stand, by every measure the tree allows."""
    distances, taxa = collection.distances, collection.taxa
    patristic, spread = (float(measure([seed], [pollen])[0]) for measure in (taxa.apart, taxa.spread))
    trees = taxa.trees_on(seed, pollen) or None
    distance = Distance(patristic, distances.unit, patristic / basis.model.recipe.scale.width, spread, trees)
    if not isinstance(distances, Phylogeny):
        return distance
    species = taxa.species_of([seed, pollen])
    if {seed, pollen} <= set(species):
        distance = replace(distance, nodes=distances.node_distance(seed, pollen))
    if distances.rooted is False or (distances.length < 0).any():
        return distance
    clade = max((distances.clade(species[0], other) for other in species), key=lambda clade: clade.size)
    return replace(distance, clade_size=clade.size, clade_depth=clade.depth, clade_name=fold(clade.name) or None)


@dataclass(frozen=True, slots=True)
class BasisFigures:
    """What the forecast rests on.

    Attributes
    ----------
    kind : str
        ``crosses`` or ``prior``.
    crosses, took : int
        Finished crosses that entered, and those with a seedling.
    under_way : int
        Crosses that count for some stages and are open for the rest.
    as_of : str or None
        ISO date on which the season was read.
    changed : list of str
        What has changed since: ``tree``, ``traits``, ``crosses``.
    model : str or None
        Fingerprint of the saved model.
    """

    kind: str
    crosses: int
    under_way: int
    took: int
    as_of: str | None
    changed: list[str]
    model: str | None
    words: str


def basis_figures(collection: Collection, basis: Basis) -> BasisFigures:
    """Return what a forecast rests on, with what has changed since."""
    seen, own = basis.model.seen, collection.priors.own
    kind = "prior" if basis.as_of is None else "crosses"
    finished = seen.crosses if seen.finished is None else seen.finished
    under_way = seen.crosses - finished
    changed = say("basis.and").join(say(f"basis.parts.{part}") for part in basis.changed)
    day = spoken_date(date.fromisoformat(basis.as_of)) if basis.as_of else None
    shared = kind == "crosses" and any(cross.friend and fruitful(cross) is not None for cross in collection.crosses)
    rests = say("basis.crosses_shared" if shared else f"basis.{kind}", n=finished, took=seen.took, as_of=day)
    not_yet = bool(kind == "prior" and collection.crosses and basis.changed)
    words = (
        (not_yet, say("basis.not_yet")),
        (not not_yet and (kind == "prior" or finished), rests),
        (under_way, say("basis.under_way", n=under_way)),
        (own and kind == "prior", say("basis.own_priors", n=own)),
        (collection.settings.invented and kind == "crosses", say("basis.invented")),
        (seen.crosses and not seen.related, say("basis.unrelated")),
        (changed, say("basis.changed", changed=changed)),
    )
    text = " ".join(says for holds, says in words if holds)
    return BasisFigures(kind, finished, under_way, seen.took, basis.as_of, list(basis.changed), basis.fingerprint, text)


@dataclass(frozen=True, slots=True)
class TreeFigures:
    """The tree asked: its name, unit, number of species, fingerprint, and the usual distance between two of them."""

    name: str
    unit: str | None
    species: int
    usual_distance: float
    fingerprint: str


def tree_figures(collection: Collection, basis: Basis) -> TreeFigures:
    """Return which tree was asked."""
    name, distances, width = collection.tree_name, collection.distances, basis.model.recipe.scale.width
    return TreeFigures(name, distances.unit, len(distances.tips), width, collection.fingerprints["tree"])


def grounds(collection: Collection, basis: Basis) -> tuple[BasisFigures, TreeFigures, bool]:
    """Return what an answer rests on: the crosses, the tree, and whether their outcomes are invented."""
    return basis_figures(collection, basis), tree_figures(collection, basis), collection.settings.invented


def usual_flowers(collection: Collection) -> int:
    """Return how many flowers the grower usually takes for a cross: the median of those counted, 3 if none was."""
    counted = sorted(units for cross in collection.crosses if (units := cross.units or cross.tried))
    return counted[len(counted) // 2] if counted else _FLOWERS


def is_usual(collection: Collection, flowers: int | None) -> bool:
    """Tell whether a question leaves its flowers to what the grower usually takes, and the book shows what that is."""
    return flowers is None and any(cross.units or cross.tried for cross in collection.crosses)


def flowers_or_usual(collection: Collection, flowers: int | None) -> int:
    """Return the flowers that a question names, else as many as the grower usually takes; below 1 raises `WrongUse`."""
    flowers = usual_flowers(collection) if flowers is None else flowers
    if flowers < 1:
        raise WrongUse(say("take.flowers", got=flowers))
    return flowers
