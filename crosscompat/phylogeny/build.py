"""What a file holds, before anybody has looked whether it makes sense: its bytes, and a raw tree; and the look."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import compress
from os import PathLike
from pathlib import Path
from typing import Protocol

import numpy as np

from crosscompat.ground.errors import BadInput, Fault, Place, first_faults, worded
from crosscompat.ground.names import fold
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.phylogeny.tree_arrays import Bools, Floats, Ints, inner_nodes

__all__ = ["NUMBER", "Origin", "RawTree", "TextSource", "build", "file_content", "split_support"]

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_WIDTH = 60
_LINE_END = re.compile(r"\r\n|\r|\n")
_WIDE = {codecs.BOM_UTF16_LE: "UTF-16", codecs.BOM_UTF16_BE: "UTF-16"}
UNIT_LENGTHS = "unit"
_BLANK, _DELETE, _COMMA, _UNDERSCORE = b" \x7f,_"
_DECIMALS = re.compile(r"[0-9]+(?:[eE][+-]?[0-9]+)?")


@dataclass(frozen=True, slots=True)
class RawTree:
    """One tree as a file gives it, in postorder.

    ``absent`` says where no branch length is given; ``support`` is NaN where there is none.
    """

    parent: Ints
    length: Floats
    absent: Bools
    labels: list[str]
    support: Floats
    rooted: bool | None = None


class Origin(Protocol):
    """Where a raw tree came from; knows how to point at a node."""

    @property
    def file(self) -> str | None:
        """The file's name."""

    def fault(self, key: str, node: int, **values: object) -> Fault:
        """Return the fault ``key`` of the room "trees" at a node."""

    def place(self, node: int) -> Place:
        """Return where a node stands."""


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


def build(raw: RawTree, origin: Origin, unit: str | None, faults: Iterable[Fault] = ()) -> Phylogeny:
    """Check a raw tree and make it a `Phylogeny`, or raise a `BadInput` of every fault, and of those of the reader.

    ``unit`` is of the branch lengths; "unit" makes every branch count 1 and needs none in the file.
    """
    by_unit = unit == UNIT_LENGTHS
    tip = ~inner_nodes(raw.parent)
    tips = np.flatnonzero(tip)
    labels = list(compress(raw.labels, tip.tobytes()))
    plain = _folds_to_itself(labels)
    commas = _decimal_commas(raw, tip)
    nameless = [] if plain else [node for node, label in zip(tips.tolist(), labels, strict=True) if not fold(label)]
    faults = [*faults, *_at("decimal_comma", commas, origin), *_at("empty_name", nameless, origin)]
    faults += _at("not_finite", np.flatnonzero(~np.isfinite(raw.length) & ~raw.absent).tolist(), origin)
    if not commas:
        if not by_unit:
            faults += _at("no_lengths" if raw.absent[:-1].all() else "missing_length", _missing(raw, nameless), origin)
        if len(set(labels if plain else map(fold, labels))) < len(labels):
            faults += _duplicates(raw, tips, origin)
    if faults:
        raise BadInput(sorted(faults, key=_file_order))
    length = np.ones(raw.parent.size) if by_unit else raw.length
    return Phylogeny(raw.parent, length, tuple(raw.labels), raw.support, unit, raw.rooted)


def _file_order(fault: Fault) -> tuple[bool, int, int]:
    place = fault.place
    return place.line is None, place.line or 0, place.character or 0


def _at(key: str, nodes: list[int], origin: Origin) -> list[Fault]:
    return first_faults(nodes, lambda node: origin.fault(key, node), f"trees.{key}", origin.file)


def _missing(raw: RawTree, nameless: list[int]) -> list[int]:
    """Return the nodes off the root without a length; the first alone if the whole tree has none.

    A tip without a name is told as such and not twice.
    """
    if raw.absent[:-1].all():
        return list(range(min(1, raw.absent.size - 1)))
    absent = raw.absent.copy()
    absent[[-1, *nameless]] = False
    return [int(node) for node in np.flatnonzero(absent)]


def _decimal_commas(raw: RawTree, tip: Bools) -> list[int]:
    """Return the tips that are the digits behind a decimal comma: bare digits right after a sibling with a length."""
    if raw.parent.size < 3:  # noqa: PLR2004 - a root and two children at least
        return []
    after = tip[1:] & raw.absent[1:] & ~raw.absent[:-1] & (raw.parent[1:] == raw.parent[:-1])
    return [node for node in (np.flatnonzero(after) + 1).tolist() if _DECIMALS.fullmatch(raw.labels[node])]


def _duplicates(raw: RawTree, tips: Ints, origin: Origin) -> list[Fault]:
    first: dict[str, int] = {}
    again: list[tuple[int, int]] = []
    for node in tips.tolist():
        folded = fold(raw.labels[node])
        if folded and first.setdefault(folded, node) != node:
            again.append((first[folded], node))

    def twice(pair: tuple[int, int]) -> Fault:
        place, before = origin.place(pair[0]), raw.labels[pair[0]]
        key = "duplicate" if before == raw.labels[pair[1]] else "duplicate_folded"
        spot = str(Place(line=place.line, character=place.character))
        return origin.fault(key if spot else f"{key}_unplaced", pair[1], first=before, spot=spot)

    return first_faults(again, twice, "trees.duplicate", origin.file)


def _folds_to_itself(labels: list[str]) -> bool:
    """Say whether all are plain ASCII without blanks, with single underscores inside: folding keeps those apart."""
    joined = "," + ",".join(labels) + ","
    if not joined.isascii():
        return False
    letters = np.frombuffer(joined.encode("ascii"), dtype=np.uint8)
    edge = (letters == _COMMA) | (letters == _UNDERSCORE)
    return not ((letters <= _BLANK).any() or (letters == _DELETE).any() or (edge[1:] & edge[:-1]).any())


@dataclass(frozen=True, slots=True)
class TextSource:
    """A text as UTF-8 bytes, without a byte order mark, and the name of the file it came from.

    Examples
    --------
    >>> print(TextSource("(a:1,é:x);".encode(), "t.nwk").fault("bad_length", 8, 9, got="x").place)
    t.nwk, line 1, character 8
    """

    data: bytes
    file: str | None = None

    @classmethod
    def of(cls, text: str | bytes, file: str | None) -> TextSource:
        """Take a text in, or raise a `BadInput` with the place of the first byte that is no UTF-8."""
        if isinstance(text, str):
            return cls(text.removeprefix("\ufeff").encode("utf-8", "surrogatepass"), file)
        for mark, name in _WIDE.items():
            if text.startswith(mark):
                raise BadInput([worded("newick", "wide_encoding", Place(file), got=name)])
        source = cls(text.removeprefix(codecs.BOM_UTF8), file)
        if not source.data.isascii():
            try:
                source.data.decode("utf-8")
            except UnicodeDecodeError as error:
                got = f"0x{source.data[error.start]:02X}"
                raise BadInput([source.fault("not_utf8", error.start, error.start + 1, got=got)]) from None
        return source

    def text(self, start: int, stop: int) -> str:
        """Return the text between two bytes, without blanks around it."""
        return self.data[start:stop].decode("utf-8", "replace").strip()

    def place(self, at: int) -> Place:
        """Return the line and the character of a byte, both counted from 1."""
        line, character, _ = self._line(at)
        return Place(self.file, line=line, character=character)

    def fault(self, key: str, start: int, stop: int, room: str = "newick", **values: object) -> Fault:
        """Return the fault ``key`` of a wording room, with the bytes from start to stop marked."""
        line, character, text = self._line(start)
        size = max(1, len(self.data[start:stop].decode("utf-8", "replace")))
        plain = worded(room, key, Place(self.file, line=line, character=character), **values)
        return Fault(plain.place, plain.what, plain.advice, *_cut(text, character - 1, size))

    def _line(self, at: int) -> tuple[int, int, str]:
        """Return number, character and text of the line that holds a byte."""
        before = self.data[:at].decode("utf-8", "replace")
        if before.endswith("\r") and self.data[at : at + 1] == b"\n":
            before = before[:-1]
        starts = [0, *(match.end() for match in _LINE_END.finditer(before))]
        head = before[starts[-1] :]
        rest = self.data[at : at + 4 * _WIDTH].decode("utf-8", "replace")
        return len(starts), len(head) + 1, head + _LINE_END.split(rest)[0]


def _cut(text: str, start: int, size: int) -> tuple[str, tuple[int, int]]:
    """Return at most about 60 characters around a mark, and the mark in them."""
    clean = "".join(character if character.isprintable() else " " for character in text)
    left = max(0, start - max(5, (_WIDTH - min(size, _WIDTH)) // 2))
    right = min(len(clean), left + _WIDTH)
    left = max(0, min(left, right - _WIDTH))
    excerpt = clean[left:right]
    before, after = "…" * (left > 0), "…" * (right < len(clean))
    mark = start - left + len(before)
    return before + excerpt + after, (mark, min(mark + size, len(before + excerpt) + 1))


def file_content(path: str | PathLike[str]) -> tuple[bytes, str]:
    """Return what is in a file and its name without its folder, or raise a `BadInput` if it cannot be opened."""
    where = Path(path)
    try:
        return where.read_bytes(), where.name
    except OSError as error:
        key = {FileNotFoundError: "no_file", IsADirectoryError: "is_folder"}.get(type(error), "no_access")
        raise BadInput([worded("trees", key, Place(str(path)), reason=error.strerror or str(error))]) from None
