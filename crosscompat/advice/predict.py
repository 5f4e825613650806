"""What is forecast of pairings: by the grower's own crosses, by published ones, and else by the priors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crosscompat.advice.parents import Parent, uneven_parents
from crosscompat.book.crosses import Cross, find_label
from crosscompat.book.current_plants import Plants
from crosscompat.book.records import GivenForecast
from crosscompat.carried import KnownHybrid, known_hybrids
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import today
from crosscompat.ground.names import NameIndex
from crosscompat.model.composition import Logits, fit_seeds
from crosscompat.model.fitted import FittedModel, fit_training_set, prior_model
from crosscompat.model.forecast import Chances, Outlook, chances, doubted, put_to
from crosscompat.model.likelihood import Counts, Floats
from crosscompat.model.pairings import Pairings, Parents, in_place, no_surer, relatedness
from crosscompat.model.prior import PublishedCrosses, doubt_of_uneven, published_weight, with_published
from crosscompat.model.saved import SavedModel
from crosscompat.model.training_set import TrainingSet, self_fertile_labels, training_set_from
from crosscompat.pairing import recipe_for, scale_of

_Clones = list[str | None]


@dataclass(frozen=True, slots=True)
class Basis:
    """The model that answers, and where it comes from.

    Attributes
    ----------
    as_of : str or None
        The day on which the season was read; None for the prior.
    changed : tuple of str
        Which of ``tree``, ``traits``, ``crosses`` are no longer what the model was fitted on.
    fingerprint : str or None
        Of the saved model; None for the prior.
    """

    model: FittedModel
    as_of: str | None = None
    changed: tuple[str, ...] = ()
    fingerprint: str | None = None


@dataclass(frozen=True, slots=True)
class Prediction:
    """What a model predicts of pairings, arrays of shape (n_pairs,) but for the rows.

    Attributes
    ----------
    rows : ndarray of float, shape (n_pairs, n_features)
        Their numbers, NaN where unknown.
    pairings : Pairings
        Their parents, as the model numbers them.
    outlook : Outlook
        What it expects of them, by what was counted alone.
    whole : Logits
        Of a seedling from one flower, published crosses and the doubts of hybrids among what is known.
    published, uneven : ndarray of float
        What published crosses, and uneven chromosomes of hybrids, add to the mean of that.
    """

    rows: Floats
    pairings: Pairings
    outlook: Outlook
    whole: Logits
    published: Floats
    uneven: Floats

    def chance(self, flowers: ArrayLike = 1) -> Chances:
        """Return the chance of at least one seedling; ``flowers`` is one number, or one a pairing."""
        return chances(self.whole, flowers)

    @property
    def known(self) -> NDArray[np.bool_]:
        """Whether any cross of either parent, or a published one that bears on the pair, is known."""
        levels = self.pairings.levels
        return np.asarray((self.published != 0) | (levels.seed >= 0) | (levels.pollen >= 0))

    def at(self, i: int) -> Prediction:
        """Return what is predicted of one of the pairings."""
        part, whole = slice(i, i + 1), Logits(self.whole.mean[i : i + 1], self.whole.sd[i : i + 1])
        outlook = self.outlook.at(i)
        return Prediction(self.rows[part], self.pairings[part], outlook, whole, self.published[part], self.uneven[part])


FITTED_AT_ONCE = 300
"""Crosses in a book up to which a changed book is fitted for each question, which takes about a second at most."""


def basis_of(collection: Collection) -> Basis:
    """Return the model that a question is put to: what is on record today decides.

    That is the model of the last retraining; if the book, the tree or the traits have changed since, or there was none,
    one fitted now. A book too large for that keeps the model of the last retraining, and the prior for want of one.
    """
    last = last_basis(collection)
    current = last.fingerprint is not None and not last.changed
    if current or not 0 < len(collection.crosses) <= FITTED_AT_ONCE:
        return last
    day = today()
    training = training_set_of(collection, day)
    if not training.crosses:
        return Basis(prior_of(collection))
    saved = SavedModel(fitted_on(collection, training), collection.fingerprints, day.isoformat())
    return Basis(saved.model, saved.as_of, (), saved.fingerprint)


def last_basis(collection: Collection) -> Basis:
    """Return the model of the last retraining, or the prior if there was none."""
    saved = collection.saved
    if saved is None:
        return Basis(prior_of(collection), None, ("crosses",) if collection.crosses else ())
    now = collection.fingerprints
    changed = tuple(name for name in now if saved.fingerprints.get(name) != now[name])
    return Basis(saved.model, saved.as_of, changed, saved.fingerprint)


def prior_of(collection: Collection) -> FittedModel:
    """Return the model of a collection before any cross."""
    expected, most = collection.settings.pod
    none = np.empty(0)
    recipe = recipe_for(collection.traits, scale_of(collection.distances))
    return prior_model(recipe, fit_seeds(none, none, expected=expected, cap=most), collection.priors)


def training_set_of(collection: Collection, as_of: date) -> TrainingSet:
    """Return the crosses of a collection that speak, as its settings read them, on some day."""
    settings = collection.settings
    return training_set_from(
        collection.crosses,
        collection.plants,
        collection.index,
        as_of=as_of,
        windows=settings.windows,
        self_fertile=self_fertile_labels(collection.traits, collection.index),
        doubtful=settings.doubtful_weight,
    )


def fitted_on(collection: Collection, training: TrainingSet) -> FittedModel:
    """Fit some of a collection's crosses with its tree, traits, plants and settings; without any it is the prior."""
    if not training.crosses:
        return prior_of(collection)
    clones = clones_on_both_sides(collection.plants, training.crosses)
    return fit_training_set(
        training,
        recipe_for(collection.traits, scale_of(collection.distances)),
        collection.taxa,
        collection.traits,
        clones,
        pod=collection.settings.pod,
        own=_own_chromosomes(collection.plants, Parents(training.seed, training.pollen, *clones)),
        priors=collection.priors,
    )


def _own_chromosomes(plants: Plants, parents: Parents) -> dict[str, tuple[Floats, Floats]]:
    """Return the 2n counted on the very plants, by trait column, each of shape (n_pairs,); NaN where nothing was."""
    sides = (
        plants.chromosomes(side or [None] * len(parents.seed)) for side in (parents.seed_plants, parents.pollen_plants)
    )
    seed, pollen = (np.array(side, dtype=np.float64) for side in sides)
    return {"2n": (seed, pollen)}


def predict(collection: Collection, model: FittedModel, parents: Parents, *, stages: bool = False) -> Prediction:
    """Put pairings to a model: labels of the tree or of hybrids, with the clones of the very plants where named.

    With ``stages`` the chance of every stage is worked out as well.
    """
    rows, pairings, believed = _by_numbers(collection, model, parents, stages=stages)
    whole, uneven = believed.whole, np.zeros(len(rows))
    species = in_place(collection.taxa, model.seen, parents)
    if species is not None:
        of_species = _by_numbers(collection, model, species.parents)[2].whole
        whole = no_surer(whole, of_species, species.weight, species.of)
        odd = uneven_parents(collection, model.seen, parents)
        whole, uneven = doubted(whole, odd), doubt_of_uneven()[0] * odd
    whole, adds = _with_published(collection, model, parents, whole)
    return Prediction(rows, pairings, believed, whole, adds, uneven)


def _by_numbers(
    collection: Collection, model: FittedModel, parents: Parents, *, stages: bool = False
) -> tuple[Floats, Pairings, Outlook]:
    """Put pairings to a model by their numbers alone; what was found on the very plants overrides their species."""
    own = _own_chromosomes(collection.plants, parents)
    return put_to(model, collection.taxa, collection.traits, parents, own, stages=stages)


def chances_of(collection: Collection, model: FittedModel, parents: Parents, flowers: ArrayLike = 1) -> Chances:
    """Return the chance of at least one seedling of some pairings; ``flowers`` is one number, or one a pairing."""
    return predict(collection, model, parents).chance(flowers)


def _with_published(
    collection: Collection, model: FittedModel, parents: Parents, whole: Logits
) -> tuple[Logits, Floats]:
    """Let published crosses among the species of the tree speak for some pairings of species."""
    theirs, known = _on_the_tree(collection.index, tuple(collection.distances.tips))
    if not known:
        return whole, np.zeros(len(whole.mean))
    published = list(dict.fromkeys((*theirs.seed, *theirs.pollen)))
    names = list(dict.fromkeys((*published, *parents.seed, *parents.pollen)))
    kin = relatedness(collection.distances, published, names, collection.taxa.pedigree)
    at = {name: i for i, name in enumerate(names)}
    seed, pollen, mothers, fathers = (
        np.array([at[name] for name in side], dtype=np.intp)
        for side in (parents.seed, parents.pollen, theirs.seed, theirs.pollen)
    )
    weight, flowers, level = zip(*(published_weight(cross.how) for cross in known), strict=True)
    took = np.array([cross.outcome == "hybrid" for cross in known], dtype=np.bool_)
    directed = np.array([cross.direction_known for cross in known], dtype=np.bool_)
    counts = Counts.of(np.array(flowers), np.zeros(took.size), took, np.array(weight))
    crosses = PublishedCrosses(mothers, fathers, directed, counts, level[0])
    bare = replace(model, steps=())
    before, theirs_before = (_by_numbers(collection, bare, side)[2].whole for side in (parents, theirs))
    theirs_now = _by_numbers(collection, model, theirs)[2].whole
    related = np.eye(len(names)) if kin is None else kin
    return with_published(whole, before, seed, pollen, related, crosses, (theirs_now, theirs_before), model.scales)


@lru_cache(maxsize=1)
def _on_the_tree(index: NameIndex, tips: tuple[str, ...]) -> tuple[Parents, list[KnownHybrid]]:
    """Return the published crosses of two species that have a place, and the labels of their parents."""
    places = [[find_label(index, name) for name in (each.seed_parent, each.pollen_parent)] for each in known_hybrids()]
    known = [
        (str(seed), str(pollen), cross)
        for (seed, pollen), cross in zip(places, known_hybrids(), strict=True)
        if {seed, pollen} <= {*tips} and seed != pollen
    ]
    return Parents([seed for seed, _, _ in known], [pollen for _, pollen, _ in known]), [cross for *_, cross in known]


def parents_of(pairs: Sequence[tuple[Parent, Parent]]) -> Parents:
    """Return the labels of pairings, with the clones of the very plants where they are named."""
    sides = [seed for seed, _ in pairs], [pollen for _, pollen in pairs]
    labels = ([parent.label for parent in side] for side in sides)
    clones = ([parent.plant.clone if parent.plant else None for parent in side] for side in sides)
    return Parents(*labels, *clones)


def clones_on_both_sides(plants: Plants, rows: Sequence[Cross | GivenForecast]) -> tuple[_Clones, _Clones]:
    """Return the clones of the seed plants and of the pollen plants that rows name; a name not listed is its own."""
    sides = ([row.seed_plant for row in rows], [row.pollen_plant for row in rows])
    seed, pollen = ([None if name is None else plants.clone(name) for name in side] for side in sides)
    return seed, pollen
