"""What is known of each species: a table of traits."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from os import PathLike
from typing import Any, NamedTuple

from crosscompat.ground.csv_cells import Cells, Sheet, column_name, raise_faults, read_sheet
from crosscompat.ground.errors import Fault, Place, WrongUse
from crosscompat.ground.names import NameIndex, fold
from crosscompat.ground.synonyms import for_labels
from crosscompat.ground.wording import say
from crosscompat.trait_kinds import TRAIT_KINDS, infer, is_unknown

__all__ = ["KINDS", "Description", "TraitColumn", "TraitTable", "from_memory", "read_traits"]

KINDS = tuple(TRAIT_KINDS)


@dataclass(frozen=True, slots=True)
class TraitColumn:
    """One trait: a value for each species of the table, None where it is not known.

    A flag is a bool, a count an int, a measure a float above zero, months a frozenset of 1 to 12, a category or a text
    a str. ``declared`` says whether the kind was declared or found from the cells, ``why`` is the entry of the
    sentence that says how.
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


class Description(NamedTuple):
    """A column as a screen shows it."""

    name: str
    kind: str
    declared: bool
    known: int
    sentence: str


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

    def describe(self) -> tuple[Description, ...]:
        """Return each column's name, kind, whether it was declared, how many species are known, and why that kind.

        Examples
        --------
        >>> table = TraitTable(("Aloe_vera",), (TraitColumn("spiny", "flag", False, (True,), "flag"),))
        >>> table.describe()[0].sentence
        'every word is yes or no'
        """
        return tuple(
            Description(column.name, column.kind, column.declared, column.known, _sentence(column))
            for column in self.columns
        )

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 of the table's species, kinds and values, in hexadecimal."""
        content = [
            list(self.species),
            [[column.name, column.kind, *map(_plain, column.values)] for column in self.columns],
        ]
        text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def from_memory(source: str | None) -> bool:
    """Say whether a value's source, or one of several parted by semicolons, is somebody's memory alone.

    Examples
    --------
    >>> from_memory("a grower's page (tetraploid); from memory (2n)"), from_memory("Xue 2007"), from_memory(None)
    (True, False, False)
    """
    return any(re.fullmatch(r"from memory( \(.*\))?", part.strip()) for part in (source or "").split(";"))


def _sentence(column: TraitColumn) -> str:
    return say(f"traits.why.{column.why}", of=column.name.removesuffix("_source"))


def _plain(value: Any) -> Any:
    return sorted(value) if isinstance(value, frozenset) else value


def read_traits(path: str | PathLike[str], kinds: Mapping[str, str] | None = None) -> TraitTable:
    """Read a table of traits: a CSV with a column ``species`` and a row a species.

    Blank, ``?``, ``unknown`` and ``NA`` are unknown. A column ``x_source`` beside a column ``x`` tells where its values
    are from. A column whose kind is not declared gets the first of these that fits all its cells: months, chromosome
    count (by its name), flag, measure, category; a column of sentences, or one with a different word for each species,
    is text and no feature (`TraitTable.describe` says which and why).

    ``kinds`` declares the kind (one of `KINDS`) of columns by their names.

    Raises
    ------
    BadInput
        With every fault: no species, a species twice, a cell that its column's declared kind contradicts.
    WrongUse
        If a kind is none of `KINDS`.
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
    known = [text for text in texts if text is not None and not is_unknown(text)]
    comma = sheet.decimal_comma
    of = name.removesuffix("_source")
    if declared:
        kind, why = declared, "declared"
    elif of != name and of in sheet.header:
        kind, why = "text", "source"
    else:
        kind, why = infer(name, known, comma=comma)
    convert = TRAIT_KINDS[kind].reader(known, comma)
    values = tuple(cells.read(name, lambda text: None if is_unknown(text) else convert(text)) for cells in rows)
    return TraitColumn(name, kind, declared is not None, values, why)
