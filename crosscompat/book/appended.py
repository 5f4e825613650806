"""Rows of a text with a number behind each, put together without a string for every row.

Rows are copied sixteen bytes at a time; what a copy writes beyond a row's end is overwritten by the number behind it,
which takes as many bytes at least.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["FIGURES", "appended"]

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

FIGURES = 12
"""So many figures a number is written with; below 1 the zeros in front count too."""

_COPIED = 16
_POWERS = np.array([10.0**power for power in range(FIGURES + 1)])
_FOUR = np.frombuffer("".join(f"{number:04d}" for number in range(10_000)).encode(), dtype=np.uint32)
_MOST = 10.0 ** (FIGURES - 1)


def appended(content: Bytes, start: Ints, stop: Ints, values: Floats, *, before: bytes, after: bytes) -> Bytes:
    r"""Return each row ``start[i]:stop[i]``, then ``before``, the number ``values[i]`` and ``after``.

    Both must hold a byte or more.

    Examples
    --------
    >>> content = np.frombuffer(b"a,b\nc,d\n", dtype=np.uint8)
    >>> rows = appended(content, np.array([0, 4]), np.array([3, 7]), np.array([1.5, -20.25]), before=b",", after=b"\n")
    >>> print(rows.tobytes().decode(), end="")
    a,b,1.50000000000
    c,d,-20.2500000000
    """
    size = stop - start
    written = _written(values, before, after)
    width = np.zeros(values.size, dtype=np.int64)
    for rows, cells in written:
        width[rows] = cells.shape[1]
    ends = np.cumsum(size + width)
    to = ends - size - width
    total = int(ends[-1]) if ends.size else 0
    out = np.empty(total + _COPIED, dtype=np.uint8)
    _copy(np.concatenate([content, np.zeros(_COPIED, dtype=np.uint8)]), start, size, out, to)
    for rows, cells in written:
        places = _pieces(out, cells.shape[1])
        places[(to + size)[rows]] = cells.view(places.dtype).ravel()
    return out[:total]


def _copy(content: Bytes, start: Ints, size: Ints, out: Bytes, to: Ints) -> None:
    source, target = _pieces(content, _COPIED), _pieces(out, _COPIED)
    shortest, longest = int(size.min(initial=0)), int(size.max(initial=0))
    for at in range(0, longest, _COPIED):
        if at >= shortest:
            longer = size > at
            start, size, to = start[longer], size[longer], to[longer]
        target[to + at] = source[start + at]


def _pieces(content: Bytes, size: int) -> npt.NDArray[np.void]:
    """Return the bytes from every byte on, so many each."""
    return np.ndarray((content.size - size + 1,), f"V{size}", content, strides=(1,))


def _written(values: Floats, before: bytes, after: bytes) -> list[tuple[Ints, Bytes]]:
    """Return the numbers between ``before`` and ``after``, as cells of one width each, and whose they are."""
    plain = (values >= 0) & (values < _MOST)
    rows = np.flatnonzero(plain)
    cells = np.empty((rows.size, len(before) + FIGURES + 1 + len(after)), dtype=np.uint8)
    cells[:, : len(before)] = np.frombuffer(before, dtype=np.uint8)
    cells[:, -len(after) :] = np.frombuffer(after, dtype=np.uint8)
    _plain(values[rows], cells[:, len(before) : -len(after)])
    found = [(rows, cells)]
    others: dict[int, list[tuple[int, bytes]]] = {}
    for row in np.flatnonzero(~plain).tolist():
        text = before + f"{values[row]:#.{FIGURES}g}".encode() + after
        others.setdefault(len(text), []).append((row, text))
    for size, texts in others.items():
        content = np.frombuffer(b"".join(text for _, text in texts), dtype=np.uint8).reshape(-1, size)
        found.append((np.array([row for row, _ in texts], dtype=np.int64), content))
    return found


def _plain(values: Floats, out: Bytes) -> None:
    """Write numbers from 0 to below 10 ** 11 with 12 figures into an (m, 13) array."""
    before = np.ones(values.size, dtype=np.int64)
    for power in _POWERS[1:-1]:
        larger = values >= power
        if not larger.any():
            break
        before += larger
    whole = np.rint(values * _POWERS[FIGURES - before])
    up = whole >= _POWERS[-1]
    if up.any():
        before += up
        whole[up] = _POWERS[FIGURES - 1]
    digits = _digits(whole.astype(np.uint64))
    most = int(before.max(initial=1))
    out[:, 0] = digits[:, 0]
    for at in range(1, most + 1):
        behind = np.where(before == at, np.uint8(ord(".")), digits[:, at - 1])
        out[:, at] = behind if at == FIGURES else np.where(before > at, digits[:, at], behind)
    out[:, most + 1 :] = digits[:, most:]


def _digits(whole: npt.NDArray[np.uint64]) -> Bytes:
    """Return numbers below 10 ** 12 as 12 digits each."""
    figures = np.empty((whole.size, 3), dtype=np.uint32)
    for place in (2, 1, 0):
        rest = whole // np.uint64(10_000)
        figures[:, place] = _FOUR[(whole - rest * np.uint64(10_000)).astype(np.int64)]
        whole = rest
    return figures.view(np.uint8)
