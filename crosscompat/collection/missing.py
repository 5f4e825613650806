"""Species of the traits that the tree lacks, put where their section or genus stands."""

from __future__ import annotations

from collections.abc import Mapping

from crosscompat.book.placing import find_label
from crosscompat.ground.synonyms import for_labels
from crosscompat.known_hybrids import formulas
from crosscompat.phylogeny.classification import ranks_among
from crosscompat.phylogeny.hybrids import HybridIndex
from crosscompat.phylogeny.placement import Placed, place, place_for
from crosscompat.phylogeny.tree import Distances, Phylogeny
from crosscompat.traits import TraitTable

__all__ = ["ranks_by_species", "with_missing"]


def with_missing(
    distances: Distances, traits: TraitTable | None, synonyms: Mapping[str, str]
) -> tuple[Distances, tuple[Placed, ...]]:
    """Return a tree with the species of the traits that it lacks, and which those are.

    Parameters
    ----------
    distances : Phylogeny or DistanceTable
        A table of distances, and a tree that tells no clades, stay as they are.
    traits : TraitTable or None
        A row is what says that a species exists; its ranks, or else the genus of its name, say where it belongs. A
        hybrid of species of the tree stands between them and is not missing.
    synonyms : mapping of str to str
        Accepted name by name: a species that stands on the tree under another name is not missing.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree, placed = with_missing(parse_newick("(Aloe_vera:1,Aloe_ferox:1);"), TraitTable(("Aloe rara",), ()), {})
    >>> tree.tips, [one.group for one in placed]
    (('Aloe_vera', 'Aloe_ferox', 'Aloe rara'), ['Aloe'])
    """
    if traits is None or not isinstance(distances, Phylogeny):
        return distances, ()
    index = HybridIndex(distances.tips, for_labels({**formulas(), **synonyms}, distances.tips))
    tips = set(distances.tips)
    known: dict[str, Mapping[str, str]] = {}
    missing: dict[str, Mapping[str, str]] = {}
    for species, ranks in ranks_by_species(traits).items():
        label = find_label(index, species)
        if label is None:
            missing[species] = ranks
        elif label in tips:
            known[label] = ranks
    placed = place_for(distances, known, missing)
    return place(distances, placed), placed


def ranks_by_species(traits: TraitTable) -> dict[str, dict[str, str]]:
    """Return the ranks that a trait table knows of each species.

    Examples
    --------
    >>> from crosscompat.traits import TraitColumn
    >>> ranks_by_species(TraitTable(("a", "b"), (TraitColumn("section", "text", True, ("One", None)),)))
    {'a': {'section': 'One'}, 'b': {}}
    """
    columns = {column.name: column.values for column in traits.columns}
    ranks = ranks_among(columns)
    return {
        species: {rank: str(columns[rank][row]) for rank in ranks if columns[rank][row] is not None}
        for row, species in enumerate(traits.species)
    }
