"""Trees from files: Newick by our own reader, NEXUS and phyloXML through other libraries, by the same rules for all.

What a file is shows in its content, not in its name. DendroPy, and what Biopython reads, are known to this module only.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from importlib import import_module
from os import PathLike
from typing import Any

import numpy as np

from crosscompat.ground.errors import SHOWN, BadInput, Fault, Place, first_faults, worded
from crosscompat.ground.names import NameIndex, fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.newick import chosen, newick_text, newick_trees, split_support
from crosscompat.phylogeny.newick_scan import mask
from crosscompat.phylogeny.text_source import TextSource, file_content
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Floats, in_postorder, inner_nodes, tips_below

MOST = 500
"""So many trees are kept, evenly over the file: more would not change a standard deviation that anybody sees."""

_LOOK = 4_000
_CLOSING = '\n";END;' * 2
"""Ends a text, a statement and a block of NEXUS."""


def read_tree(path: str | PathLike[str], *, unit: str | None = None, index: int | None = None) -> Phylogeny:
    """Read a tree from a Newick, NEXUS or phyloXML file in UTF-8.

    ``unit`` is of the branch lengths: "My", "substitutions per site" … "unit" makes every branch count 1 and needs no
    lengths; by default what a phyloXML file says, else None. ``index`` as in `parse_newick`. Negative lengths are kept.

    Raises
    ------
    BadInput, WrongUse
        If the file cannot be read or holds no tree; as `parse_newick`, whose rules hold for all formats.

    Examples
    --------
    >>> from crosscompat.carried import carried_tree
    >>> tree = read_tree(carried_tree("echinocereus").tree, unit="My")
    >>> tree.n_tips, tree.unit
    (32, 'My')
    """
    source = TextSource.of(*file_content(path))
    trees = _trees(source)
    return trees[chosen(len(trees), index, source.file)](unit)


def read_trees(path: str | PathLike[str], *, unit: str | None = None) -> tuple[Phylogeny, ...]:
    """Read all trees of a file, such as a posterior or bootstrap sample, by the rules of `read_tree`."""
    return tuple(tree(unit) for tree in _trees(TextSource.of(*file_content(path))))


def _trees(source: TextSource) -> list[Callable[[str | None], Phylogeny]]:
    """Return what makes each tree of a file, given the unit of its branch lengths."""
    head = source.data[:_LOOK].lstrip().lower()
    if head.startswith(b"#nexus"):
        format_, read = "NEXUS", _nexus
    elif head.startswith(b"<") and (b"<phyloxml" in head or b":phyloxml" in head):
        format_, read = "phyloXML", _phyloxml
    elif head.startswith(b"<"):
        raise BadInput([worded("trees", "other_xml", Place(source.file))])
    else:
        return newick_trees(source)
    try:
        trees = read(source)
    except BadInput:
        raise
    except RecursionError:
        raise BadInput([worded("trees", "too_deep", Place(source.file), format=format_)]) from None
    except Exception as error:  # noqa: BLE001 - other libraries raise many kinds for one thing: they cannot read this
        raise BadInput([_unreadable(error, source.file, format_)]) from None
    if not trees:
        raise BadInput([worded("trees", "none", Place(source.file), format=format_)])
    heads = [say("trees.number", number=str(number)) if len(trees) > 1 else "" for number in range(len(trees))]
    return [partial(_checked, tree, source.file, head) for tree, head in zip(trees, heads, strict=True)]


def _checked(tree: Phylogeny, file: str | None, head: str, unit: str | None) -> Phylogeny:
    """Return a tree of another library after all that is asked of Newick; faults show it as Newick, without a place."""
    (read,) = newick_trees(TextSource(newick_text(tree).encode("utf-8"), file, placed=False))
    try:
        return read(unit or tree.unit)
    except BadInput as bad:
        raise BadInput(fault._replace(what=head + fault.what) for fault in bad.faults) from None


def _nexus(source: TextSource) -> list[Phylogeny]:
    """Read NEXUS through DendroPy: labels as written, capitals and small letters apart.

    What DendroPy 5.1 would read for ever is refused first: a comment, a quote or a block that does not end; what still
    seems open to it is closed behind the last line, where it passes over what is too much.
    """
    text = mask(source, words=True).data.lower()
    if len(re.findall(rb"\bbegin\s", text)) > len(re.findall(rb"\bend(?:block)?\s*;", text)):
        raise BadInput([worded("trees", "open_block", Place(source.file))])
    import dendropy  # noqa: PLC0415 - heavy, and few files are NEXUS

    trees = dendropy.TreeList.get(
        data=source.data.decode("utf-8") + _CLOSING,
        schema="nexus",
        taxon_namespace=dendropy.TaxonNamespace(is_case_sensitive=True),
        case_sensitive_taxon_labels=True,
        preserve_underscores=True,
        suppress_internal_node_taxa=True,
    )
    return [_from_dendropy(tree) for tree in trees]


def _phyloxml(source: TextSource) -> list[Phylogeny]:
    """Read phyloXML through Biopython."""
    phylo: Any = import_module("Bio.Phylo")  # heavy, untyped, and few files are phyloXML
    return [_from_biopython(tree) for tree in phylo.parse(io.BytesIO(source.data), "phyloxml")]


def _unreadable(error: Exception, file: str | None, format_: str) -> Fault:
    """Word what DendroPy, Biopython or its XML parser says, with the place that they give."""
    line, column = getattr(error, "position", (None, None))
    character = None if column is None else column + 1
    line, character = getattr(error, "line_num", line), getattr(error, "col_num", character)
    reason = str(getattr(error, "message", error))
    place = Place(file, line=line, character=character)
    if "DuplicateTaxon" in type(error).__name__:
        return worded("trees", "duplicate_unplaced", place, name=reason.rsplit(": ", 1)[-1])
    return worded("trees", f"{format_.lower()}_fault", place, reason=reason.strip().split("\n")[0].rstrip("."))


def _from_dendropy(tree: Any) -> Phylogeny:
    nodes, parent = in_postorder(tree.seed_node, lambda node: node.child_nodes())
    labels = [(node.taxon.label if node.taxon else node.label) or "" for node in nodes]
    support = split_support(labels, inner_nodes(np.array(parent)))
    lengths = np.array([node.edge.length for node in nodes], dtype=np.float64)
    return Phylogeny(np.array(parent), lengths, tuple(labels), support, rooted=tree.is_rooted)


def _from_biopython(tree: Any) -> Phylogeny:
    """Take the name of a clade, or the scientific name of its first taxonomy, and its first confidence."""
    clades, parent = in_postorder(tree.root, lambda clade: clade.clades)
    names = [(clade.name, *(taxonomy.scientific_name for taxonomy in clade.taxonomies)) for clade in clades]
    labels = [next(filter(None, given), "") for given in names]
    support = split_support(labels, inner_nodes(np.array(parent)))
    for node, clade in enumerate(clades):
        if clade.confidences:
            support[node] = float(clade.confidences[0])
    lengths = np.array([clade.branch_length for clade in clades], dtype=np.float64)
    return Phylogeny(np.array(parent), lengths, tuple(labels), support, tree.branch_length_unit, tree.rooted)


@dataclass(frozen=True, eq=False, repr=False)
class TreeSample:
    """Trees of one analysis, all of the same species.

    Only relative distance counts: every tree is scaled to the mean distance over the whole sample first.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newicks
    >>> sample = TreeSample(parse_newicks("((a:1,b:1):1,c:2);((a:1,c:1):1,b:2);"))
    >>> sample.of_pairs(["a", "b"], ["b", "c"])
    (array([3., 4.]), array([1., 0.]))
    """

    trees: tuple[Phylogeny, ...]

    def __repr__(self) -> str:
        return f"<TreeSample of {len(self.trees)} trees, {self.trees[0].n_tips} tips>"

    @property
    def index(self) -> NameIndex:
        """The species that the trees hold."""
        return self.trees[0].index

    @cached_property
    def scales(self) -> Floats:
        """What the distances of each tree are multiplied by, shape (n_trees,)."""
        means = np.array([mean_distance(tree) for tree in self.trees])
        scales: Floats = means.mean() / means
        return scales

    def of_pairs(self, a: Sequence[str], b: Sequence[str]) -> tuple[Floats, Floats]:
        """Return mean and standard deviation, (m,) each, of each ``a[i]`` to ``b[i]``; raises `UnknownName`."""
        total, square = np.zeros(len(a)), np.zeros(len(a))
        first = self.trees[0].patristic_pairs(a, b) * self.scales[0]
        for tree, scale in zip(self.trees, self.scales.tolist(), strict=True):
            off = tree.patristic_pairs(a, b) * scale - first  # off the first, so that no digits are lost
            total += off
            square += off**2
        count = len(self.trees)
        return first + total / count, np.sqrt(np.maximum(square - total**2 / count, 0.0) / count)


def mean_distance(tree: Phylogeny) -> float:
    """Return the mean distance of two tips: a branch with k of n tips below it lies between k (n - k) of the pairs.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> mean_distance(parse_newick("((a:1,b:1):1,c:2);"))
    3.3333333333333335
    """
    held = tips_below(tree.parent)[:-1].astype(np.float64)
    pairs = tree.n_tips * (tree.n_tips - 1) / 2
    return float(np.sum(tree.length[:-1] * held * (tree.n_tips - held)) / pairs)


def read_sample(path: str | PathLike[str], *, unit: str | None = None) -> TreeSample:
    """Read a sample of trees from a file (NEXUS, Newick, phyloXML) that holds several.

    Trees before the chain had settled (burn-in) should have been taken out. A `BadInput` has every fault: as
    `read_trees`; one tree only; trees of other species than the first; trees without length.
    """
    trees = read_trees(path, unit=unit)
    place = Place(str(getattr(path, "name", path)))
    if len(trees) == 1:
        raise BadInput([worded("sample", "few", place)])
    kept = sorted({round(at) for at in np.linspace(0, len(trees) - 1, min(len(trees), MOST))})
    odd = {at: _tips(trees[at]) ^ _tips(trees[0]) for at in kept}
    unlike = [at for at in kept if odd[at]]
    flat = [at for at in kept if not odd[at] and mean_distance(trees[at]) <= 0]

    def fault(at: int) -> Fault:
        return worded("sample", "unlike", place, number=at, names=", ".join(sorted(odd[at])[:SHOWN]))

    faults = first_faults(unlike, fault, "sample.unlike", place.file)
    faults += first_faults(flat, lambda at: worded("sample", "flat", place, number=at), "sample.flat", place.file)
    if faults:
        raise BadInput(faults)
    return TreeSample(tuple(trees[at] for at in kept))


def _tips(tree: Phylogeny) -> frozenset[str]:
    return frozenset(map(fold, tree.tips))
