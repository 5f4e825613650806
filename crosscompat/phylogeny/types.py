"""Kinds of arrays, and a number for what they hold."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

__all__ = ["Bools", "Floats", "Ints", "content_hash"]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def content_hash(words: Iterable[str], whole: Ints, real: Floats) -> str:
    """Return the SHA-256 of words and numbers in hexadecimal, the same between runs and machines."""
    digest = hashlib.sha256()
    for word in words:
        content = word.encode("utf-8")
        digest.update(len(content).to_bytes(8, "little") + content)
    digest.update(whole.astype("<i8").tobytes())
    digest.update((real + 0.0).astype("<f8").tobytes())  # adding zero turns -0.0 into 0.0
    return digest.hexdigest()
