"""What is known of each species: a table of traits, and the kinds of its columns.

A new kind is one line of `TRAIT_KINDS`; what its features are believed to say is a row in the priors.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, partial
from os import PathLike
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from crosscompat.ground.csv_cells import (
    BadCell,
    Cells,
    Sheet,
    column_name,
    decimal,
    raise_faults,
    read_sheet,
    whole,
    yes_no,
)  # fmt: skip
from crosscompat.ground.errors import Fault, Place, WrongUse
from crosscompat.ground.names import NameIndex, fold
from crosscompat.ground.synonyms import for_labels
from crosscompat.ground.wording import say

Floats: TypeAlias = NDArray[np.float64]
Reader: TypeAlias = Callable[[str], Any]
Compare: TypeAlias = Callable[[Floats, Floats], Floats]

_UNKNOWN = frozenset({"?", "unknown", "na", "n/a"})
_CHROMOSOMES = frozenset({"2n", "chromosomes", "chromosome_number", "chromosome_count"})
_MONTH_COLUMN = re.compile(r"month|flower|bloom|fruit|ripe|season|sow")
_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_NUMBER_OF = {"sept": 9} | {
    name: number for number, month in enumerate(_MONTHS, 1) for name in (str(number), f"{number:02}", month, month[:3])
}
_SENTENCE_WORDS = 4
_FEW_SPECIES = 5


def _is_unknown(text: str) -> bool:
    return text.strip().casefold() in _UNKNOWN


def months(text: str) -> frozenset[int]:
    """Return the months of a range or a list, or raise `BadCell`; a range may run over the new year.

    Examples
    --------
    >>> sorted(months("11-2")), sorted(months("apr-jun; 9"))
    ([1, 2, 11, 12], [4, 5, 6, 9])
    """
    numbers: set[int] = set()
    for part in re.split(r"[;,/]", text.casefold()):
        ends = [_NUMBER_OF.get(end.strip(" .")) for end in re.split(r"[-–]|\bto\b", part)]
        first, last = ends[0], ends[-1]
        if first is None or last is None or len(ends) > 2:  # noqa: PLR2004 - a range has two ends
            raise BadCell(say("traits.months", text=text), say("traits.months_advice"))
        numbers |= {(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)}
    return frozenset(numbers)


def _positive(text: str, *, comma: bool) -> float:
    value = decimal(text, comma=comma)
    if value <= 0:
        raise BadCell(say("traits.positive", text=text), say("traits.positive_advice"))
    return value


def _one_spelling(known: Sequence[str]) -> Reader:
    """Read words; one category has one spelling, the first in the column."""
    spelling: dict[str, str] = {}
    for text in known:
        spelling.setdefault(fold(text).casefold(), fold(text))
    return lambda text: spelling[fold(text).casefold()]


def _fits(read: Reader, known: Sequence[str]) -> bool:
    try:
        for text in known:
            read(text)
    except BadCell:
        return False
    return True


def _names_months(name: str, known: Sequence[str]) -> bool:
    """Bare numbers and ranges are months only in a column named so: 3-5 may count spines."""
    if not _fits(months, known):
        return False
    in_words = any(re.search("[a-z]", text, re.IGNORECASE) for text in known)
    over_new_year = any("-" in text and {12, 1} <= months(text) for text in known)
    return in_words or over_new_year or bool(_MONTH_COLUMN.search(name))


def _why_text(known: Sequence[str], *, comma: bool) -> str:
    if _fits(partial(decimal, comma=comma), known):
        return "not_positive"
    if 2 * sum(len(text.split()) >= _SENTENCE_WORDS for text in known) > len(known):
        return "sentences"
    different = len({fold(text).casefold() for text in known}) == len(known)
    return "all_different" if different and len(known) >= _FEW_SPECIES else ""


def _numbers(values: Sequence[Any]) -> Floats:
    return np.array([np.nan if value is None else float(value) for value in values])


def _word_numbers(values: Sequence[Any]) -> Floats:
    number = {word: at for at, word in enumerate(sorted({str(value) for value in values if value is not None}))}
    return _numbers([None if value is None else number[str(value)] for value in values])


def _where_known(compare: Callable[[Floats, Floats], NDArray[np.bool_]]) -> Compare:
    """1 or 0, and unknown where a parent's value is."""
    return lambda seed, pollen: np.where(np.isnan(seed) | np.isnan(pollen), np.nan, compare(seed, pollen))


def _both(seed: Floats, pollen: Floats) -> Floats:
    """1 where both have it, 0 where one is known not to, unknown otherwise."""
    return np.where((seed == 0) | (pollen == 0), 0.0, seed * pollen)


@dataclass(frozen=True, slots=True)
class TraitKind:
    """A kind of trait.

    ``why`` takes a column's name, its known cells and whether a decimal may have a comma, and returns the word for why
    the column is of this kind, "" if it is not. ``reader`` takes those cells and that comma, and returns what reads a
    cell or raises `BadCell`. ``codes`` makes k values a (k,) array, NaN for None; ``features`` make numbers of pairings
    of those.
    """

    why: Callable[[str, Sequence[str], bool], str]
    reader: Callable[[Sequence[str], bool], Reader]
    codes: Callable[[Sequence[Any]], Floats] = _numbers
    features: Mapping[str, Compare] = field(default_factory=dict)


TRAIT_KINDS: Mapping[str, TraitKind] = {
    "count": TraitKind(
        lambda name, _known, _comma: "count" if name in _CHROMOSOMES else "",
        lambda _known, _comma: whole,
        features={"lower": _where_known(np.less), "higher": _where_known(np.greater)},
    ),
    "flag": TraitKind(
        lambda name, known, _comma: "flag" if _fits(yes_no, known) and not _MONTH_COLUMN.search(name) else "",
        lambda _known, _comma: yes_no,
        features={"both": _both},
    ),
    "months": TraitKind(
        lambda name, known, _comma: "months" if _names_months(name, known) else "",
        lambda _known, _comma: months,
    ),
    "measure": TraitKind(
        lambda _name, known, comma: "measure" if _fits(partial(_positive, comma=comma), known) else "",
        lambda _known, comma: partial(_positive, comma=comma),
        codes=lambda values: np.log(_numbers(values)),
        features={"ratio": np.subtract, "size": lambda seed, pollen: np.abs(seed - pollen)},
    ),
    "text": TraitKind(lambda _name, known, comma: _why_text(known, comma=comma), lambda _known, _comma: str),
    "category": TraitKind(
        lambda _name, _known, _comma: "category",
        lambda known, _comma: _one_spelling(known),
        codes=_word_numbers,
        features={"same": _where_known(np.equal)},
    ),
}
"""In the order in which a column is tried for them."""

FEATURES: Mapping[str, Compare] = {name: how for kind in TRAIT_KINDS.values() for name, how in kind.features.items()}


def infer(name: str, known: Sequence[str], *, comma: bool = False) -> tuple[str, str]:
    """Return the kind of a column from its name and known cells, and the word for why.

    Examples
    --------
    >>> infer("flowering", ["4-6", "apr"]), infer("style_mm", ["12", "8.5"]), infer("colour", ["red", "pink", "red"])
    (('months', 'months'), ('measure', 'measure'), ('category', 'category'))
    """
    if not known:
        return "text", "blank"
    reasons = ((kind, trait.why(name, known, comma)) for kind, trait in TRAIT_KINDS.items())
    return next((kind, why) for kind, why in reasons if why)


KINDS = tuple(TRAIT_KINDS)


@dataclass(frozen=True, slots=True)
class TraitColumn:
    """One trait: a value for each species of the table, None where it is not known.

    A flag is a bool, a count an int, a measure a float above zero, months a frozenset of 1 to 12, a category or a text
    a str. ``declared``: whether the kind was, or was found from the cells; ``why`` is the entry of the sentence that
    says how.
    """

    name: str
    kind: str
    declared: bool
    values: tuple[Any, ...]
    why: str = "declared"

    @property
    def known(self) -> int:
        """How many species have a value."""
        return sum(value is not None for value in self.values)

    @property
    def sentence(self) -> str:
        """Why it is of this kind.

        Examples
        --------
        >>> TraitColumn("spiny", "flag", False, (True,), "flag").sentence
        'every word is yes or no'
        """
        return say(f"traits.why.{self.why}", of=self.name.removesuffix("_source"))


@dataclass(frozen=True)
class TraitTable:
    """Traits of species; the names of species are found as `NameIndex` finds them.

    ``species`` are as written, a row each, ``columns`` have one value a species, ``synonyms`` give the accepted name by
    name; a species is found by either.
    """

    species: tuple[str, ...]
    columns: tuple[TraitColumn, ...]
    synonyms: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def index(self) -> NameIndex:
        """The species by name."""
        return NameIndex(self.species, for_labels(self.synonyms, self.species))

    @cached_property
    def _row_of(self) -> dict[str, int]:
        return {species: row for row, species in enumerate(self.species)}

    def column(self, name: str) -> TraitColumn:
        """Return a column, whatever the case of its name, or raise `WrongUse`."""
        wanted = column_name(name)
        for column in self.columns:
            if column.name == wanted:
                return column
        names = ", ".join(column.name for column in self.columns)
        raise WrongUse(say("traits.no_column", column=name, columns=names))

    def value(self, species: str, column: str) -> Any:
        """Return a species' value, None where it is not known; raises `UnknownName` or `WrongUse` (no such column).

        Examples
        --------
        >>> table = TraitTable(("Aloe_vera",), (TraitColumn("spiny", "flag", True, (True,)),))
        >>> table.value("Aloe vera", "Spiny")
        True
        """
        return self.column(column).values[self._row_of[self.index.resolve(species)]]

    def source_of(self, species: str, column: str) -> str | None:
        """Return where a `value` is from, as the column ``<column>_source`` says it; None where either is not known.

        Examples
        --------
        >>> counts = TraitColumn("2n", "count", True, (14,)), TraitColumn("2n_source", "text", False, ("from memory",))
        >>> TraitTable(("Aloe_vera",), counts).source_of("Aloe vera", "2n")
        'from memory'
        """
        beside = f"{self.column(column).name}_source"
        known = self.value(species, column) is not None
        has_source = any(other.name == beside for other in self.columns)
        return self.value(species, beside) if known and has_source else None

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 of the table's species, kinds and values, in hexadecimal."""
        columns = [[column.name, column.kind, *column.values] for column in self.columns]
        text = json.dumps([self.species, columns], ensure_ascii=False, separators=(",", ":"), default=sorted)
        return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def from_memory(source: str | None) -> bool:
    """Say whether a value's source, or one of several parted by semicolons, is somebody's memory alone.

    Examples
    --------
    >>> from_memory("a grower's page (tetraploid); from memory (2n)"), from_memory("Xue 2007"), from_memory(None)
    (True, False, False)
    """
    return any(re.fullmatch(r"from memory( \(.*\))?", part.strip()) for part in (source or "").split(";"))


def read_traits(path: str | PathLike[str], kinds: Mapping[str, str] | None = None) -> TraitTable:
    """Read a table of traits: a CSV with a column ``species`` and a row a species.

    Blank, ``?``, ``unknown`` and ``NA`` are unknown. A column ``x_source`` beside a column ``x`` tells where its values
    are from. A column whose kind is not declared gets the first of these that fits all its cells: months, chromosome
    count (by its name), flag, measure, category; a column of sentences, or one with a different word for each species,
    is text and no feature (its ``sentence`` says which and why).

    ``kinds`` declares the kind (one of `KINDS`, else `WrongUse`) of columns by name. `BadInput` with every fault:
    no species, a species twice, a cell that its column's declared kind contradicts.
    """
    declared = {column_name(name): kind for name, kind in (kinds or {}).items()}
    for kind in declared.values():
        if kind not in KINDS:
            raise WrongUse(say("traits.kind", kind=kind, kinds=", ".join(KINDS)))
    faults: list[Fault] = []
    sheet = read_sheet(path, faults=faults)
    if sheet.header and "species" not in sheet.header:
        first = sheet.titles[sheet.header[0]]
        place = Place(sheet.file, row=1)
        faults.append(Fault(place, say("traits.no_species"), say("traits.no_species_advice", first=first)))
    raise_faults(faults)
    rows = [Cells(sheet, row, faults) for row in sheet.rows]
    species = _species(rows)
    names = [name for name in sheet.header if name != "species"]
    faults += [
        Fault(Place(sheet.file, row=1), say("traits.declared_absent", column=name))
        for name in declared
        if name not in names
    ]
    columns = [_column(sheet, rows, name, declared.get(name)) for name in names]
    raise_faults(faults)
    return TraitTable(species, tuple(columns))


def _species(rows: list[Cells]) -> tuple[str, ...]:
    first_row: dict[str, int] = {}
    names = [cells.text("species", needed=True) or "" for cells in rows]
    for cells, name in zip(rows, names, strict=True):
        row = first_row.setdefault(fold(name), cells.row.number)
        if name and row != cells.row.number:
            cells.fault("species", say("traits.twice", species=name, row=row), say("traits.twice_advice"))
    return tuple(names)


def _column(sheet: Sheet, rows: list[Cells], name: str, declared: str | None) -> TraitColumn:
    texts = [cells.text(name) for cells in rows]
    known = [text for text in texts if text is not None and not _is_unknown(text)]
    comma = sheet.decimal_comma
    of = name.removesuffix("_source")
    if declared:
        kind, why = declared, "declared"
    elif of != name and of in sheet.header:
        kind, why = "text", "source"
    else:
        kind, why = infer(name, known, comma=comma)
    convert = TRAIT_KINDS[kind].reader(known, comma)
    values = tuple(cells.read(name, lambda text: None if _is_unknown(text) else convert(text)) for cells in rows)
    return TraitColumn(name, kind, declared is not None, values, why)
