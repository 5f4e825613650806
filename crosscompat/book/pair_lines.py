"""A table of pairs too big to hold: block by block, where each row stands in the text and where its two names.

A block of plain rows is cut by numpy; one with quotation marks, blank rows or rows with too many or too few cells goes
through the csv module, cell by cell.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NamedTuple

import numpy as np
import numpy.typing as npt

from crosscompat.ground.csv_cells import column_name, raise_faults
from crosscompat.ground.errors import BadInput, Fault, Place
from crosscompat.ground.wording import say

__all__ = ["PairBlock", "PairTable", "Spans"]

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]

COLUMNS = ("seed_parent", "pollen_parent")
_BLOCK = 720_000
_SEPARATORS = ",;\t"
_LINE_END, _RETURN = b"\n\r"


class Spans(NamedTuple):
    """Pieces of a text, ``start[i]:stop[i]``; each array has shape (m,)."""

    start: Ints
    stop: Ints


@dataclass(frozen=True, slots=True)
class PairBlock:
    """Some rows of a table.

    Attributes
    ----------
    content : (bytes,) uint8 array
    rows : Spans
        The rows as they are written, without their line ends.
    names : tuple of Spans
        The seed parents and the pollen parents.
    number : (m,) int array
        The rows' numbers as a spreadsheet shows them.
    """

    content: Bytes
    rows: Spans
    names: tuple[Spans, Spans]
    number: Ints

    def name(self, side: int, at: int) -> str:
        """Return the seed parent (0) or the pollen parent (1) of a row."""
        start, stop = self.names[side]
        return self.content[int(start[at]) : int(stop[at])].tobytes().decode("utf-8").strip()


class PairTable:
    r"""A CSV in UTF-8 with the columns seed_parent and pollen_parent, and any others.

    Attributes
    ----------
    titles : tuple of str
        The titles of those two columns, as the file writes them.
    header : bytes
        The first row as it is written, without its line end.
    separator, line_end : bytes
        What parts cells and rows.

    Raises
    ------
    BadInput
        If the file cannot be read, or lacks one of the columns.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "pairs.csv")
    ...     _ = path.write_text("seed_parent,pollen_parent,want\nAloe vera,Aloe ferox,3\n")
    ...     table = PairTable(path)
    ...     [(block.name(0, 0), block.name(1, 0), block.number.tolist()) for block in table.blocks([])]
    [('Aloe vera', 'Aloe ferox', [2])]
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        with self._open() as stream:
            line = stream.readline()
            self._begins = stream.tell()
        self.line_end = b"\r\n" if line.endswith(b"\r\n") else b"\n"
        self.header = line.rstrip(b"\r\n")
        text = self._text(self.header.removeprefix(codecs.BOM_UTF8), 1)
        if not text.strip():
            raise BadInput([Fault(self.place(1), say("cells.blank_header"), say("cells.empty_advice"))])
        separator = max(_SEPARATORS, key=re.sub(r'"[^"]*"', "", text).count)
        self.separator = separator.encode()
        titles = [title.strip() for title in next(csv.reader([text], delimiter=separator))]
        names = [column_name(title) for title in titles]
        raise_faults(
            [Fault(self.place(1), say("cells.column_missing", column=name)) for name in COLUMNS if name not in names]
        )
        self._width = len(titles)
        self._at = (names.index(COLUMNS[0]), names.index(COLUMNS[1]))
        self.titles = (titles[self._at[0]], titles[self._at[1]])

    @property
    def size_in_blocks(self) -> int:
        """About how many blocks there are."""
        return max(1, -(-self._path.stat().st_size // _BLOCK))

    def place(self, row: int, side: int | None = None) -> Place:
        """Return where a row stands, or one of its names."""
        return Place(self._path.name, row=row, column=None if side is None else self.titles[side])

    def blocks(self, faults: list[Fault]) -> Iterator[PairBlock]:
        """Yield all rows with anything in them, and add what is wrong with a row to the faults.

        Raises
        ------
        BadInput
            If the text is no UTF-8, or a quotation mark is not closed.
        """
        row = 2
        for data in self._pieces():
            if not data.isascii():
                self._text(data, row)
            block = self._plain(data, row)
            if block is None:
                block, row = self._careful(data.decode("utf-8"), row, faults)
            else:
                row += block.number.size
            if block.number.size:
                yield block

    def _open(self) -> BinaryIO:
        try:
            return self._path.open("rb")
        except FileNotFoundError:
            fault = Fault(Place(str(self._path)), say("cells.missing_file"))
        except IsADirectoryError:
            fault = Fault(Place(self._path.name), say("cells.is_folder"))
        except OSError as error:
            fault = Fault(Place(self._path.name), say("cells.no_access", reason=error.strerror or error))
        raise BadInput([fault])

    def _pieces(self) -> Iterator[bytes]:
        """Yield the text behind the header, cut at line ends outside quotation marks."""
        with self._open() as stream:
            stream.seek(self._begins)
            held = b""
            while data := stream.read(_BLOCK):
                held += data
                stop = held.rfind(b"\n") + 1
                if stop and (b'"' not in held or held.count(b'"', 0, stop) % 2 == 0):
                    yield held[:stop]
                    held = held[stop:]
            if held:
                yield held if held.endswith(b"\n") else held + b"\n"

    def _text(self, data: bytes, row: int) -> str:
        try:
            return data.decode("utf-8")
        except UnicodeDecodeError as error:
            line = row + data.count(b"\n", 0, error.start)
            place = Place(self._path.name, line=line)
            raise BadInput([Fault(place, say("cells.not_utf8"), say("cells.not_utf8_advice"))]) from None

    def _plain(self, data: bytes, row: int) -> PairBlock | None:
        """Return a block in which every row has just the cells that the header names, and no quotation mark."""
        if b'"' in data:
            return None
        content = np.frombuffer(data, dtype=np.uint8)
        marks = np.flatnonzero((content == self.separator[0]) | (content == _LINE_END))
        if marks.size % self._width:
            return None
        ends = marks.reshape(-1, self._width)
        closes = content[ends] == _LINE_END
        if not closes[:, -1].all() or closes[:, :-1].any():
            return None
        start = np.append(0, ends[:-1, -1] + 1)
        stop = ends[:, -1] - (content[ends[:, -1] - 1] == _RETURN)
        rows = Spans(start, stop)
        if (stop == start).any():
            return None
        return PairBlock(content, rows, self._cells(rows, ends), row + np.arange(start.size))

    def _cells(self, rows: Spans, ends: Ints) -> tuple[Spans, Spans]:
        last = self._width - 1
        first, second = (
            Spans(ends[:, at - 1] + 1 if at else rows.start, rows.stop if at == last else ends[:, at])
            for at in self._at
        )
        return first, second

    def _careful(self, text: str, row: int, faults: list[Fault]) -> tuple[PairBlock, int]:
        """Return a block read cell by cell, and the number of the row behind it."""
        pieces: list[bytes] = []
        numbers: list[int] = []
        lines: list[str] = []
        reader = csv.reader(
            _noted(io.StringIO(text, newline=""), lines), delimiter=self.separator.decode(), strict=True
        )
        try:
            for cells in reader:
                written = "".join(lines).rstrip("\r\n")
                lines.clear()
                if any(cell.strip() for cell in cells) and self._fits(cells, row, faults):
                    pieces += [piece.encode() for piece in (written, *(cells[at] for at in self._at))]
                    numbers.append(row)
                row += 1
        except csv.Error:
            raise BadInput([Fault(self.place(row), say("cells.quotes"), say("cells.quotes_advice"))]) from None
        sizes = np.array([len(piece) for piece in pieces], dtype=np.int64).reshape(-1, 3)
        stop = np.cumsum(sizes.ravel()).reshape(-1, 3)
        rows, seed, pollen = (Spans(stop[:, at] - sizes[:, at], stop[:, at]) for at in range(3))
        content = np.frombuffer(b"".join(pieces), dtype=np.uint8)
        return PairBlock(content, rows, (seed, pollen), np.array(numbers, dtype=np.int64)), row

    def _fits(self, cells: Sequence[str], row: int, faults: list[Fault]) -> bool:
        if len(cells) == self._width:
            return True
        key = "row_short" if len(cells) < self._width else "row_long"
        what = say(f"cells.{key}", n=len(cells), wanted=self._width)
        faults.append(Fault(self.place(row), what, say("cells.row_advice")))
        return False


def _noted(lines: Iterator[str], seen: list[str]) -> Iterator[str]:
    """Pass lines on and remember them."""
    for line in lines:
        seen.append(line)
        yield line
