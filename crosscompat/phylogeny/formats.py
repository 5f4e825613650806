"""Trees from files: Newick by our own reader, NEXUS and phyloXML through other libraries, by the same rules for all.

What a file is shows in its content, not in its name. DendroPy, and what Biopython reads, are known to this module only.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from os import PathLike
from typing import TYPE_CHECKING, Any

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.wording import say
from crosscompat.phylogeny.build import RawTree, build, split_support
from crosscompat.phylogeny.newick import chosen, parse_newick, parse_newicks
from crosscompat.phylogeny.postorder import in_postorder, inner_nodes, tips_below
from crosscompat.phylogeny.text_source import TextSource, file_content, worded

if TYPE_CHECKING:
    from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["read_tree", "read_trees"]

_LOOK = 4_000


def read_tree(path: str | PathLike[str], *, unit: str | None = None, index: int | None = None) -> Phylogeny:
    """Read a tree from a Newick, NEXUS or phyloXML file.

    Parameters
    ----------
    path : path
        The file; UTF-8.
    unit : str, optional
        Of the branch lengths: "My", "substitutions per site" … "unit" makes every branch count 1 and needs no lengths.
        Not given: what a phyloXML file says, else None.
    index : int, optional
        Which tree, from 0, or from -1 backwards. Needed if there are several.

    Raises
    ------
    BadInput
        If the file cannot be read, holds no tree, or several and no ``index`` was given, or the tree has faults: a
        missing, empty or non-numeric length, a decimal comma, names that are empty or come twice, brackets that do not
        match. Negative lengths are kept.
    WrongUse
        If there is no tree of that number.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "small.nwk")
    ...     _ = path.write_text("(Aloe_vera:2,(Aloe_ferox:1,Aloe_arborescens:1):1);")
    ...     tree = read_tree(path, unit="My")
    >>> tree.patristic("Aloe vera", "Aloe ferox"), tree.unit
    (4.0, 'My')
    """
    source = TextSource.of(*file_content(path))
    other = _other_format(source)
    if other is None:
        return parse_newick(source.data, file=source.file, unit=unit, index=index)
    trees = other(source)
    number = chosen(len(trees), index, source.file)
    return _built(trees[number], number, len(trees), source, unit)


def read_trees(path: str | PathLike[str], *, unit: str | None = None) -> tuple[Phylogeny, ...]:
    """Read all trees of a file, such as a posterior or bootstrap sample, by the rules of `read_tree`.

    Raises
    ------
    BadInput
        As `read_tree`.
    """
    source = TextSource.of(*file_content(path))
    other = _other_format(source)
    if other is None:
        return parse_newicks(source.data, file=source.file, unit=unit)
    trees = other(source)
    return tuple(_built(tree, number, len(trees), source, unit) for number, tree in enumerate(trees))


@dataclass(frozen=True, slots=True)
class _Foreign:
    raw: RawTree
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class _Named:
    """Points at the nodes of a tree by name, where a library has kept no places."""

    file: str | None
    raw: RawTree
    tree: str

    def place(self, node: int) -> Place:  # noqa: ARG002 - every node stands in the file
        """Return the file."""
        return Place(self.file)

    def fault(self, key: str, node: int, **values: object) -> Fault:
        """Return a fault that shows the node's name, or the first and last tip it holds."""
        name = self.raw.labels[node]
        shown = self.tree + (name or self._nameless(node))
        got = name if key == "decimal_comma" else str(self.raw.length[node])
        found = worded("trees", key, Place(self.file), **{"name": name, "got": got, **values})
        return Fault(found.place, found.what, found.advice, shown, (len(self.tree), len(shown)))

    def _nameless(self, node: int) -> str:
        """Tell a node without a name by the first and last tip it holds, or by its number among the tips."""
        held = tips_below(self.raw.parent)[node]
        tips = np.flatnonzero(~inner_nodes(self.raw.parent))
        stop = int(np.searchsorted(tips, node, side="right"))
        if tips[stop - 1] == node:
            return say("trees.nth_tip", number=str(stop))
        return say("trees.group", first=self.raw.labels[tips[stop - held]], last=self.raw.labels[tips[stop - 1]])


def _other_format(source: TextSource) -> Callable[[TextSource], list[_Foreign]] | None:
    """Return the reader for what is no Newick."""
    head = source.data[:_LOOK].lstrip().lower()
    if head.startswith(b"#nexus"):
        return _nexus
    if head.startswith(b"<"):
        if b"<phyloxml" not in head and b":phyloxml" not in head:
            raise BadInput([worded("trees", "other_xml", Place(source.file))])
        return _phyloxml
    return None


def _built(tree: _Foreign, number: int, count: int, source: TextSource, unit: str | None) -> Phylogeny:
    label = say("trees.number", number=str(number)) if count > 1 else ""
    return build(tree.raw, _Named(source.file, tree.raw, label), unit or tree.unit)


def _nexus(source: TextSource) -> list[_Foreign]:
    """Read NEXUS through DendroPy: labels as written, capitals and small letters apart."""
    import dendropy  # noqa: PLC0415 - heavy, and few files are NEXUS
    from dendropy.dataio.newickreader import NewickReader  # noqa: PLC0415 - as above

    text = source.data.decode("utf-8")
    try:
        trees = dendropy.TreeList.get(
            data=text,
            schema="nexus",
            taxon_namespace=dendropy.TaxonNamespace(is_case_sensitive=True),
            case_sensitive_taxon_labels=True,
            preserve_underscores=True,
            suppress_internal_node_taxa=True,
        )
        read = [_from_dendropy(tree) for tree in trees]
    except RecursionError:
        raise BadInput([worded("trees", "too_deep", Place(source.file), format="NEXUS")]) from None
    except NewickReader.NewickReaderDuplicateTaxonError as error:
        name = str(error.message).rsplit(": ", 1)[-1]
        place = Place(source.file, line=error.line_num, character=error.col_num)
        raise BadInput([worded("trees", "duplicate_unplaced", place, name=name)]) from None
    except Exception as error:  # noqa: BLE001 - DendroPy raises many kinds for one thing: it cannot read this
        place = Place(source.file, line=getattr(error, "line_num", None), character=getattr(error, "col_num", None))
        reason = _first_line(getattr(error, "message", error))
        raise BadInput([worded("trees", "nexus_fault", place, reason=reason)]) from None
    return _some(read, source, "NEXUS")


def _phyloxml(source: TextSource) -> list[_Foreign]:
    """Read phyloXML through Biopython."""
    phylo: Any = import_module("Bio.Phylo")  # heavy, untyped, and few files are phyloXML

    try:
        read = [_from_biopython(tree) for tree in phylo.parse(io.BytesIO(source.data), "phyloxml")]
    except RecursionError:
        raise BadInput([worded("trees", "too_deep", Place(source.file), format="phyloXML")]) from None
    except Exception as error:  # noqa: BLE001 - Biopython and its XML parser raise many kinds for one thing
        line, column = getattr(error, "position", (None, None))
        place = Place(source.file, line=line, character=None if column is None else column + 1)
        raise BadInput([worded("trees", "phyloxml_fault", place, reason=_first_line(error))]) from None
    return _some(read, source, "phyloXML")


def _first_line(reason: object) -> str:
    return str(reason).strip().split("\n")[0].rstrip(".")


def _some(trees: list[_Foreign], source: TextSource, format_: str) -> list[_Foreign]:
    if not trees:
        raise BadInput([worded("trees", "none", Place(source.file), format=format_)])
    return trees


def _from_dendropy(tree: Any) -> _Foreign:
    def label(node: Any) -> str:
        return (node.taxon.label if node.taxon else node.label) or ""

    nodes, parent = in_postorder(tree.seed_node, lambda node: node.child_nodes())
    raw = _raw(parent, [label(node) for node in nodes], [node.edge.length for node in nodes], rooted=tree.is_rooted)
    return _Foreign(raw)


def _from_biopython(tree: Any) -> _Foreign:
    nodes, parent = in_postorder(tree.root, lambda clade: clade.clades)
    raw = _raw(
        parent, [_clade_label(clade) for clade in nodes], [clade.branch_length for clade in nodes], rooted=tree.rooted
    )
    for node, clade in enumerate(nodes):
        if clade.confidences:
            raw.support[node] = float(clade.confidences[0])
    return _Foreign(raw, tree.branch_length_unit)


def _clade_label(clade: Any) -> str:
    """Return a clade's name, or the scientific name of its first taxonomy."""
    names = [clade.name, *(taxonomy.scientific_name for taxonomy in clade.taxonomies)]
    return next((name for name in names if name), "")


def _raw(parent: list[int], labels: list[str], lengths: Sequence[float | None], *, rooted: bool | None) -> RawTree:
    above = np.array(parent, dtype=np.int64)
    absent = np.array([length is None for length in lengths], dtype=np.bool_)
    length = np.array([np.nan if length is None else float(length) for length in lengths])
    return RawTree(above, length, absent, labels, split_support(labels, inner_nodes(above)), rooted)
