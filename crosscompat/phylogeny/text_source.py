"""The bytes of a file of a tree or an alignment, and the place of a fault in them."""

from __future__ import annotations

import codecs
import re
from os import PathLike
from pathlib import Path
from typing import NamedTuple

from crosscompat.ground.errors import BadInput, Fault, Place, worded
from crosscompat.ground.files import named

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_WIDTH = 60
_LINE_END = re.compile(r"\r\n|\r|\n")
_WIDE = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


class TextSource(NamedTuple):
    """A text as UTF-8 bytes, without a byte order mark, and the name of the file it came from.

    ``placed`` says whether its lines are those of the file; if not, places in it name the file alone.
    """

    data: bytes
    file: str | None = None
    placed: bool = True

    @classmethod
    def of(cls, text: str | bytes, file: str | None) -> TextSource:
        """Take a text in, or raise a `BadInput` with the place of the first byte that is no UTF-8."""
        if isinstance(text, str):
            return cls(text.removeprefix("\ufeff").encode("utf-8", "surrogatepass"), file)
        if text.startswith(_WIDE):
            raise BadInput([worded("newick", "wide_encoding", Place(file), got="UTF-16")])
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
        return Place(self.file, line=line, character=character) if self.placed else Place(self.file)

    def fault(self, key: str, start: int, stop: int, room: str = "newick", **values: object) -> Fault:
        """Return the fault ``key`` of a wording room, with the bytes from start to stop marked."""
        _, character, text = self._line(start)
        size = max(1, len(self.data[start:stop].decode("utf-8", "replace")))
        plain = worded(room, key, self.place(start), **values)
        return Fault(plain.place, plain.what, plain.advice, *_cut(text, character - 1, size))

    def _line(self, at: int) -> tuple[int, int, str]:
        """Return number, character and text of the line that holds a byte."""
        before = self.data[:at].decode("utf-8", "replace")
        if self.data[at : at + 1] == b"\n":
            before = before.removesuffix("\r")
        *lines, head = _LINE_END.split(before)
        rest = self.data[at : at + 4 * _WIDTH].decode("utf-8", "replace")
        return len(lines) + 1, len(head) + 1, head + _LINE_END.split(rest)[0]


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
    """Return what is in a file and its name without its folder; a `BadInput` says that it is none."""
    try:
        return Path(path).read_bytes(), Path(path).name
    except (FileNotFoundError, IsADirectoryError) as error:
        key = "no_file" if isinstance(error, FileNotFoundError) else "is_folder"
        raise BadInput([worded("trees", key, Place(str(path)))]) from None
    except OSError as error:
        raise named(error, path) from None
