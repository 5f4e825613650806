"""What a careful botanist would say of the tree and the names of a collection."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from crosscompat.book.placing import find_label
from crosscompat.collection.opening import Collection, ranks_by_species
from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import correct_form, parse
from crosscompat.ground.wording import say
from crosscompat.pairing import scale_of
from crosscompat.phylogeny.report import Scattered, group_census
from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["botany_notes"]

_SHOWN = 8


def botany_notes(collection: Collection) -> list[str]:
    """Return what stands out where tree, traits and names are set beside each other.

    Parameters
    ----------
    collection : Collection
        Its groups are those that columns of its traits name by rank, and the genera.
    """
    return [
        *_groups(collection),
        *_undetermined(collection),
        *_missing(collection),
        *_synonyms(collection),
        _usual_distance(collection),
    ]


def _usual_distance(collection: Collection) -> str:
    """Tell what distances are measured against."""
    unit = collection.distances.unit
    value = scale_of(collection.distances).width
    return say("botany.usual_distance", value=f"{value:.4g}", unit=f" {unit}" if unit else "")


def _groups(collection: Collection) -> Iterator[str]:
    tree = collection.distances
    if not isinstance(tree, Phylogeny) or tree.rooted is False or tree.has_negative:
        return
    ranks = ranks_by_species(collection.traits) if collection.traits is not None else {}
    placed = {one.species for one in collection.placed}
    found = ((find_label(tree.index, species), held) for species, held in ranks.items() if species not in placed)
    census = group_census(tree, {label: held for label, held in found if label is not None})
    if census.groups and not census.scattered:
        yield say("botany.together", n=census.groups)
    for group in census.scattered:
        yield _scattered(group)


def _scattered(group: Scattered) -> str:
    """Name the fewer: those that stray, or those that stand between."""
    if len(group.strays) <= len(group.strangers):
        return say("botany.strays", group=group.group, names=_named(group.strays), n=group.together)
    return say("botany.strangers", group=group.group, names=_named(group.strangers))


def _undetermined(collection: Collection) -> Iterator[str]:
    doubtful = [tip for tip in collection.distances.tips if _is_undetermined(tip)]
    if doubtful:
        yield say("botany.undetermined", n=len(doubtful), names=_named(doubtful))


def _is_undetermined(label: str) -> bool:
    try:
        return parse(label).qualifier is not None
    except UnknownName:
        return False


def _missing(collection: Collection) -> Iterator[str]:
    if collection.placed:
        listed = [say("botany.in_group", name=correct_form(one.species), group=one.group) for one in collection.placed]
        yield say("botany.placed", n=len(listed), names=_some(listed))
    if collection.traits is not None:
        absent = [name for name in collection.traits.species if find_label(collection.index, name) is None]
        if absent:
            yield say("botany.absent", n=len(absent), names=_named(absent))
    if collection.sample is not None:
        yield say("botany.sample", n=len(collection.sample.trees))
        beyond = [tip for tip in collection.distances.tips if find_label(collection.sample.index, tip) is None]
        if beyond:
            yield say("botany.not_sampled", n=len(beyond), names=_named(beyond))


def _synonyms(collection: Collection) -> Iterator[str]:
    index = collection.taxa.index
    lost = [name for name in collection.synonyms if find_label(index, name) is None]
    if lost:
        yield say("botany.lost_synonyms", n=len(lost), names=_named(lost))


def _named(labels: Sequence[str]) -> str:
    return _some([correct_form(label) for label in labels])


def _some(texts: Sequence[str]) -> str:
    shown, more = ", ".join(texts[:_SHOWN]), len(texts) - _SHOWN
    return say("botany.more", names=shown, n=more) if more > 0 else shown
