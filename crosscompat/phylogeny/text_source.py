"""The bytes of a file, and how a spot in them is shown to a person."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TypeVar

from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.wording import say

__all__ = ["SHOWN", "TextSource", "file_content", "first_faults", "worded"]

SHOWN = 20
"""So many faults of one kind are printed; of the rest only the number."""

_WIDTH = 60
_LINE_END = re.compile(r"\r\n|\r|\n")
_WIDE = {codecs.BOM_UTF16_LE: "UTF-16", codecs.BOM_UTF16_BE: "UTF-16"}
_Item = TypeVar("_Item")


def worded(room: str, key: str, place: Place, **values: object) -> Fault:
    """Return a fault without an excerpt, its two sentences taken from a wording room.

    Examples
    --------
    >>> worded("newick", "empty", Place("t.nwk")).place.file
    't.nwk'
    """
    return Fault(place, say(f"{room}.{key}.what", **values), say(f"{room}.{key}.advice", **values))


def first_faults(
    items: Sequence[_Item], fault_of: Callable[[_Item], Fault], kind: str, file: str | None
) -> list[Fault]:
    """Return a fault for each of the first items, and behind them how many more of that kind there are.

    Examples
    --------
    >>> len(first_faults(range(23), lambda at: Fault(Place(row=at), "x"), "newick.bad_length", None))
    21
    """
    faults = [fault_of(item) for item in items[:SHOWN]]
    if len(items) > SHOWN:
        faults.append(Fault(Place(file), say(f"{kind}.more", n=len(items) - SHOWN)))
    return faults


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
        """Take a text in, and refuse what is not UTF-8.

        Raises
        ------
        BadInput
            With the place of the first byte that is no UTF-8.
        """
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
    """Return what is in a file, and the file's name without its folder.

    Raises
    ------
    BadInput
        If there is no such file, or it cannot be opened.
    """
    where = Path(path)
    try:
        return where.read_bytes(), where.name
    except FileNotFoundError:
        raise BadInput([worded("trees", "no_file", Place(str(path)))]) from None
    except IsADirectoryError:
        raise BadInput([worded("trees", "is_folder", Place(str(path)))]) from None
    except OSError as error:
        raise BadInput([worded("trees", "no_access", Place(str(path)), reason=error.strerror or str(error))]) from None
