"""Which of many labels stands in each span of a text, for lists and tables of a million names.

Labels and spans are compared eight bytes at a time, as words of 64 bits. A hash of those words leads to a place in a
table, where the label that stands there is compared word by word; if it is another one, the next place is looked at.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from crosscompat.phylogeny.postorder import Bools, Ints

__all__ = ["Bytes", "SpanIndex", "spans_of"]

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]

_BYTES = 8
_MOST_WORDS = 8
_CHUNK = 16_384
_LINE_END = ord("\n")
_ROOM = 8
_ODD = np.uint64(0x9E3779B97F4A7C15)
_KEPT = np.array([(1 << 8 * kept) - 1 for kept in range(_BYTES + 1)], dtype=np.uint64)


def spans_of(names: Sequence[str]) -> tuple[Bytes, Ints, Ints]:
    r"""Return names as one text, and where each begins and ends in it.

    Examples
    --------
    >>> content, start, stop = spans_of(["Aloe", "Agave é"])
    >>> content.tobytes().decode(), start.tolist(), stop.tolist()
    ('Aloe\nAgave é', [0, 5], [4, 13])
    """
    content = np.frombuffer("\n".join(names).encode("utf-8", "surrogatepass"), dtype=np.uint8)
    ends = np.flatnonzero(content == _LINE_END)
    if ends.size == len(names) - 1:
        return content, np.append(0, ends + 1), np.append(ends, content.size)
    size = np.array([len(name.encode("utf-8", "surrogatepass")) for name in names], dtype=np.int64)
    stop = np.cumsum(size + 1) - 1
    return content, stop - size, stop


class SpanIndex:
    """Finds labels by their bytes.

    Parameters
    ----------
    labels : sequence of str
        All different. Those of more than 64 bytes are never found.

    Examples
    --------
    >>> index = SpanIndex(["Aloe_vera", "Aloe_ferox"])
    >>> text = np.frombuffer(b"Aloe_ferox,Aloe,Aloe_vera", dtype=np.uint8)
    >>> index.find(text, np.array([0, 11, 16]), np.array([10, 15, 25])).tolist()
    [1, -1, 0]
    """

    def __init__(self, labels: Sequence[str]) -> None:
        content, start, stop = spans_of(labels)
        size = stop - start
        self._count = min(-(-int(size.max(initial=1)) // _BYTES), _MOST_WORDS)
        words = self._read(self._padded(content), start, size)
        self._bits = max(1, (_ROOM * size.size).bit_length())
        self._table = np.full(1 << self._bits, -1, dtype=np.int32)
        known = np.flatnonzero(size <= self._count * _BYTES)
        self._fill(known, self._hash(words, size)[known])
        # No span is of size -1: so an empty place of the table, -1, leads to what is never the same.
        self._size = np.append(size, -1)
        self._words = [np.append(word, np.uint64(0)) for word in words]

    def find(self, content: Bytes, start: Ints, stop: Ints) -> Ints:
        """Return the number of the label in each span ``start[i]:stop[i]``, -1 where there is none."""
        found = np.full(start.size, -1, dtype=np.int64)
        padded = self._padded(content)
        for first in range(0, start.size, _CHUNK):
            piece = slice(first, first + _CHUNK)
            size = stop[piece] - start[piece]
            words = self._read(padded, start[piece], size)
            self._look_up(words, size, found[piece])
        return found

    def _padded(self, content: Bytes) -> npt.NDArray[np.void]:
        """Return the sixteen bytes from every byte on; zeros stand behind the end."""
        longer = np.concatenate([content, np.zeros((self._count + 2) * _BYTES, dtype=np.uint8)])
        return np.ndarray((longer.size - 2 * _BYTES + 1,), f"V{2 * _BYTES}", longer, strides=(1,))

    def _read(self, padded: npt.NDArray[np.void], start: Ints, size: Ints) -> list[Words]:
        """Return the words of each span, the first byte the lowest, zeros behind its end."""
        words: list[Words] = []
        for at in range(0, self._count * _BYTES, 2 * _BYTES):
            two = padded[start + at].view("<u8").reshape(-1, 2)
            words += [two[:, place] & _KEPT.take(size - at - place * _BYTES, mode="clip") for place in (0, 1)]
        return words[: self._count]

    def _hash(self, words: list[Words], size: Ints) -> Ints:
        mixed = size.astype(np.uint64)
        for word in words:
            mixed = (mixed ^ word) * _ODD
            mixed ^= mixed >> np.uint64(32)
        return (mixed * _ODD >> np.uint64(64 - self._bits)).astype(np.int64)

    def _fill(self, labels: Ints, place: Ints) -> None:
        while labels.size:
            free = self._table[place] < 0
            self._table[place[free]] = labels[free]
            left = self._table[place] != labels
            labels, place = labels[left], (place[left] + 1) & (self._table.size - 1)

    def _look_up(self, words: list[Words], size: Ints, found: Ints) -> None:
        place = self._hash(words, size)
        candidate = self._table.take(place).astype(np.int64)
        same = self._same(candidate, words, size)
        np.copyto(found, candidate, where=same)
        left = np.flatnonzero(~same & (candidate >= 0))
        while left.size:
            place[left] = (place[left] + 1) & (self._table.size - 1)
            candidate = self._table.take(place[left]).astype(np.int64)
            same = self._same(candidate, [word[left] for word in words], size[left])
            found[left[same]] = candidate[same]
            left = left[~same & (candidate >= 0)]

    def _same(self, candidate: Ints, words: list[Words], size: Ints) -> Bools:
        same: Bools = self._size.take(candidate, mode="wrap") == size
        for known, word in zip(self._words, words, strict=True):
            same &= known.take(candidate, mode="wrap") == word
        return same
