"""Where the nodes of a Newick text begin and end, and the first thing wrong with its marks.

Quotes and comments are hidden first, so that every bracket, comma, colon and semicolon left is structure. A comment
[..] may hold comments and counts as a blank; [&R] and [&U] say whether a tree is rooted. A quote begins a quoted label
only where a label begins: in ``Malus_'Gala'`` and ``O'Brien`` it is a letter. Then every comma, closing bracket and
semicolon ends one node, which gives the nodes in postorder, and the brackets give their depths.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from crosscompat.ground.errors import BadInput, Fault, Place, worded
from crosscompat.phylogeny.text_source import TextSource
from crosscompat.phylogeny.tree_arrays import Bools, Ints

Bytes = npt.NDArray[np.uint8]

HIDDEN = b"\x01"
OPEN, CLOSE, COMMA, COLON, END = b"(),:;"
_IS_MARK = bytes(byte in b"(),:;" for byte in range(256))
_SPECIAL = re.compile(rb"['\"\[\]]")
_BRACKET = re.compile(rb"[\[\]]")
_QUOTED = {b"'": re.compile(rb"'(?:[^']|'')*'"), b'"': re.compile(rb'"(?:[^"]|"")*"')}


class Masked(NamedTuple):
    """A text of the same size in which comments are blanks and quoted labels are filled up.

    ``quoted`` holds the end and the plain text of each quoted label by its start; ``rooting`` the place of every
    rooting mark, and whether it says rooted.
    """

    data: bytes
    quoted: dict[int, tuple[int, str]]
    rooting: tuple[tuple[int, bool], ...]


def mask(source: TextSource, *, words: bool = False) -> Masked:
    """Hide quotes and comments; raises a `BadInput` if one never ends, or a comment ends that never began.

    With ``words`` a quoted label may begin behind any blank or sign, as in NEXUS.
    """
    data = source.data
    if not any(mark in data for mark in (b"'", b'"', b"[", b"]")):
        return Masked(data, {}, ())
    work = bytearray(data)
    quoted: dict[int, tuple[int, str]] = {}
    rooting: list[tuple[int, bool]] = []
    at = 0
    while match := _SPECIAL.search(data, at):
        start, mark, at = match.start(), match.group(), match.end()
        if mark == b"]":
            raise BadInput([source.fault("comment_end", start, at)])
        if mark == b"[":
            at = _comment_end(source, start)
            work[start:at] = b" " * (at - start)
            comment = data[start + 1 : at - 1].strip().lower()
            if comment in (b"&r", b"&u"):
                rooting.append((start, comment == b"&r"))
        elif _begins_label(work, start) or (words and start and not chr(work[start - 1]).isalnum()):
            whole = _QUOTED[mark].match(data, start)
            if not whole:
                raise BadInput([source.fault("quote_open", start, start + 1)])
            at = whole.end()
            work[start:at] = HIDDEN * (at - start)
            quoted[start] = at, data[start + 1 : at - 1].replace(mark * 2, mark).decode("utf-8")
    return Masked(bytes(work), quoted, tuple(rooting))


def _comment_end(source: TextSource, start: int) -> int:
    open_ = 0
    for bracket in _BRACKET.finditer(source.data, start):
        open_ += 1 if bracket.group() == b"[" else -1
        if not open_:
            return bracket.end()
    raise BadInput([source.fault("comment_open", start, start + 1)])


def _begins_label(work: bytearray, at: int) -> bool:
    """Say whether only blanks stand between the last bracket, comma or semicolon and this byte."""
    before = at - 1
    while before >= 0 and work[before] in b" \t\r\n":
        before -= 1
    return before < 0 or work[before] in b"(),;"


class Nodes(NamedTuple):
    """The nodes of a text in postorder, as spans of bytes; each array has shape (n,).

    The name is ``name_start:name_stop``; the length ``name_stop + 1:length_stop``, with ``length_stop`` -1 where none
    is given.
    """

    depth: Ints
    inner: Bools
    name_start: Ints
    name_stop: Ints
    length_stop: Ints
    stop: Ints

    def cut(self, first: int, stop: int) -> Nodes:
        """Return some of the nodes."""
        return Nodes(*(column[first:stop] for column in self))  # type: ignore[arg-type]


def scan(source: TextSource, data: bytes) -> Nodes:
    """Find the nodes of all trees of a text, in whose ``data`` quotes and comments are hidden.

    Raises a `BadInput` if the text is empty or something else than Newick, or with the first fault of its marks.
    """
    _check_kind(source, data)
    marks = np.flatnonzero(np.frombuffer(data.translate(_IS_MARK), dtype=np.bool_))
    kind = np.append(np.uint8(END), np.frombuffer(data, dtype=np.uint8)[marks])
    at = np.append(-1, marks)
    depth = np.cumsum((kind == OPEN).view(np.int8) - (kind == CLOSE).view(np.int8), dtype=np.int64)
    fault = _Marks(source, data, at, kind, depth).first_fault()
    if fault:
        raise BadInput([fault])
    ends = np.flatnonzero((kind == COMMA) | (kind == CLOSE) | (kind == END))[1:]
    with_length = kind[ends - 1] == COLON
    before = ends - 1 - with_length
    stop = at[ends]
    return Nodes(
        depth=depth[ends] + (kind[ends] == CLOSE),
        inner=kind[before] == CLOSE,
        name_start=at[before] + 1,
        name_stop=np.where(with_length, at[ends - 1], stop),
        length_stop=np.where(with_length, stop, -1),
        stop=stop,
    )


def _check_kind(source: TextSource, data: bytes) -> None:
    """Refuse what is empty or plainly another kind of file."""
    head = data.lstrip()
    kinds = {
        "empty": not head,
        "nexus": head[:6].lower() == b"#nexus",
        "xml": head[:1] == b"<",
        "table": b"(" not in data and (b"," in data or len(data.strip().splitlines()) > 1),
    }
    for key, is_one in kinds.items():
        if is_one:
            raise BadInput([worded("newick", key, Place(source.file))])


class _Marks(NamedTuple):
    """Every bracket, comma, colon and semicolon, after an invented semicolon at -1; and the depth behind each."""

    source: TextSource
    data: bytes
    at: Ints
    kind: Bytes
    depth: Ints

    def first_fault(self) -> Fault | None:
        """Look closely at the few marks that may be wrong where they stand, from the first byte to the last."""
        before, now, level = self.kind[:-1], self.kind[1:], self.depth[1:]
        odd = (level < 0) | ((now == COMMA) & (level == 0)) | ((now == COLON) & (before == COLON))
        odd |= ((now == END) & (level > 0)) | ((now != OPEN) & (before == END))
        odd |= (now == OPEN) & ((before == CLOSE) | (before == COLON) | (np.diff(self.at) > 1))
        faults = map(self._at, (np.flatnonzero(odd) + 1).tolist())
        return next(filter(None, faults), None) or self._behind()

    def _at(self, mark: int) -> Fault | None:
        kind, before, level = int(self.kind[mark]), int(self.kind[mark - 1]), self.depth[mark]
        at, (left, right) = int(self.at[mark]), self._gap(mark)
        if kind == OPEN and before not in {CLOSE, COLON}:
            return self._fault("before_open", left, right) if left < right else None
        if before == END and mark > 1 and (left < right or kind == COLON):
            return self._fault("trailing", left, max(right, left + 1))
        if kind == COMMA and level == 0:
            return self._outer_comma(mark)
        if kind == END and level > 0:
            return self._open(mark, "missing_close")
        keys = {
            "no_comma": kind == OPEN and before == CLOSE,
            "open_in_length": kind == OPEN and before == COLON,
            "extra_close": kind == CLOSE and level < 0,
            "two_lengths": kind == COLON and before == COLON,
            "no_tree": kind == END and before == END and left == right,
        }
        return next((self._fault(key, at, at + 1) for key, is_wrong in keys.items() if is_wrong), None)

    def _fault(self, key: str, left: int, right: int, **values: object) -> Fault:
        values = {"got": self.source.text(left, right)[:40], **values}
        return self.source.fault(key, left, right, "newick", **values)

    def _gap(self, mark: int) -> tuple[int, int]:
        """Return the span of the text before a mark, or behind the last one, without the blanks around it."""
        start, stop = int(self.at[mark - 1]) + 1, int(self.at[mark]) if mark < self.at.size else len(self.data)
        piece = self.data[start:stop]
        left = stop - len(piece.lstrip())
        return left, max(left, start + len(piece.rstrip()))

    def _outer_comma(self, mark: int) -> Fault:
        """Word a comma outside all brackets, which behind the root's length is a decimal comma."""
        at, (left, right) = int(self.at[mark]), self._gap(mark + 1)
        if self.kind[mark - 1] == COLON and self.data[left:right].isdigit():
            return self._fault("root_comma", at, at + 1, got=self.source.text(int(self.at[mark - 1]) + 1, right))
        return self._fault("outer_comma", at, at + 1)

    def _open(self, mark: int, key: str) -> Fault:
        """Word the brackets that are open before a mark; the innermost is shown."""
        levels = self.depth[:mark]
        missing = int(levels[-1])
        at = int(self.at[np.flatnonzero(levels < missing)[-1] + 1])
        return self._fault(key, at, at + 1, n=missing)

    def _behind(self) -> Fault | None:
        """Word what is wrong behind the last mark: the file is cut off, no semicolon, text that is no tree."""
        left, right = self._gap(self.at.size)
        if self.depth[-1] > 0:
            return self._open(self.at.size, "truncated")
        if self.kind[-1] != END:
            last = int(self.at[-1])
            spot = max(right - 1, last) if right > left else last
            return self._fault("no_semicolon", spot, spot + 1)
        if right > left:
            return self._fault("no_semicolon_alone" if self.at.size == 1 else "trailing", left, right)
        return None
