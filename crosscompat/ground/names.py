"""Names of plants: folded, read into parts, and found among the labels of a tree or a table."""

from __future__ import annotations

import heapq
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from difflib import SequenceMatcher
from functools import cached_property, lru_cache
from itertools import starmap
from typing import Literal, NamedTuple

from crosscompat.ground.errors import BadInput, Fault, Place, UnknownName
from crosscompat.ground.names_parse import PlantName, Unreadable, bare_word, fold, parse
from crosscompat.ground.wording import say

__all__ = [
    "Match",
    "NameIndex",
    "PlantName",
    "bracketed",
    "correct_form",
    "fold",
    "genus_of",
    "loose_keys",
    "one_of",
    "parse",
    "read_name",
    "repeated",
    "somewhere_in",
    "written_alike",
]

How = Literal["exact", "parsed", "synonym", "species", "hybrid"]
_SEPARATORS = re.compile(r"[\s\-_\u2010-\u2015\u2212]+")
_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")
_SHORTLIST, _SHOWN = 60, 200
_SAME_GENUS = 0.1
_LONGEST_CHAIN = 100  # of synonyms for synonyms
# The sign between two parents, not the one of a nothospecies, behind which no genus follows.
_JOINS = re.compile(r" × (?=[A-Z(×])")

_SOMEWHERE = re.compile(r"([A-Z][a-z-]+) ((?:sub)?(?:g|gen|genus|sect|sec|section|ser|series)\.?) ([A-Z][\w-]+)")
_SHORT_GENUS = re.compile(r"(?:(?P<beginning>\w{1,3} |\w+\. ?))?(?P<epithets>\w[\w-]*(?: [^\s×]\S*)*)")
"""An epithet alone, or behind a genus of at most three letters or with a full stop."""


def written_alike(text: str, known: Iterable[str]) -> list[str]:
    """Return the codes, labels or numbers that differ from a text in case, blanks, dashes or leading zeros only.

    Examples
    --------
    >>> written_alike("str-1", ["STR-01", "STR-2"]), written_alike("26–8", ["26-08", "26-18"])
    (['STR-01'], ['26-08'])
    """
    keys = loose_keys(text)
    return [name for name in known if keys & loose_keys(name)] if text.strip() else []


def loose_keys(text: str) -> set[str]:
    """Return a text without blanks and dashes, with its leading zeros and without."""
    lowered = fold(text).casefold()
    return {_SEPARATORS.sub("", key) for key in (lowered, _ZEROS.sub("", lowered))}


def correct_form(label: str, genus: str | None = None) -> str:
    """Return a label as it is printed: a plant name in correct form, anything else folded.

    Examples
    --------
    >>> correct_form("Echinocereus_x_roetteri"), correct_form("tip 12")
    ('Echinocereus ×roetteri', 'tip 12')
    """
    name = read_name(label, genus)
    return str(name) if name else fold(label)


def bracketed(name: str) -> str:
    """Return a name as it stands on one side of a ×: a formula in brackets, for A × B × C would join A and B first.

    Examples
    --------
    >>> bracketed("Mentha aquatica × Mentha spicata"), bracketed("Mentha ×piperita"), bracketed("Mentha × piperita")
    ('(Mentha aquatica × Mentha spicata)', 'Mentha ×piperita', 'Mentha × piperita')
    """
    depth = 0
    for place, letter in enumerate(name):
        depth += (letter == "(") - (letter == ")")
        if depth == 0 and _JOINS.match(name, place):
            return f"({name})"
    return name


def genus_of(label: str) -> str | None:
    """Return the genus that an abbreviation after this name stands for, or None if it is no plant name.

    Examples
    --------
    >>> genus_of("Mentha aquatica × M. arvensis × M. spicata"), genus_of("tip 12")
    ('Mentha', None)
    """
    name = read_name(label)
    return name.leading_genus if name else None


def somewhere_in(name: str) -> tuple[str, str, str] | None:
    """Return genus, mark of a rank and group of a name that says no more than where a plant belongs, or None.

    Examples
    --------
    >>> somewhere_in("Echinocereus sect. Triglochidiati"), somewhere_in("Echinocereus coccineus")
    (('Echinocereus', 'sect.', 'Triglochidiati'), None)
    """
    found = _SOMEWHERE.fullmatch(fold(name))
    return None if found is None else (found[1], found[2], found[3])


def repeated(labels: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Return the labels that are the same after folding: the folded form and all the ways it is written.

    Examples
    --------
    >>> repeated(["Aloe_vera", "Aloe ferox", "Aloe vera"])
    {'Aloe vera': ('Aloe_vera', 'Aloe vera')}
    """
    seen: dict[str, list[str]] = {}
    for label in labels:
        seen.setdefault(fold(label), []).append(label)
    return {folded: tuple(written) for folded, written in seen.items() if len(written) > 1}


class Match(NamedTuple):
    """The label found for a name, and how.

    "species" means that the name asked says more than the label (a subspecies, a cultivar, a field number, a cf.)
    and only its species is listed. "hybrid" means that it stands for a hybrid of listed species (`phylogeny.taxa`).
    """

    label: str
    how: How
    received: str

    @property
    def sentence(self) -> str:
        """How the name was read, for a screen; empty when exact."""
        return say(f"names.how.{self.how}", name=self.received, label=fold(self.label))


class NameIndex:
    """Finds names among labels, never silently taking one for another.

    The exact label (folded) comes first, then the name read into its parts, then the synonyms, then the species of a
    name that says more, then an epithet alone or behind a genus cut short, if one label fits. Labels need be no plant
    names; ``synonyms`` give the accepted name by name. A `BadInput` says that two of either are one after folding.

    Examples
    --------
    >>> index = NameIndex(["Echinocereus_coccineus", "Echinocereus_viereckii"], {"Cereus coccineus": "E. coccineus"})
    >>> index.resolve("E. viereckii Werderm.", genus="Echinocereus")
    'Echinocereus_viereckii'
    >>> index.match("Echinocereus coccineus 'Apache'").how
    'species'
    >>> index.find("Aloe vera") is None
    True
    """

    def __init__(self, labels: Iterable[str], synonyms: Mapping[str, str] | None = None) -> None:
        self.labels: tuple[str, ...] = tuple(labels)
        self.synonyms: dict[str, str] = dict(synonyms or {})
        self._exact = {fold(label): label for label in self.labels}
        if len(self._exact) < len(self.labels):
            raise BadInput(starmap(_repeat, repeated(self.labels).items()))
        self._synonym_index = NameIndex(self.synonyms) if self.synonyms else None
        self._matches: dict[tuple[str, str | None], Match] = {}
        self._open: set[tuple[str, str | None]] = set()

    def __contains__(self, text: object) -> bool:
        return isinstance(text, str) and self.find(text) is not None

    def resolve(self, text: str, genus: str | None = None) -> str:
        """Return the label that a name means, as given; raises as `match`."""
        return self.match(text, genus).label

    def find(self, text: str, genus: str | None = None) -> str | None:
        """Return the label that a name means, None if there is none; raises `UnknownName` if there are several."""
        match = self.lookup(text, genus)
        return match.label if match else None

    def lookup(self, text: str, genus: str | None = None) -> Match | None:
        """Return the label that a name means and how it was found, or None; raises as `find`."""
        return self._search(text, genus) or self._shortened(text, genus)

    def match(self, text: str, genus: str | None = None) -> Match:
        """Return the label that a name means, and how it was found; ``genus`` is what an abbreviated one stands for.

        An `UnknownName` has the three nearest labels, or all of those that it could be.
        """
        if match := self.lookup(text, genus):
            return match
        nearest = self.nearest(text, genus=genus)
        shown = text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
        try:
            parse(text, genus)
        except Unreadable:
            pass
        except UnknownName as fault:
            raise UnknownName(str(fault), text, nearest) from None
        key = "unknown" if nearest else "unknown_alone"
        raise UnknownName(say(f"names.{key}", name=shown, nearest=one_of(nearest)), text, nearest)

    def nearest(self, text: str, n: int = 3, genus: str | None = None) -> tuple[str, ...]:
        """Return the labels most like a name, best first; the same genus counts a little more.

        Examples
        --------
        >>> NameIndex(["Aloe_vera", "Aloe_ferox", "Agave_ferox"]).nearest("Aloe ferrox", 2)
        ('Aloe_ferox', 'Aloe_vera')
        """
        wanted = correct_form(text, genus).casefold()
        pieces = {wanted[at : at + 2] for at in range(max(1, len(wanted) - 1))}
        rough = [
            (sum(piece in low for piece in pieces) / (len(wanted) + len(low)), at, low)
            for at, low in enumerate(self._lowered)
        ]
        matcher = SequenceMatcher(autojunk=False)
        matcher.set_seq2(wanted)
        close: list[tuple[float, float, str]] = []
        for _, at, low in heapq.nlargest(max(n, _SHORTLIST), rough):
            matcher.set_seq1(low)
            words = low.split(" ")
            begins = any(word.startswith(wanted) for word in words)
            likeness = matcher.ratio() + _SAME_GENUS * (words[0] == wanted.split(" ")[0]) + begins
            close.append((-likeness, -matcher.quick_ratio(), self.labels[at]))  # letters swapped: the same letters
        return tuple(label for *_, label in sorted(close)[:n])

    @cached_property
    def _lowered(self) -> list[str]:
        return [folded.casefold() for folded in self._exact]

    @cached_property
    def _by_lowered(self) -> dict[str, list[str]]:
        return _grouped(zip(self._lowered, self.labels, strict=True))

    @cached_property
    def _by_word(self) -> dict[str, list[str]]:
        """Labels by each of their words, so that only those that share one are ever read into parts."""
        return _grouped(
            (bare_word(word), label)
            for low, label in zip(self._lowered, self.labels, strict=True)
            for word in set(low.split(" "))
        )

    def _search(self, text: str, genus: str | None) -> Match | None:
        """Return the match of a name; none for a synonym that leads back to itself, or through too many others."""
        key = (text, genus)
        if key in self._matches or key in self._open or len(self._open) > _LONGEST_CHAIN:
            return self._matches.get(key)
        self._open.add(key)
        try:
            match = self._read(text, genus)
        finally:
            self._open.remove(key)
        if match:
            self._matches[key] = match
        return match

    def _read(self, text: str, genus: str | None) -> Match | None:
        folded = fold(text)
        if folded in self._exact:
            return Match(self._exact[folded], "exact", text)
        name = read_name(text, genus)
        label = self._only(self._by_lowered.get(folded.casefold(), []), text) or self._parsed(name, text)
        if label:
            return Match(label, "parsed", text)
        return self._accepted(text, genus) or self._species(name, text)

    def _parsed(self, name: PlantName | None, text: str) -> str | None:
        if name is None:
            return None
        wanted, alike = _key(name), self._by_word.get(_anchor(name), [])
        same = [label for label in alike if (read := read_name(label)) and _key(read) == wanted]
        if len(same) > 1:  # two ranks of one epithet: the name's own rank decides, if it has one
            same = [label for label in same if str(read_name(label)) == str(name)] or same
        return self._only(same, text)

    def _accepted(self, text: str, genus: str | None) -> Match | None:
        synonym = self._synonym_index._search(text, genus) if self._synonym_index else None  # noqa: SLF001 - another of this class
        if synonym is None or synonym.how == "species":
            return None
        name = read_name(synonym.label)
        accepted = self._search(self.synonyms[synonym.label], name.genus if name else genus)
        if accepted is None:
            return None
        return Match(accepted.label, "species" if accepted.how == "species" else "synonym", text)

    def _species(self, name: PlantName | None, text: str) -> Match | None:
        if name is None or _leans(name):
            return None
        species = name.only_species()
        match = self._search(str(species), None) if _key(species) != _key(name) else None
        return Match(match.label, "species", text) if match else None

    def _shortened(self, text: str, genus: str | None) -> Match | None:
        """Read an epithet alone, or behind a genus cut short, where only one label of the index fits."""
        short = _SHORT_GENUS.fullmatch(fold(text).casefold())
        if short is None:
            return None
        beginning, epithets = (short["beginning"] or "").strip(" ."), short["epithets"].split()
        for index in (self, self._synonym_index or self):
            labels = index._by_word.get(bare_word(epithets[0]), [])  # noqa: SLF001 - another of this class
            genera = {fold(label).split(" ")[0] for label in labels}
            if genus in genera or (genus and beginning):  # a genus cut short is that of the first parent
                genera &= {genus}
            spelt = (f"{each} {' '.join(epithets)}" for each in sorted(genera))
            meant = (self._search(each, None) for each in spelt if each.casefold().startswith(beginning))
            found = {match.label: match.how for match in meant if match and (beginning or match.how != "species")}
            if label := self._only(list(found), text):
                return Match(label, "parsed" if found[label] == "exact" else found[label], text)
        return None

    def _only(self, labels: list[str], text: str) -> str | None:
        if len(labels) > 1:
            listed = "; ".join(labels)
            raise UnknownName(say("names.ambiguous", name=text, labels=listed), text, labels)
        return labels[0] if labels else None


def _repeat(folded: str, written: tuple[str, ...]) -> Fault:
    what = say("names.repeated", n=len(written), labels="; ".join(written))
    return Fault(Place(), f"{folded}: {what}", say("names.repeated_advice"))


def _grouped(pairs: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    groups: defaultdict[str, list[str]] = defaultdict(list)
    for key, label in pairs:
        groups[key].append(label)
    return dict(groups)


@lru_cache(10_000)
def read_name(text: str, genus: str | None = None) -> PlantName | None:
    """Return the parts of a name, or None if it is no plant name."""
    try:
        return parse(text, genus)
    except UnknownName:
        return None


def _key(name: PlantName) -> tuple[object, ...]:
    """Return what all ways of writing one name share: × and ranks are left out (ICN Art. H.3.3), authors too."""
    parents = tuple(_key(parent) for parent in name.parents) if name.parents else ()
    words = (name.genus, name.epithet, name.infraspecific, name.cultivar, name.group, name.field_number, name.qualifier)
    return (*[(word or "").casefold() for word in words], parents)


def _anchor(name: PlantName) -> str:
    """Return the word by which labels that may be this name are picked out."""
    while name.parents:
        name = name.parents[0]
    return bare_word((name.epithet or name.genus).casefold())


def _leans(name: PlantName) -> bool:
    """Say whether a name only leans on a species or has none: aff. is a relative, sp. is undetermined."""
    if name.parents:
        return any(_leans(parent) for parent in name.parents)
    relative = name.qualifier == "aff." and not name.qualifies_infraspecific
    return name.epithet is None or relative


def one_of(labels: Sequence[str]) -> str:
    """Return names as a person would offer them: the last after "or"."""
    *others, last = [fold(label) for label in labels] or [""]
    return say("names.or").join([", ".join(others), last] if others else [last])
