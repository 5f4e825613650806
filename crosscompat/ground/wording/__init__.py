"""Every sentence that a person reads, apart from the code that says it.

One TOML file a room; ``say("newick.empty")`` is the entry ``empty`` of ``newick.toml``. An entry is filled in the way
of :meth:`str.format`, and a count chooses its noun by ``{name:singular|plural}``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

__all__ = ["catalogue", "say"]

_ROOMS = Path(__file__).parent


class _Count(int):
    def __format__(self, nouns: str) -> str:
        if "|" not in nouns:
            return int.__format__(self, nouns)
        singular, plural = nouns.split("|")
        return f"{int(self):,} {singular if self == 1 else plural}"


@cache
def catalogue(room: str) -> Mapping[str, Any]:
    """Return the sentences of one room.

    Raises
    ------
    FileNotFoundError
        If no room has that name.

    Examples
    --------
    >>> "unknown" in catalogue("names")
    True
    """
    return tomllib.loads((_ROOMS / f"{room}.toml").read_text(encoding="utf-8"))


def say(key: str, /, **values: object) -> str:
    """Return the sentence under ``room.entry``, filled with ``values``.

    Parameters
    ----------
    key : str
        Room and entry, joined by points.
    **values
        What the sentence names; an integer may choose its noun (``{n:flower|flowers}``).

    Raises
    ------
    KeyError
        If there is no such sentence, or it names a value that was not given.

    Examples
    --------
    >>> say("wording.example", n=1), say("wording.example", n=1200)
    ('1 flower', '1,200 flowers')

    What is filled in last may bring its own full stop.

    >>> say("labels.nearest", numbers="Echinocereus sp.")
    'The nearest are: Echinocereus sp.'
    """
    room, *path = key.split(".")
    entry: Any = catalogue(room)
    for step in path:
        entry = entry[step]
    counted = {name: _Count(value) if type(value) is int else value for name, value in values.items()}
    return _ended_once(str(entry), str(entry).format(**counted))


def _ended_once(entry: str, text: str) -> str:
    """Return a sentence with one full stop where what stands last in it, as "E. sp.", brings its own."""
    doubled = entry.endswith("}.") and text.endswith("..") and not text.endswith("...")
    return text[:-1] if doubled else text
