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
from functools import partial
from itertools import compress

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place, WrongUse, first_faults, worded
from crosscompat.ground.names import fold
from crosscompat.ground.wording import say
from crosscompat.phylogeny.newick_scan import HIDDEN, Masked, Nodes, mask, scan
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
        With every fault of the tree (a missing, empty or non-numeric length, a decimal comma, names that are empty or
        come twice), or the first where brackets or quotes do not match; several and no ``index``; no such tree.

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
        parent = self._parent[first:stop] - first
        parent[-1] = -1
        written = _Written(self._source, self._masked, self._nodes.cut(first, stop), parent)
        support = split_support(written.labels, written.nodes.inner & ~written.quoted)
        written.check(by_unit=unit == "unit")
        length = np.ones(parent.size) if unit == "unit" else written.length
        return Phylogeny(parent, length, tuple(written.labels), support, unit, self._rooted(first, stop))

    def _rooted(self, first: int, stop: int) -> bool | None:
        """Return what the last rooting mark says that stands before the tree's first bracket or name."""
        begin = int(self._nodes.stop[first - 1]) if first else 0
        end = int(self._nodes.name_start[first:stop].min())
        body = self._masked.data.find(b"(", begin)
        end = body if 0 <= body < end else int(self._nodes.stop[first])
        marks = [rooted for at, rooted in self._masked.rooting if begin <= at < end]
        return marks[-1] if marks else None


class _Written:
    """One tree as its text gives it: labels, which of them are quoted, lengths (NaN where absent), and their faults."""

    def __init__(self, source: TextSource, masked: Masked, nodes: Nodes, parent: Ints) -> None:
        self._source, self._masked, self.nodes, self._parent = source, masked, nodes, parent
        self._absent = nodes.length_stop < 0
        self._faults: list[Fault] = []
        labels, lengths = self._words()
        joined = ",".join(labels)
        blank = any(blank in joined for blank in _BLANKS)
        self.labels = [" ".join(label.split()) for label in labels] if blank else labels
        self.quoted = np.zeros(len(labels), dtype=np.bool_)
        if masked.quoted:
            self._unquote()
        self.length = np.full(parent.size, np.nan)
        given = np.flatnonzero(~self._absent)
        self.length[given], bad = _numbers(lengths)
        wrong = given[bad].tolist()
        empty = {node for node in wrong if not source.text(nodes.name_stop[node] + 1, nodes.length_stop[node])}
        self._blame("bad_length", [node for node in wrong if node not in empty])
        self._blame("empty_length", sorted(empty))
        self.length[wrong] = 0.0

    def check(self, *, by_unit: bool) -> None:
        """Raise every fault in the order of the file; without missing lengths where every branch counts 1."""
        tip = ~inner_nodes(self._parent)
        tips, labels = np.flatnonzero(tip).tolist(), list(compress(self.labels, tip.tobytes()))
        plain = _folds_to_itself(labels)
        commas = self._decimal_commas(tip)
        nameless = [] if plain else [node for node, label in zip(tips, labels, strict=True) if not fold(label)]
        self._blame("decimal_comma", commas)
        self._blame("empty_name", nameless)
        self._blame("not_finite", np.flatnonzero(~np.isfinite(self.length) & ~self._absent).tolist())
        if not commas:
            if not by_unit:
                self._blame("no_lengths" if self._absent[:-1].all() else "missing_length", self._missing(nameless))
            if len(set(labels if plain else map(fold, labels))) < len(labels):
                self._blame_duplicates(tips)
        if self._faults:
            raise BadInput(sorted(self._faults, key=_file_order))

    def _words(self) -> tuple[list[str], list[str]]:
        """Return the labels of all nodes, and the lengths of those that have one, as they are written."""
        start, stop = int(self.nodes.name_start[0]), int(self.nodes.stop[-1])
        words = self._masked.data[start:stop].translate(_MARKS_AS_COMMAS, b"(").decode("utf-8").split(",")
        with_length = ~self._absent
        if with_length[:-1].all():
            return words[::2], words[1::2]
        is_label = np.zeros(len(words), dtype=np.bool_)
        is_label[np.arange(with_length.size) + np.cumsum(with_length) - with_length] = True
        return list(compress(words, is_label.tobytes())), list(compress(words, (~is_label).tobytes()))

    def _unquote(self) -> None:
        hidden = HIDDEN.decode()
        for node, label in enumerate(self.labels):
            start = self._masked.data.find(HIDDEN, int(self.nodes.name_start[node])) if hidden in label else -1
            if start in self._masked.quoted:  # or the byte stands in the file itself
                stop, self.labels[node] = self._masked.quoted[start]
                self.quoted[node] = True
                if label.strip(hidden):
                    self._faults.append(self._source.fault("after_quote", stop, int(self.nodes.name_stop[node])))

    def _missing(self, nameless: list[int]) -> list[int]:
        """Return the nodes off the root without a length; the first alone if the whole tree has none.

        A tip without a name is told as such and not twice.
        """
        if self._absent[:-1].all():
            return list(range(min(1, self._absent.size - 1)))
        absent = self._absent.copy()
        absent[[-1, *nameless]] = False
        return [int(node) for node in np.flatnonzero(absent)]

    def _decimal_commas(self, tip: Bools) -> list[int]:
        """Return the tips that are the digits behind a decimal comma: bare digits right after a sibling's length."""
        absent, parent = self._absent, self._parent
        after = tip[1:] & absent[1:] & ~absent[:-1] & (parent[1:] == parent[:-1])
        return [node for node in (np.flatnonzero(after) + 1).tolist() if _DECIMALS.fullmatch(self.labels[node])]

    def _blame(self, key: str, nodes: list[int]) -> None:
        room = "newick" if key in {"bad_length", "empty_length"} else "trees"
        self._faults += first_faults(
            nodes, lambda node: self._fault(room, key, node), f"{room}.{key}", self._source.file
        )

    def _blame_duplicates(self, tips: list[int]) -> None:
        first: dict[str, int] = {}
        again = [node for node in tips if (label := fold(self.labels[node])) and first.setdefault(label, node) != node]

        def twice(node: int) -> Fault:
            other = first[fold(self.labels[node])]
            before, place = self.labels[other], self._source.place(self._span("duplicate", other)[0])
            key = "duplicate" if before == self.labels[node] else "duplicate_folded"
            spot = str(Place(line=place.line, character=place.character))
            return self._fault("trees", key if spot else f"{key}_unplaced", node, first=before, spot=spot)

        self._faults += first_faults(again, twice, "trees.duplicate", self._source.file)

    def _span(self, key: str, node: int) -> tuple[int, int]:
        """Return where a node's length stands if that is wrong, else its name, or the bracket that closes it."""
        start, stop = int(self.nodes.name_start[node]), int(self.nodes.name_stop[node])
        if of_length := key in {"bad_length", "empty_length", "not_finite"}:
            start, stop = stop + 1, int(self.nodes.length_stop[node])
        text = self._source.data[start:stop]
        if text.strip():
            return stop - len(text.lstrip()), start + len(text.rstrip())
        if self.nodes.inner[node] and not of_length:
            return start - 1, start
        return start, start + 1 if of_length else max(stop, start + 1)

    def _fault(self, room: str, key: str, node: int, **values: object) -> Fault:
        start, stop = self._span(key, node)
        values = {"name": self.labels[node], "got": self._source.text(start, stop), **values}
        return self._source.fault(key, start, stop, room, **values)


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


def _folds_to_itself(labels: list[str]) -> bool:
    """Say whether all are plain ASCII without blanks, with single underscores inside: folding keeps those apart."""
    joined = "," + ",".join(labels) + ","
    if not joined.isascii():
        return False
    letters = np.frombuffer(joined.encode("ascii"), dtype=np.uint8)
    edge = (letters == _COMMA) | (letters == _UNDERSCORE)
    return not ((letters <= _BLANK).any() or (letters == _DELETE).any() or (edge[1:] & edge[:-1]).any())
