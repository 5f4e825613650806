"""Newick trees: read without recursion and with a place for every fault, and written.

What is read and how:

- labels are kept as written, underscores too; a run of blanks or line breaks inside an unquoted label is one blank;
- in a quoted label the doubled quote stands for one; " works as ' does;
- a plain number on an inner node is its support, any other text its name; a quoted number is a name;
- every branch off the root needs a length, a plain decimal number with or without an exponent; negative ones are kept;
- nodes with one child, polytomies, a root with a length, and numbers as tip names are all read as they stand;
- a tree after the first begins with a bracket, so that text behind the last semicolon is never taken for a tree.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import compress

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse, first_faults, worded
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.newick_scan import HIDDEN, Nodes, mask, scan
from crosscompat.phylogeny.text_source import NUMBER, TextSource
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Bools, Floats, Ints, inner_nodes, parents_from_depth

_MARKS_AS_COMMAS = bytes.maketrans(b"):;", b",,,")
_BLANKS = " \t\n\r\v\f"
_BLANK, _DELETE, _COMMA, _UNDERSCORE = b" \x7f,_"
_DECIMALS = re.compile(r"[0-9]+(?:[eE][+-]?[0-9]+)?")
_OF_NUMBERS = b"0123456789.eE+-, \t\r\n"
_NO_NUMBER = frozenset({"nan", "inf", "infinity", "na"})
_PLAIN_LABEL = re.compile(r"[^\s'\"()\[\],:;_]+(?:_[^\s'\"()\[\],:;_]+)*")
_ROOTING = {True: "[&R] ", False: "[&U] ", None: ""}


def parse_newick(
    text: str | bytes, *, file: str | None = None, unit: str | None = None, index: int | None = None
) -> Phylogeny:
    """Read one tree from a Newick text; bytes must be UTF-8, and faults call it ``file``.

    ``unit`` is of the branch lengths; "unit" makes every branch count 1, whatever the text says. ``index`` says which
    tree, from 0, or from -1 backwards, and is needed if there are several.

    Raises
    ------
    BadInput, WrongUse
        With every fault of the tree, or the first where brackets or quotes do not match; if there is no such tree.

    Examples
    --------
    >>> tree = parse_newick("((Aloe_vera:1,'Aloe ''Gold''':2)95:3,c:4);")
    >>> tree.tips, float(tree.support[2]), tree.patristic("Aloe vera", "c")
    (('Aloe_vera', "Aloe 'Gold'", 'c'), 95.0, 8.0)
    """
    trees = newick_trees(TextSource.of(text, file))
    return trees[chosen(len(trees), index, file)](unit)


def parse_newicks(text: str | bytes, *, file: str | None = None, unit: str | None = None) -> tuple[Phylogeny, ...]:
    """Read every tree of a Newick text, with the rules and errors of `parse_newick`.

    Examples
    --------
    >>> [tree.n_tips for tree in parse_newicks("(a:1,b:1);(a:1,b:1,c:1);")]
    [2, 3]
    """
    return tuple(tree(unit) for tree in newick_trees(TextSource.of(text, file)))


def newick_trees(source: TextSource) -> list[Callable[[str | None], Phylogeny]]:
    """Return what makes each tree of a text, given the unit of its branch lengths; errors as `parse_newick`."""
    reader = _Reader(source)
    return [partial(reader.tree, number) for number in range(reader.count)]


def chosen(count: int, index: int | None, file: str | None) -> int:
    """Return which of ``count`` trees is meant; raises `BadInput` if it is not said, `WrongUse` if there is none."""
    if index is None:
        if count > 1:
            raise BadInput([worded("newick", "several", Place(file), n=count, last=count - 1)])
        return 0
    if not -count <= index < count:
        raise WrongUse(say("newick.no_such_tree", n=count, index=str(index), last=count - 1))
    return index % count


def newick_text(tree: Phylogeny) -> str:
    """Return a tree as one line of Newick that reads back the same.

    A name with blanks or marks in it is put in quotes; support stands where a name would, if there is none.

    Examples
    --------
    >>> print(newick_text(parse_newick("[&R]((Aloe_vera:1,'Aloe ''Gold''':2)95:3,c:4)x;")), end="")
    [&R] ((Aloe_vera:1.0,'Aloe ''Gold''':2.0)95:3.0,c:4.0)x;
    """
    inside: list[list[str]] = [[] for _ in range(tree.n_nodes)]
    text = ""
    for node, above in enumerate(tree.parent.tolist()):
        held = f"({','.join(inside[node])})" if inside[node] else ""
        inside[node].clear()
        length = float(tree.length[node])
        text = held + _label_text(tree, node, inner=bool(held)) + ("" if np.isnan(length) else f":{length!r}")
        if above >= 0:
            inside[above].append(text)
    return f"{_ROOTING[tree.rooted]}{text};\n"


def _label_text(tree: Phylogeny, node: int, *, inner: bool) -> str:
    label, support = tree.labels[node], float(tree.support[node])
    if not label:
        return "" if np.isnan(support) else repr(support).removesuffix(".0")
    if _PLAIN_LABEL.fullmatch(label) and not (inner and NUMBER.fullmatch(label)):
        return label
    return "'" + label.replace("'", "''") + "'"


class _Reader:
    """One text, scanned once; its trees are made one by one."""

    def __init__(self, source: TextSource) -> None:
        self._source = source
        self._masked = mask(source)
        self._nodes = scan(source, self._masked.data)
        self._parent = parents_from_depth(self._nodes.depth, self._nodes.inner)
        self._roots = np.flatnonzero(self._nodes.depth == 0)
        self.count = self._roots.size

    def tree(self, number: int, unit: str | None) -> Phylogeny:
        """Check tree ``number`` and return it."""
        first = int(self._roots[number - 1]) + 1 if number else 0
        stop = int(self._roots[number]) + 1
        nodes = self._nodes.cut(first, stop)
        labels, lengths = self._words(nodes)
        labels, quoted, faults = self._labels(labels, nodes)
        length, more = self._lengths(lengths, nodes)
        parent = self._parent[first:stop] - first
        parent[-1] = -1
        support = split_support(labels, nodes.inner & ~quoted)
        draft = _Draft(self._source, nodes, parent, length, labels)
        faults = sorted([*faults, *more, *draft.faults(by_unit=unit == "unit")], key=_file_order)
        if faults:
            raise BadInput(faults)
        counted = np.ones(parent.size) if unit == "unit" else length
        return Phylogeny(parent, counted, tuple(labels), support, unit, self._rooted(first, stop))

    def _rooted(self, first: int, stop: int) -> bool | None:
        """Return what the last rooting mark says that stands before the tree's first bracket or name."""
        begin = int(self._nodes.stop[first - 1]) if first else 0
        end = int(self._nodes.name_start[first:stop].min())
        body = self._masked.data.find(b"(", begin)
        end = body if 0 <= body < end else int(self._nodes.stop[first])
        marks = [rooted for at, rooted in self._masked.rooting if begin <= at < end]
        return marks[-1] if marks else None

    def _words(self, nodes: Nodes) -> tuple[list[str], list[str]]:
        """Return the labels of all nodes, and the lengths of those that have one, as they are written."""
        start, stop = int(nodes.name_start[0]), int(nodes.stop[-1])
        words = self._masked.data[start:stop].translate(_MARKS_AS_COMMAS, b"(").decode("utf-8").split(",")
        with_length = nodes.length_stop >= 0
        if with_length[:-1].all():
            return words[::2], words[1::2]
        is_label = np.zeros(len(words), dtype=np.bool_)
        is_label[np.arange(with_length.size) + np.cumsum(with_length) - with_length] = True
        return list(compress(words, is_label.tobytes())), list(compress(words, (~is_label).tobytes()))

    def _labels(self, labels: list[str], nodes: Nodes) -> tuple[list[str], Bools, list[Fault]]:
        """Return all labels, which of them are quoted, and the faults in them."""
        joined = ",".join(labels)
        if any(blank in joined for blank in _BLANKS):
            labels = [" ".join(label.split()) for label in labels]
        quoted = np.zeros(len(labels), dtype=np.bool_)
        faults = []
        hidden = HIDDEN.decode()
        for node, label in enumerate(labels) if self._masked.quoted else ():
            start = self._masked.data.find(HIDDEN, int(nodes.name_start[node])) if hidden in label else -1
            if start in self._masked.quoted:  # or the byte stands in the file itself
                stop, labels[node] = self._masked.quoted[start]
                quoted[node] = True
                if label.strip(hidden):
                    faults.append(self._source.fault("after_quote", stop, int(nodes.name_stop[node])))
        return labels, quoted, faults

    def _lengths(self, words: list[str], nodes: Nodes) -> tuple[Floats, list[Fault]]:
        """Return all branch lengths, NaN where absent, and a fault for each that is no number."""
        length = np.full(nodes.depth.size, np.nan)
        given = np.flatnonzero(nodes.length_stop >= 0)
        length[given], bad = _numbers(words)
        wrong = given[bad]
        length[wrong] = 0.0
        spans = list(zip((nodes.name_stop[wrong] + 1).tolist(), nodes.length_stop[wrong].tolist(), strict=True))
        file, text = self._source.file, self._source.text
        odd, empty = [span for span in spans if text(*span)], [span for span in spans if not text(*span)]
        faults = first_faults(odd, self._length_fault, "newick.bad_length", file)
        return length, faults + first_faults(empty, self._length_fault, "newick.empty_length", file)

    def _length_fault(self, span: tuple[int, int]) -> Fault:
        start, stop = span
        written = self._source.data[start:stop]
        left = stop - len(written.lstrip()) if written.strip() else start
        right = left + max(1, len(written.strip()))
        key = "bad_length" if written.strip() else "empty_length"
        return self._source.fault(key, left, right, got=self._source.text(*span))


def _numbers(words: list[str]) -> tuple[Floats, list[int]]:
    """Read numbers to the last bit as ``float`` reads them, as an (m,) array, and say which words are none.

    NaN or infinite where a word says so (also "NA"), NaN where it is no number.
    """
    if not ",".join(words).encode("utf-8", "replace").translate(None, _OF_NUMBERS):
        try:  # float() alone would take "1_0", "infinity" and Arabic digits too
            return np.fromiter(map(float, words), np.float64, len(words)), []
        except ValueError:
            pass
    values, bad = np.full(len(words), np.nan), []
    for place, word in enumerate(words):
        number = word.strip()
        if NUMBER.fullmatch(number):
            values[place] = float(number)
        elif number.lstrip("+-").lower() not in _NO_NUMBER:
            bad.append(place)
        elif "inf" in number.lower():
            values[place] = np.inf
    return values, bad


def split_support(labels: list[str], inner: Bools) -> Floats:
    """Move plain numbers among the labels of inner nodes to an (n,) array of support values, NaN where there is none.

    Of n labels, which are changed in place, ``inner`` (n,) says which are of inner nodes; "95/0.98" stays a label.

    Examples
    --------
    >>> labels = ["a", "b", "95"]
    >>> split_support(labels, np.array([False, False, True])).tolist(), labels
    ([nan, nan, 95.0], ['a', 'b', ''])
    """
    support = np.full(len(labels), np.nan)
    for node in np.flatnonzero(inner).tolist() if any(compress(labels, inner.tobytes())) else ():
        if NUMBER.fullmatch(labels[node]) and np.isfinite(float(labels[node])):
            support[node] = float(labels[node])
            labels[node] = ""
    return support


def _file_order(fault: Fault) -> tuple[bool, int, int]:
    place = fault.place
    return place.line is None, place.line or 0, place.character or 0


@dataclass(frozen=True, slots=True)
class _Draft:
    """One tree as its text gives it, before anybody has looked whether it makes sense."""

    source: TextSource
    nodes: Nodes
    parent: Ints
    length: Floats
    labels: list[str]

    def faults(self, *, by_unit: bool) -> list[Fault]:
        """Return what is wrong; without missing lengths where every branch counts 1."""
        tip, absent = ~inner_nodes(self.parent), self._absent
        tips = np.flatnonzero(tip)
        labels = list(compress(self.labels, tip.tobytes()))
        plain = _folds_to_itself(labels)
        commas = self._decimal_commas(tip)
        nameless = [] if plain else [node for node, label in zip(tips.tolist(), labels, strict=True) if not fold(label)]
        faults = [*self._at("decimal_comma", commas), *self._at("empty_name", nameless)]
        faults += self._at("not_finite", np.flatnonzero(~np.isfinite(self.length) & ~absent).tolist())
        if not commas:
            if not by_unit:
                faults += self._at("no_lengths" if absent[:-1].all() else "missing_length", self._missing(nameless))
            if len(set(labels if plain else map(fold, labels))) < len(labels):
                faults += self._duplicates(tips)
        return faults

    @property
    def _absent(self) -> Bools:
        return self.nodes.length_stop < 0

    def _at(self, key: str, nodes: list[int]) -> list[Fault]:
        return first_faults(nodes, lambda node: self._fault(key, node), f"trees.{key}", self.source.file)

    def _missing(self, nameless: list[int]) -> list[int]:
        """Return the nodes off the root without a length; the first alone if the whole tree has none.

        A tip without a name is told as such and not twice.
        """
        absent = self._absent
        if absent[:-1].all():
            return list(range(min(1, absent.size - 1)))
        absent[[-1, *nameless]] = False
        return [int(node) for node in np.flatnonzero(absent)]

    def _decimal_commas(self, tip: Bools) -> list[int]:
        """Return the tips that are the digits behind a decimal comma: bare digits right after a sibling's length."""
        absent, parent = self._absent, self.parent
        after = tip[1:] & absent[1:] & ~absent[:-1] & (parent[1:] == parent[:-1])
        return [node for node in (np.flatnonzero(after) + 1).tolist() if _DECIMALS.fullmatch(self.labels[node])]

    def _duplicates(self, tips: Ints) -> list[Fault]:
        first: dict[str, int] = {}
        again: list[tuple[int, int]] = []
        for node in tips.tolist():
            folded = fold(self.labels[node])
            if folded and first.setdefault(folded, node) != node:
                again.append((first[folded], node))

        def twice(pair: tuple[int, int]) -> Fault:
            place, before = self.source.place(self._span(pair[0])[0]), self.labels[pair[0]]
            key = "duplicate" if before == self.labels[pair[1]] else "duplicate_folded"
            spot = str(Place(line=place.line, character=place.character))
            return self._fault(key if spot else f"{key}_unplaced", pair[1], first=before, spot=spot)

        return first_faults(again, twice, "trees.duplicate", self.source.file)

    def _span(self, node: int) -> tuple[int, int]:
        """Return where a node's name stands, or the bracket that closes it."""
        start, stop = int(self.nodes.name_start[node]), int(self.nodes.name_stop[node])
        text = self.source.data[start:stop]
        if not text.strip():
            return (start - 1, start) if self.nodes.inner[node] else (start, max(stop, start + 1))
        return stop - len(text.lstrip()), start + len(text.rstrip())

    def _fault(self, key: str, node: int, **values: object) -> Fault:
        """Return a fault at a node's name, or at its length if that is what is wrong."""
        start, stop = self._span(node)
        if key == "not_finite":
            start, stop = int(self.nodes.name_stop[node]) + 1, int(self.nodes.length_stop[node])
        got = self.source.text(start, stop)
        return self.source.fault(key, start, stop, "trees", **{"name": self.labels[node], "got": got, **values})


def _folds_to_itself(labels: list[str]) -> bool:
    """Say whether all are plain ASCII without blanks, with single underscores inside: folding keeps those apart."""
    joined = "," + ",".join(labels) + ","
    if not joined.isascii():
        return False
    letters = np.frombuffer(joined.encode("ascii"), dtype=np.uint8)
    edge = (letters == _COMMA) | (letters == _UNDERSCORE)
    return not ((letters <= _BLANK).any() or (letters == _DELETE).any() or (edge[1:] & edge[:-1]).any())
