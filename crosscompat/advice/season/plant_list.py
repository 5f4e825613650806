"""A list of plants as a grower keeps it: one a line, with field numbers, cultivars and names of their own."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from crosscompat.ground.errors import CrosscompatError
from crosscompat.ground.names import NameIndex, correct_form, fold

_BULLET = re.compile(r"^(?:[-*•·]|\d{1,3}[.)])\s+")
_CELLS = re.compile(r"\t|\s*[;|]\s*|\s*,\s+|\s{3,}")
_OWN_NAME = re.compile(r"(?=.*\d)(?=.*[A-Za-z])[\w./-]{2,20}")
_CROSSED = re.compile(r"\s+[xX×]\s+(?=[a-z])")
_NO_LETTER = re.compile(r"[^A-Z]")


@dataclass(frozen=True, slots=True)
class ListedPlant:
    """A plant of a list.

    Attributes
    ----------
    line : str
        As it was written.
    name : str
        What the grower calls it, else one made of the epithet.
    species : str or None
        In correct form, where the tree or its synonyms know it.
    """

    line: str
    name: str
    species: str | None


def read_plant_list(
    text: str, index: NameIndex, genus: str | None = None, taken: Collection[str] = ()
) -> list[ListedPlant]:
    r"""Return the plants of a list, one a line that is not blank; no line is refused.

    A name without a genus is one of the ``genus``; names that are ``taken`` are given to no other plant.

    Examples
    --------
    >>> index = NameIndex(["Echinocereus_coccineus", "Echinocereus_fendleri"])
    >>> for plant in read_plant_list("COC-1  E. coccineus SB 123\n- fendleri 'Winter Sun'\n?", index, "Echinocereus"):
    ...     print(plant.name, plant.species)
    COC-1 Echinocereus coccineus
    FEN-1 Echinocereus fendleri
    PLANT-1 None
    """
    used, numbers, found = set(taken), Counter[str](), []
    for line in filter(None, map(str.strip, text.splitlines())):
        words = _BULLET.sub("", line)
        own, label = _read(words, index, genus)
        name = own if own and own not in used else _made_name(label, used, numbers)
        used.add(name)
        found.append(ListedPlant(line, name, None if label is None else correct_form(label)))
    return found


def _read(line: str, index: NameIndex, genus: str | None) -> tuple[str | None, str | None]:
    """Return the plant's own name and the label of its species, as far as a line says them."""
    own = None
    for start in _starts(line):
        label = _label(line[start:], index, genus)
        if label is not None:
            before = _CELLS.sub(" ", line[:start]).split()
            own = next((word for word in before if _OWN_NAME.fullmatch(word)), None)
            return own, label
    cells = [cell for cell in _CELLS.split(line) if cell]
    return (cells[0] if len(cells) > 1 and _OWN_NAME.fullmatch(cells[0]) else None), None


def _starts(line: str) -> Iterator[int]:
    yield from (word.start() for word in re.finditer(r"[^\s;|,]+", line))


def _label(text: str, index: NameIndex, genus: str | None) -> str | None:
    """Return the label of the name with which a text begins: the whole of it, else its first cells and words."""
    cell = _CELLS.split(text)[0]
    words = cell.split()
    tries = [cell, *(" ".join(words[:n]) for n in range(min(len(words), 4), 0, -1))]
    if _CROSSED.search(cell):  # a hybrid is never taken for its seed parent
        tries = [_CROSSED.sub(f" × {genus[0]}. ", cell)] if genus else []
    for tried in dict.fromkeys(tries):
        try:
            return index.match(fold(tried), genus).label
        except CrosscompatError:
            continue
    return None


def _made_name(label: str | None, used: Collection[str], numbers: Counter[str]) -> str:
    """Return a name that no other plant has: three letters of the epithet and a number."""
    epithet = correct_form(label).split()[-1].upper() if label else ""
    stem = _NO_LETTER.sub("", epithet)[:3] or "PLANT"
    while True:
        numbers[stem] += 1
        if (name := f"{stem}-{numbers[stem]}") not in used:
            return name
