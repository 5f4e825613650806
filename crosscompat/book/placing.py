"""Where the parents that a record names stand on the tree."""

from __future__ import annotations

from collections.abc import Iterable

from crosscompat.ground.errors import UnknownName
from crosscompat.ground.names import NameIndex, correct_form, genus_of, read_name, somewhere_in


def placed(index: NameIndex, pairs: Iterable[tuple[str, str | None]]) -> list[tuple[str | None, str | None]]:
    """Return the labels that pairs of names mean, seed parent and pollen parent as written, in the order given.

    An abbreviated genus of the second is that of the first. None is a name that is not given, has no place, or could
    be more than one.

    Examples
    --------
    >>> placed(NameIndex(["Aloe_vera", "Aloe_ferox"]), [("Aloe ferox", "A. vera"), ("Agave ferox", "A. vera")])
    [('Aloe_ferox', 'Aloe_vera'), (None, None)]
    """
    given = list(pairs)
    found = {
        (seed, pollen): (find_label(index, seed), None if pollen is None else find_label(index, pollen, genus_of(seed)))
        for seed, pollen in dict.fromkeys(given)
    }
    return [found[pair] for pair in given]


def find_label(index: NameIndex, name: str, genus: str | None = None) -> str | None:
    """Return the label that a name means; None if it has no place, or could be more than one.

    Examples
    --------
    >>> find_label(NameIndex(["Aloe_vera"]), "A. vera", "Aloe")
    'Aloe_vera'
    """
    try:
        return index.find(name, genus)
    except UnknownName:
        return None


def findable_name(index: NameIndex, label: str) -> str:
    """Return a species in correct form, or as the tree writes it where that would not be found again.

    Examples
    --------
    >>> findable_name(NameIndex(["Aloe_vera"]), "Aloe_vera")
    'Aloe vera'
    """
    name = correct_form(label)
    return name if find_label(index, name) == label else label


def written_out(index: NameIndex, name: str) -> tuple[str, str]:
    """Return a name whose genus is left out or cut short in full, and how it was read where that is not plain.

    One that can be read by itself is the grower's own and stays; `UnknownName` says why another has no place.

    Examples
    --------
    >>> index = NameIndex(["Aloe_vera"], {"Aloe perfoliata": "Aloe vera"})
    >>> written_out(index, "perfoliata")
    ('Aloe vera', '“perfoliata” is a synonym; the name used here is Aloe vera.')
    >>> written_out(index, "A. vera 'Spot'"), written_out(index, "Aloe perfoliata")
    (("Aloe vera 'Spot'", ''), ('Aloe perfoliata', ''))
    """
    if somewhere_in(name) is not None or read_name(name) is not None:
        return name, ""
    match = index.match(name)
    if match.how == "species":
        return correct_form(name, genus_of(match.label)), ""
    return correct_form(match.label), "" if match.how == "parsed" else match.sentence
