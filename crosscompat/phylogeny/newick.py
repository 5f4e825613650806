"""The reader of Newick trees: no recursion, and a place for every fault.

Quotes and comments are hidden first (`mask`); then every comma, closing bracket and semicolon ends one node, which
gives the nodes in postorder, and the brackets give their depths. What is read and how:

- labels are kept as written, underscores too; a run of blanks or line breaks inside an unquoted label is one blank;
- a plain number on an inner node is its support, any other text its name; a quoted number is a name;
- every branch off the root needs a length, a plain decimal number with or without an exponent; negative ones are kept;
- nodes with one child, polytomies, a root with a length, and numbers as tip names are all read as they stand;
- a tree after the first begins with a bracket, so that text behind the last semicolon is never taken for a tree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse
from crosscompat.ground.wording import say
from crosscompat.phylogeny.build import RawTree, build
from crosscompat.phylogeny.mask import HIDDEN, Masked, mask
from crosscompat.phylogeny.numbers import read_numbers
from crosscompat.phylogeny.postorder import Floats, Ints, parents_from_depth
from crosscompat.phylogeny.scan import Nodes, scan
from crosscompat.phylogeny.text_source import SHOWN, Source, capped, told

if TYPE_CHECKING:
    from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["parse_newick", "parse_newicks"]

_ENDS = bytes.maketrans(b"):;", b",,,")
_BLANKS = tuple(bytes([blank]) for blank in b" \t\n\r\v\f")


def parse_newick(
    text: str | bytes, *, file: str | None = None, unit: str | None = None, index: int | None = None
) -> Phylogeny:
    """Read one tree from a Newick text.

    Parameters
    ----------
    text : str or bytes
        Bytes must be UTF-8.
    file : str, optional
        What to call the text in faults.
    unit : str, optional
        Of the branch lengths; "unit" makes every branch count 1, whatever the text says.
    index : int, optional
        Which tree, from 0, or from -1 backwards. Needed if there are several.

    Raises
    ------
    BadInput
        With every fault of the tree. Where brackets or quotes do not match, with the first.
    WrongUse
        If there is no tree of that number.

    Examples
    --------
    >>> tree = parse_newick("((Aloe_vera:1,'Aloe ''Gold''':2)95:3,c:4);")
    >>> tree.tips, float(tree.support[2]), tree.patristic("Aloe vera", "c")
    (('Aloe_vera', "Aloe 'Gold'", 'c'), 95.0, 8.0)
    """
    read = _Reader(Source.of(text, file))
    return read.tree(chosen(read.count, index, file), unit)


def parse_newicks(text: str | bytes, *, file: str | None = None, unit: str | None = None) -> tuple[Phylogeny, ...]:
    """Read every tree of a Newick text, with the rules of `parse_newick`.

    Raises
    ------
    BadInput
        As `parse_newick`.

    Examples
    --------
    >>> [tree.n_tips for tree in parse_newicks("(a:1,b:1);(a:1,b:1,c:1);")]
    [2, 3]
    """
    read = _Reader(Source.of(text, file))
    return tuple(read.tree(number, unit) for number in range(read.count))


def chosen(count: int, index: int | None, file: str | None) -> int:
    """Return which of ``count`` trees is meant.

    Raises
    ------
    BadInput
        If there are several and none was chosen.
    WrongUse
        If there is no such tree.

    Examples
    --------
    >>> chosen(1, None, None), chosen(5, -1, None)
    (0, 4)
    """
    if index is None:
        if count > 1:
            raise BadInput([told("newick", "several", Place(file), n=count, last=count - 1)])
        return 0
    if not -count <= index < count:
        raise WrongUse(say("newick.no_such_tree", n=count, index=str(index), last=count - 1))
    return index % count


class _Reader:
    """One text, scanned once; its trees are made one by one."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self._masked = mask(source)
        self._nodes = scan(source, self._masked)
        depth, inner = self._nodes.depth, self._nodes.inner
        self._parent = parents_from_depth(depth, inner)
        self._roots = np.flatnonzero(depth == 0)
        self._texts = _Texts(source, self._masked)
        self.count = self._roots.size

    def tree(self, number: int, unit: str | None) -> Phylogeny:
        """Check tree ``number`` and return it."""
        first = int(self._roots[number - 1]) + 1 if number else 0
        stop = int(self._roots[number]) + 1
        nodes = self._nodes.cut(first, stop)
        labels, plain, faults = self._texts.labels(nodes)
        length, more = self._texts.lengths(nodes)
        parent = self._parent[first:stop] - first
        parent[-1] = -1
        support = self._texts.support(nodes, labels, plain)
        raw = RawTree(parent, length, nodes.length_stop < 0, labels, support, self._rooted(first, stop))
        return build(raw, _Spots(self.source, nodes, labels), unit, faults + more)

    def _rooted(self, first: int, stop: int) -> bool | None:
        """Return what the last rooting mark says that stands before the tree's first bracket or name."""
        begin = int(self._nodes.stop[first - 1]) if first else 0
        end = int(self._nodes.name_start[first:stop].min())
        body = self._masked.data.find(b"(", begin)
        end = body if 0 <= body < end else int(self._nodes.stop[first])
        said = [rooted for at, rooted in self._masked.rooting if begin <= at < end]
        return said[-1] if said else None


class _Texts:
    """Takes labels and lengths out of a text."""

    def __init__(self, source: Source, masked: Masked) -> None:
        self._source, self._masked = source, masked
        self._content = np.frombuffer(masked.data, dtype=np.uint8)

    def labels(self, nodes: Nodes) -> tuple[list[str], Ints, list[Fault]]:
        """Return all labels, the nodes whose label was there and not quoted, and the faults in them."""
        written = self._written(nodes)
        labels = written.decode("utf-8").split(",")
        if any(blank in written for blank in _BLANKS):
            labels = [" ".join(label.split()) for label in labels]
        if self._masked.quoted:
            return self._with_quoted(labels, nodes)
        return labels, np.flatnonzero(nodes.name_stop > nodes.name_start), []

    def _written(self, nodes: Nodes) -> bytes:
        """Return the labels with a comma between each two: the tree without its opening brackets and its lengths."""
        turns = np.empty(2 * nodes.stop.size, dtype=np.int64)
        turns[::2], turns[1::2] = nodes.name_stop, nodes.stop
        start, stop = int(nodes.name_start[0]), int(nodes.stop[-1])
        kept = np.repeat(np.tile([True, False], nodes.stop.size), np.diff(turns, prepend=start))
        text: bytes = self._content[start:stop][kept].tobytes()
        return text.translate(_ENDS, b"(")

    def _with_quoted(self, labels: list[str], nodes: Nodes) -> tuple[list[str], Ints, list[Fault]]:
        hidden, plain, faults = HIDDEN.decode(), [], []
        for node, label in enumerate(labels):
            if hidden not in label:
                plain.append(node)
                continue
            start = self._masked.data.index(HIDDEN, int(nodes.name_start[node]))
            stop, labels[node] = self._masked.quoted[start]
            if label.strip(hidden):
                faults.append(self._source.fault("after_quote", stop, int(nodes.name_stop[node])))
        return labels, np.array(plain, dtype=np.int64), faults

    def support(self, nodes: Nodes, labels: list[str], plain: Ints) -> Floats:
        """Return the numbers among the unquoted labels of inner nodes, NaN for the rest, and blank those labels."""
        inner = plain[nodes.inner[plain]]
        values, _ = read_numbers(self._content, nodes.name_start[inner], nodes.name_stop[inner])
        number = np.isfinite(values)
        support = np.full(nodes.depth.size, np.nan)
        support[inner[number]] = values[number]
        for node in inner[number].tolist():
            labels[node] = ""
        return support

    def lengths(self, nodes: Nodes) -> tuple[Floats, list[Fault]]:
        """Return all branch lengths, NaN where absent, and a fault for each that is no number."""
        given = np.flatnonzero(nodes.length_stop >= 0)
        start, stop = nodes.name_stop[given] + 1, nodes.length_stop[given]
        values, bad = read_numbers(self._content, start, stop)
        length = np.full(nodes.depth.size, np.nan)
        length[given] = values
        faults: dict[str, list[Fault]] = {"bad_length": [], "empty_length": []}
        count = dict.fromkeys(faults, 0)
        for place in bad:
            left, right = int(start[place]), int(stop[place])
            got = self._source.data[left:right].strip()
            key = "bad_length" if got else "empty_length"
            count[key] += 1
            if count[key] <= SHOWN:
                left += len(self._source.data[left:right]) - len(self._source.data[left:right].lstrip()) if got else 0
                shown = got.decode("utf-8", "replace")
                faults[key].append(self._source.fault(key, left, left + max(1, len(got)), got=shown))
            length[given[place]] = 0.0
        listed = [capped(found, count[key], f"newick.{key}", self._source.file) for key, found in faults.items()]
        return length, [fault for found in listed for fault in found]


@dataclass(frozen=True, slots=True)
class _Spots:
    """Points at the nodes of one tree in its text."""

    source: Source
    nodes: Nodes
    labels: list[str]

    @property
    def file(self) -> str | None:
        """The file's name."""
        return self.source.file

    def _span(self, node: int) -> tuple[int, int]:
        start, stop = int(self.nodes.name_start[node]), int(self.nodes.name_stop[node])
        text = self.source.data[start:stop]
        if not text.strip():
            return (start - 1, start) if self.nodes.inner[node] else (start, max(stop, start + 1))
        return start + len(text) - len(text.lstrip()), start + len(text.rstrip())

    def place(self, node: int) -> Place:
        """Return where a node's name stands, or the bracket that closes it."""
        return self.source.place(self._span(node)[0])

    def fault(self, key: str, node: int, **values: object) -> Fault:
        """Return a fault at a node's name, or at its length if that is what is wrong."""
        start, stop = self._span(node)
        if key == "not_finite":
            start, stop = int(self.nodes.name_stop[node]) + 1, int(self.nodes.length_stop[node])
        got = self.source.data[start:stop].decode("utf-8", "replace").strip()
        return self.source.fault(key, start, stop, "trees", **{"name": self.labels[node], "got": got, **values})
