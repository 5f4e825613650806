"""Where the nodes of a Newick text begin and end, and the first thing wrong with its brackets."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.phylogeny.mask import Masked
from crosscompat.phylogeny.postorder import Bools, Ints
from crosscompat.phylogeny.text_source import Source, told

__all__ = ["Nodes", "scan"]

Bytes = npt.NDArray[np.uint8]

OPEN, CLOSE, COMMA, COLON, END = b"(),:;"
_BLOCK = 65_536


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
        piece = slice(first, stop)
        spans = (self.name_start[piece], self.name_stop[piece], self.length_stop[piece], self.stop[piece])
        return Nodes(self.depth[piece], self.inner[piece], *spans)


class _Marks(NamedTuple):
    """Every bracket, comma, colon and semicolon, after an invented semicolon at -1; and the depth behind each."""

    at: Ints
    kind: Bytes
    depth: Ints


def scan(source: Source, masked: Masked) -> Nodes:
    """Find the nodes of all trees of a text.

    Raises
    ------
    BadInput
        If the text is empty or something else than Newick, or with the first fault of its brackets, commas and
        semicolons.

    Examples
    --------
    >>> nodes = scan(Source(b"(a:1,b)c;"), Masked(b"(a:1,b)c;"))
    >>> nodes.depth.tolist(), nodes.inner.tolist(), nodes.length_stop.tolist()
    ([1, 1, 0], [False, False, True], [4, -1, -1])
    """
    _is_newick(source, masked.data)
    content = np.frombuffer(masked.data, dtype=np.uint8)
    at = np.concatenate([[-1], *_delimiters(content)])
    kind = np.concatenate([np.array([END], dtype=np.uint8), content[at[1:]]])
    depth = np.cumsum((kind == OPEN).view(np.int8) - (kind == CLOSE).view(np.int8), dtype=np.int64)
    marks = _Marks(at, kind, depth)
    first = min(_structure(source, masked.data, marks), default=None, key=lambda found: found[0])
    if first is not None:
        raise BadInput([first[1]])
    return _nodes(marks)


def _delimiters(content: Bytes) -> Iterator[Ints]:
    """Yield where the structure stands, block by block so that the cache holds what is made on the way."""
    for first in range(0, content.size, _BLOCK):
        yield np.flatnonzero(_is_delimiter(content[first : first + _BLOCK])) + first


def _is_delimiter(content: Bytes) -> Bools:
    """Say which bytes are structure; ( and ) are neighbours in ASCII, and so are : and ;."""
    found: Bools = content - np.uint8(OPEN) <= CLOSE - OPEN
    found |= content - np.uint8(COLON) <= END - COLON
    found |= content == COMMA
    return found


def _nodes(marks: _Marks) -> Nodes:
    at, kind, depth = marks
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


def _is_newick(source: Source, data: bytes) -> None:
    """Refuse what is empty or plainly another kind of file."""
    head = data.lstrip()
    if not head:
        raise BadInput([told("newick", "empty", Place(source.file))])
    if head[:6].lower() == b"#nexus":
        raise BadInput([told("newick", "nexus", Place(source.file))])
    if head[:1] == b"<":
        raise BadInput([told("newick", "xml", Place(source.file))])
    if b"(" not in data and (b"," in data or len(data.strip().splitlines()) > 1):
        raise BadInput([told("newick", "table", Place(source.file))])


def _structure(source: Source, data: bytes, marks: _Marks) -> Iterator[tuple[int, Fault]]:
    """Yield the first fault of each kind, with its byte."""
    at, kind, depth = marks
    behind = np.flatnonzero(kind[1:] == COLON) + 1
    for mark in behind[kind[behind - 1] == COLON][:1].tolist():
        yield _spot(source, "two_lengths", at[mark])
    for mark in np.flatnonzero(depth < 0)[:1].tolist():
        yield _spot(source, "extra_close", at[mark])
    for mark in np.flatnonzero((kind == COMMA) & (depth == 0))[:1].tolist():
        yield _outer_comma(source, data, marks, mark)
    for mark in np.flatnonzero((kind == END) & (depth > 0))[:1].tolist():
        yield _open(source, marks, mark)
    yield from _opening(source, data, marks)
    yield from _end(source, data, marks)


def _spot(source: Source, key: str, at: int, stop: int | None = None, **values: str) -> tuple[int, Fault]:
    start = int(at)
    return start, source.fault(key, start, start + 1 if stop is None else int(stop), **values)


def _text(data: bytes, start: int, stop: int) -> tuple[int, int]:
    """Return the span without the blanks around it."""
    piece = data[start:stop]
    left = start + len(piece) - len(piece.lstrip())
    return left, max(left, start + len(piece.rstrip()))


def _opening(source: Source, data: bytes, marks: _Marks) -> Iterator[tuple[int, Fault]]:
    """Yield the first opening bracket that stands where none may."""
    at, kind, _ = marks
    opens = np.flatnonzero(kind == OPEN)
    before = kind[opens - 1]
    wrong = ~((before == OPEN) | (before == COMMA) | (before == END))
    for mark in opens[wrong][:1].tolist():
        key = "no_comma" if kind[mark - 1] == CLOSE else "open_in_length"
        yield _spot(source, key, at[mark])
    gaps = opens[~wrong & (at[opens] - at[opens - 1] > 1)]
    for mark in gaps.tolist():
        left, right = _text(data, at[mark - 1] + 1, at[mark])
        if right > left:
            got = source.data[left:right].decode("utf-8", "replace")
            yield _spot(source, "before_open", left, right, got=got)
            return


def _outer_comma(source: Source, data: bytes, marks: _Marks, mark: int) -> tuple[int, Fault]:
    """Tell a comma outside all brackets, which behind the root's length is a decimal comma."""
    at, kind, _ = marks
    stop = at[mark + 1] if mark + 1 < at.size else len(data)
    digits = data[at[mark] + 1 : stop].strip()
    if kind[mark - 1] == COLON and digits.isdigit():
        got = source.data[at[mark - 1] + 1 : stop].decode("utf-8", "replace").strip()
        return _spot(source, "root_decimal_comma", at[mark], got=got)
    return _spot(source, "outer_comma", at[mark])


def _open(source: Source, marks: _Marks, mark: int) -> tuple[int, Fault]:
    """Tell the brackets that are open at a semicolon or at the end; the innermost is shown, the end is what counts."""
    at, depth = marks.at, marks.depth
    levels = depth[:mark]
    missing = int(levels[-1])
    inside = np.flatnonzero(levels < missing)
    opened = int(at[inside[-1] + 1])
    where = int(at[mark]) if mark < at.size else int(at[-1]) + 1
    key = "missing_close" if mark < at.size else "truncated"
    return where, source.fault(key, opened, opened + 1, n=missing)


def _end(source: Source, data: bytes, marks: _Marks) -> Iterator[tuple[int, Fault]]:
    """Yield what is wrong with the ends of trees: no semicolon, text behind, no tree at all."""
    at, kind, depth = marks
    left, right = _text(data, at[-1] + 1, len(data))
    if depth[-1] > 0:
        yield _open(source, marks, at.size)
    elif kind[-1] != END:
        spot = max(right - 1, int(at[-1])) if right > left else int(at[-1])
        yield _spot(source, "no_semicolon", spot)
    elif right > left:
        yield _tail(source, left, right, alone=at.size == 1)
    ends = np.flatnonzero(kind == END)
    for mark, last in zip(ends[1:].tolist(), ends[:-1].tolist(), strict=True):
        if kind[last + 1] == OPEN:
            continue
        left, right = _text(data, at[last] + 1, at[last + 1])
        if last + 1 == mark and right == left:
            yield _spot(source, "no_tree", at[mark])
            return
        if last > 0 and kind[last + 1] != OPEN:
            yield _tail(source, left, right, alone=False)
            return


def _tail(source: Source, left: int, right: int, *, alone: bool) -> tuple[int, Fault]:
    """Tell text that is no tree, alone in the file or behind one."""
    got = source.data[left:right].decode("utf-8", "replace")
    return _spot(source, "no_semicolon_alone" if alone else "trailing", left, right, got=got[:40])
