"""Every sentence that a person reads, apart from the code that says it.

One TOML file a room; ``say("newick.empty")`` is the entry ``empty`` of ``newick.toml``. An entry is filled in the way
of :meth:`str.format`, and a count chooses its noun by ``{name:singular|plural}``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from typing import Any

_ROOMS = Path(__file__).parent


_FRUIT: ContextVar[str] = ContextVar("fruit", default="pod")
_FLOWER: ContextVar[str] = ContextVar("flower", default="flower")
_PLURALS = {"fruit": "fruit", "berry": "berries", "cyathium": "cyathia"}


class _Count(int):
    def __format__(self, nouns: str) -> str:
        if "|" not in nouns:
            return int.__format__(self, nouns)
        if nouns == "time|times" and self == 1:
            return "once"
        singular, plural = _of_group(nouns).split("|")
        return f"{int(self):,} {singular if self == 1 else plural}"


def _of_group(nouns: str) -> str:
    """Return ``singular|plural`` with the nouns for pods and flowers in the words of the group."""
    words = _group_words()
    for noun in ("pod", "flower"):
        nouns = re.sub(rf"\b{noun}s\b", words[f"{noun}s"], nouns)
        nouns = re.sub(rf"\b{noun}\b", words[noun], nouns)
    return nouns


def _group_words() -> dict[str, str]:
    fruit, flower = _FRUIT.get(), _FLOWER.get()
    plural = {word: _PLURALS.get(word, f"{word}s") for word in (fruit, flower)}
    return {"pod": fruit, "pods": plural[fruit], "flower": flower, "flowers": plural[flower]}


@contextmanager
def own_words() -> Iterator[None]:
    """Give the words of `speak_of` back at the end, so that one command leaves none to the next."""
    fruit, flower = _FRUIT.set(_FRUIT.get()), _FLOWER.set(_FLOWER.get())
    try:
        yield
    finally:
        _FRUIT.reset(fruit)
        _FLOWER.reset(flower)


def speak_of(fruit: str, flower: str) -> None:
    """Say from here on what a group of plants calls its seed vessels and its flowers, such as capsule and flower.

    They fill ``{pod}``, ``{pods}``, ``{n:pod|pods}`` and the same of ``flower``.

    Examples
    --------
    >>> with own_words():
    ...     speak_of("pod", "cyathium")
    ...     say("wording.example", n=2)
    '2 cyathia'
    """
    _FRUIT.set(fruit)
    _FLOWER.set(flower)


@cache
def catalogue(room: str) -> Mapping[str, Any]:
    """Return the sentences of one room; `FileNotFoundError` if there is none of that name.

    Examples
    --------
    >>> "unknown" in catalogue("names")
    True
    """
    return tomllib.loads((_ROOMS / f"{room}.toml").read_text(encoding="utf-8"))


def say(key: str, /, **values: object) -> str:
    """Return the sentence under ``room.entry``, filled with ``values``; a whole number may choose its noun.

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
    return _ended_once(str(entry), str(entry).format(**{**_group_words(), **counted}))


def _ended_once(entry: str, text: str) -> str:
    """Return a sentence with one full stop where what stands last in it, as "E. sp.", brings its own."""
    doubled = entry.endswith("}.") and text.endswith("..") and not text.endswith("...")
    return text[:-1] if doubled else text
