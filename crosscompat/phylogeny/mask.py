"""Quotes and comments of a Newick text, hidden so that every bracket, comma and colon left is structure.

A comment [..] may hold comments. It counts as a blank. [&R] and [&U] before a tree say whether it is rooted; all other
comments are passed over. A quote begins a quoted label only where a label begins; ' inside an unquoted label is a
letter like any other (``Malus_'Gala'``, ``O'Brien``). In a quoted label the doubled quote stands for one; " works as '
does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from crosscompat.ground.errors import BadInput
from crosscompat.phylogeny.text_source import Source

__all__ = ["Masked", "mask"]

HIDDEN = b"\x01"
_SPECIAL = re.compile(rb"['\"\[\]]")
_BRACKET = re.compile(rb"[\[\]]")
_QUOTED = {b"'": re.compile(rb"'(?:[^']|'')*'"), b'"': re.compile(rb'"(?:[^"]|"")*"')}
_LABEL_STARTS = b"(),;"
_BLANKS = b" \t\r\n"


@dataclass(frozen=True, slots=True)
class Masked:
    """A text of the same size in which comments are blanks and quoted labels are filled up.

    ``quoted`` holds the end and the plain text of each quoted label by its start; ``rooting`` the place of every
    rooting mark, and whether it says rooted.
    """

    data: bytes
    quoted: dict[int, tuple[int, str]] = field(default_factory=dict)
    rooting: tuple[tuple[int, bool], ...] = ()


def mask(source: Source) -> Masked:
    """Hide quotes and comments.

    Raises
    ------
    BadInput
        If a quote or a comment never ends, or a comment ends that never began.

    Examples
    --------
    >>> mask(Source(b"(a[x],b);")).data
    b'(a   ,b);'
    >>> mask(Source(b"('b,''c');")).quoted
    {1: (8, "b,'c")}
    """
    data = source.data
    if not any(mark in data for mark in (b"'", b'"', b"[", b"]")):
        return Masked(data)
    work = bytearray(data)
    quoted: dict[int, tuple[int, str]] = {}
    rooting: list[tuple[int, bool]] = []
    at = 0
    while found := _SPECIAL.search(data, at):
        start, mark = found.start(), found.group()
        if mark == b"[":
            at = _comment_end(source, start)
            work[start:at] = b" " * (at - start)
            said = data[start + 1 : at - 1].strip().lower()
            if said in (b"&r", b"&u"):
                rooting.append((start, said == b"&r"))
        elif mark == b"]":
            raise BadInput([source.fault("comment_end", start, start + 1)])
        elif _begins_label(work, start):
            at = _quote_end(source, start, mark)
            work[start:at] = HIDDEN * (at - start)
            text = data[start + 1 : at - 1].replace(mark * 2, mark).decode("utf-8")
            quoted[start] = (at, text)
        else:
            at = start + 1
    return Masked(bytes(work), quoted, tuple(rooting))


def _comment_end(source: Source, start: int) -> int:
    open_ = 0
    for found in _BRACKET.finditer(source.data, start):
        open_ += 1 if found.group() == b"[" else -1
        if not open_:
            return found.end()
    raise BadInput([source.fault("comment_open", start, start + 1)])


def _quote_end(source: Source, start: int, mark: bytes) -> int:
    found = _QUOTED[mark].match(source.data, start)
    if not found:
        raise BadInput([source.fault("quote_open", start, start + 1)])
    return found.end()


def _begins_label(work: bytearray, at: int) -> bool:
    """Say whether only blanks stand between the last bracket, comma or semicolon and this byte."""
    before = at - 1
    while before >= 0 and work[before] in _BLANKS:
        before -= 1
    return before < 0 or work[before] in _LABEL_STARTS
