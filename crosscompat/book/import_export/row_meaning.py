"""What the cells and rows of a grower's table mean, as values and as records of a book."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, MutableMapping
from dataclasses import dataclass, field, replace
from functools import cache, partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from crosscompat.book import records
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.import_export.cell_meaning import our_word
from crosscompat.book.record_fields import read_field
from crosscompat.book.records import Record, new_id
from crosscompat.ground import csv_convert
from crosscompat.ground.csv_cells import Cells, Sheet
from crosscompat.ground.csv_convert import BadCell, as_text
from crosscompat.ground.errors import Fault, UnknownName
from crosscompat.ground.names import parse
from crosscompat.ground.wording import say

if TYPE_CHECKING:  # a table is written without the database
    from crosscompat.book.store import Reading

_EMPTY = r"\e"
_UNFIT = re.compile(r"[\x00-\x08\x0b-\x1f\\]")
_ESCAPE = re.compile(r"\\(?:u([0-9a-f]{4})|(.))", re.DOTALL)
_FORMULA = ("=", "+", "-", "@")


def guarded(text: str) -> str:
    r"""Return the text of a cell so that no spreadsheet takes it for a formula.

    Examples
    --------
    >>> guarded("=1+1"), guarded("red thread")
    ('\\=1+1', 'red thread')
    """
    return f"\\{text}" if text.startswith(_FORMULA) else text


def unguarded(cell: str) -> str:
    r"""Return the text of a cell that was guarded, all else in it left alone.

    Examples
    --------
    >>> unguarded(guarded("+49")), unguarded("red thread")
    ('+49', 'red thread')
    """
    return cell[1:] if cell.startswith("\\") and cell[1:].startswith(_FORMULA) else cell


def escaped(text: str) -> str:
    r"""Return a text as a cell that is never blank, no formula, and the same again when it is read.

    Examples
    --------
    >>> escaped("red thread"), escaped("a\\b\r"), escaped(""), escaped("=1")
    ('red thread', 'a\\u005cb\\u000d', '\\e', '\\=1')
    """
    return guarded(_UNFIT.sub(lambda letter: f"\\u{ord(letter[0]):04x}", text)) if text else _EMPTY


def unescaped(cell: str) -> str:
    r"""Return the text that a cell of `escaped` stands for.

    Examples
    --------
    >>> unescaped(escaped("=1\\+1")), unescaped(r"\e")
    ('=1\\+1', '')
    """
    return "" if cell == _EMPTY else _ESCAPE.sub(lambda found: chr(int(found[1], 16)) if found[1] else found[2], cell)


_SIGN = re.compile(r"\s+[×xX✕✖]\s+|(?<=[\w.)'’])×(?=[\w('‘])")
_SEED, _POLLEN = "♀", "♂"
_SIGNS = re.compile(r"[♀♂][\ufe0e\ufe0f]?")
TOOK_MEANS: Mapping[str, str] = MappingProxyType({"pod-set": "pods_set", "ripe-pod": "pods_held", "seedling": "took"})
"""Our column by what "took" may mean."""


def is_pair(text: str) -> bool:
    """Tell whether a text holds a sign of crossing between two names.

    Examples
    --------
    >>> is_pair("COC-1 x DAS-2"), is_pair("Echinocereus ×roetteri"), is_pair("24-07")
    (True, False, False)
    """
    return len(_parts(text)) > 1


def parents_of(text: str) -> tuple[str, str]:
    """Return seed parent and pollen parent, as they are written; the seed parent stands first, or has the sign ♀.

    Raises
    ------
    BadCell
        If it is not certain where one ends and the other begins.

    Examples
    --------
    >>> parents_of("Echinocereus coccineus x E. dasyacanthus")
    ('Echinocereus coccineus', 'E. dasyacanthus')
    >>> parents_of("♂ coc-1 × ♀ das-1"), parents_of("(A × B) × C")
    (('das-1', 'coc-1'), ('(A × B)', 'C'))
    >>> is_pair("Echinocereus × lloydii"), parents_of("Echinocereus × lloydii × E. coccineus")
    (False, ('Echinocereus × lloydii', 'E. coccineus'))
    """
    sides = _parts(text)
    if len(sides) != 2 or not all(map(_bare, sides)):  # noqa: PLR2004 - both parents
        raise BadCell(say("sheets.pair", text=text), say("sheets.pair_advice"))
    first, second = sides
    swapped = (_POLLEN in first or _SEED in second) and not (_SEED in first or _POLLEN in second)
    if not swapped and (_POLLEN in first or _SEED in second):
        raise BadCell(say("sheets.pair", text=text), say("sheets.pair_advice"))
    return (_bare(second), _bare(first)) if swapped else (_bare(first), _bare(second))


def _bare(side: str) -> str:
    return _SIGNS.sub("", side).strip()


def _sides(text: str) -> list[str]:
    """Cut at the signs that stand outside brackets."""
    cuts = [
        found
        for found in _SIGN.finditer(text)
        if text.count("(", 0, found.start()) == text.count(")", 0, found.start())
    ]
    starts, stops = [0, *(cut.end() for cut in cuts)], [*(cut.start() for cut in cuts), len(text)]
    return [text[start:stop].strip() for start, stop in zip(starts, stops, strict=True)]


def _parts(text: str) -> list[str]:
    """Return the sides; a sign that belongs to the name of a hybrid, as the rules of names have it, cuts nothing."""
    sides = _sides(text)
    try:
        parents = parse(text).parents
    except UnknownName:
        return sides
    if parents is None:
        return [text]
    return sides if len(sides) == len(parents) else [parent.received for parent in parents]


def put_took(row: MutableMapping[str, str | None], means: str) -> None:
    """Move a row's "took" to the column that it means; yes is 1 of one flower, no is 0.

    Raises
    ------
    BadCell
        If "yes" stands for several flowers, or another column of the row counts the same and says otherwise.
    """
    units = (row.get("units") or "").strip()
    count = _counted((row.pop("took") or "").strip(), units)
    column = TOOK_MEANS[means]
    if column == "took" and row.get("tried") is None:
        column = "took" if units else "seedlings"
        if units:
            row["tried"] = units
    if row.get(column) not in {None, count}:
        raise BadCell(say("sheets.took_twice", text=count, other=row[column]), say("sheets.took_twice_advice"))
    row[column] = count


def _counted(text: str, units: str) -> str:
    if text.isdecimal():
        return text
    try:
        yes = csv_convert.yes_no(our_word(text, "yes_no") or text)
    except BadCell:
        raise BadCell(say("sheets.took_word", text=text), say("sheets.took_word_advice")) from None
    if yes and units not in {"", "1"}:
        raise BadCell(say("sheets.took_some", text=text, n=units), say("sheets.took_some_advice"))
    return "1" if yes else "0"


EXTRA: Mapping[str, tuple[type[Record], str]] = MappingProxyType(
    {
        "aim": (records.Cross, "aim"),
        "wanted": (records.Cross, "wanted"),
        "hour": (records.Pollination, "hour"),
        "marker": (records.Pollination, "marker"),
        "temperature": (records.Pollination, "temperature"),
        "humidity": (records.Pollination, "humidity"),
        "count_how": (records.Pollination, "count_how"),
        "weight": (records.SeedLot, "weight"),
        "harvested_on": (records.SeedLot, "date"),
        "sown_on": (records.Sowing, "date"),
        "first_seedling_on": (records.Emergence, "date"),
        "ended_on": (records.Loss, "date"),
    }
)
"""Columns, and the kind of record and the field that hold each."""

DAYS = tuple(column for column, (_, name) in EXTRA.items() if name == "date")
"""Those that hold days, in the order in which they come."""


def extra_in(sheet: Sheet, faults: list[Fault]) -> dict[int, dict[str, Any]]:
    """Return what each row says beyond the summary, by its number; what cannot be read adds a fault."""
    found = {}
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        values = {column: cells.read(column, read) for column, read in _extra_readers(sheet.decimal_comma).items()}
        found[row.number] = {column: value for column, value in values.items() if value is not None}
    return found


@cache
def _extra_readers(comma: bool) -> Mapping[str, Callable[[str], Any]]:  # noqa: FBT001 - a key of the cache
    items = {column: (kind, kind.__dataclass_fields__[name]) for column, (kind, name) in EXTRA.items()}
    return {column: partial(read_field, kind, item, comma=comma) for column, (kind, item) in items.items()}


def extra_noted(page: Reading) -> Mapping[str, Mapping[str, set[Any]]]:
    """Return what the book says of each cross beyond the summary, by its identifier."""
    found: dict[str, dict[str, set[Any]]] = defaultdict(lambda: defaultdict(set))
    cross_of_tray = dict(page.columns(records.Sowing, "id", "cross"))
    for column, (kind, name) in EXTRA.items():
        for owner, value in page.columns(kind, _owner(kind), name):
            found[cross_of_tray.get(owner, owner)][column].add(value)
    return found


def with_extra(found: Iterable[Record], extra: Mapping[str, Mapping[str, Any]]) -> Iterator[Record]:
    """Yield records with what their rows said beyond the summary.

    The day of the first seedling is a look of its own, at which one was up.
    """
    trays: dict[str, str] = {}
    made: set[tuple[type[Record], str]] = set()
    for record in found:
        cross = getattr(record, _owner(type(record)), "")
        made.add((type(record), cross))
        if isinstance(record, records.Sowing):
            trays[cross] = record.id
        yield replace(record, **_extra_of(type(record), extra.get(cross, {})))
    for cross, values in extra.items():
        for kind in (records.SeedLot, records.Sowing):
            own = _extra_of(kind, values)
            if (kind, cross) not in made and (own or (kind is records.Sowing and "first_seedling_on" in values)):
                new = kind(cross=cross, **own)
                trays |= {cross: new.id} if kind is records.Sowing else {}
                yield new
        if "first_seedling_on" in values:
            yield records.Emergence(sowing=trays[cross], date=values["first_seedling_on"], up=1)


def _extra_of(kind: type[Record], values: Mapping[str, Any]) -> dict[str, Any]:
    return {EXTRA[column][1]: value for column, value in values.items() if EXTRA[column][0] is kind}


def _owner(kind: type[Record]) -> str:
    """Return the field by which a kind of record is found for its cross."""
    return {records.Cross: "id", records.Emergence: "sowing"}.get(kind, "cross")


_OF_CROSS = ("kind", "only_successes", "closed_stage", "source", "recorded_at", "note")
_OF_VISIT = ("date", "unit_kind", "units", "pollen_kind", "technique", "stamens_removed", "isolation")
_COUNTED = ("pods_set", "pods_held", "tried", "took")


def records_of(
    plants: Plants, crosses: Iterable[Cross], standing: Mapping[str, tuple[str, str]] = MappingProxyType({})
) -> list[Record]:
    """Return the records that say what tables of plants and crosses say, no more and no less.

    A plant that only the crosses name becomes one of the book. Counts of a table have no date.
    """
    garden = _Garden(dict(standing))
    for plant in plants.by_name.values():
        garden.take_in(plant)
    found = [record for cross in crosses for record in _cross_records(cross, garden)]
    return [*garden.records, *found]


@dataclass(slots=True)
class _Garden:
    """The plants taken in so far: identifier and species by name."""

    known: dict[str, tuple[str, str]]
    records: list[Record] = field(default_factory=list)

    def take_in(self, plant: Plant) -> None:
        """Write down a plant and what is known of it."""
        clone = plant.clone if plant.clone != plant.plant else None
        new = records.Plant(name=plant.plant, clone=clone, source=plant.source, note=plant.note)
        self.known[plant.plant] = (new.id, plant.species)
        self.records += [new, records.Determination(plant=new.id, name=plant.species)]
        findings = {"sex": plant.sex, "2n": plant.chromosomes, "self_fertile": plant.self_fertile}
        for what, value in findings.items():
            if value is not None:
                self.records.append(records.Finding(plant=new.id, what=what, value=as_text(value)))

    def find(self, name: str | None, species: str | None) -> tuple[str | None, str | None]:
        """Return the plant of a name, and the species where it is not what the plant itself is known as."""
        if name is None:
            return None, species
        if name not in self.known:
            self.take_in(Plant(name, species or name, name))
        plant, own = self.known[name]
        return plant, None if species == own else species


def _cross_records(cross: Cross, garden: _Garden) -> Iterator[Record]:
    seed_plant, seed_parent = garden.find(cross.seed_plant, cross.seed_parent)
    made = records.Cross(
        id=cross.id or new_id(),
        number=cross.cross,
        seed_plant=seed_plant,
        seed_parent=seed_parent,
        **_shared(cross, _OF_CROSS),
    )
    visit = records.Pollination(cross=made.id, who=cross.grower, **_shared(cross, _OF_VISIT))
    yield made
    yield visit
    if cross.pollen_parent is not None or cross.pollen_plant is not None:
        plant, name = garden.find(cross.pollen_plant, cross.pollen_parent)
        yield records.Pollen(pollination=visit.id, plant=plant, name=name)
    for what, count in _shared(cross, _COUNTED).items():
        if count is not None:
            yield records.Observation(cross=made.id, what=what, count=count)
    if cross.seeds is not None or cross.seeds_filled is not None:
        yield records.SeedLot(cross=made.id, seeds=cross.seeds, filled=cross.seeds_filled)
    if cross.seeds_sown is not None or cross.seedlings is not None:
        sowing = records.Sowing(cross=made.id, seeds=cross.seeds_sown)
        yield sowing
        if cross.seedlings is not None:
            yield records.Emergence(sowing=sowing.id, highest=cross.seedlings)
    if cross.lost_to is not None:
        yield records.Loss(cross=made.id, cause=cross.lost_to)
    if cross.proof is not None:
        yield records.Proof(cross=made.id, verdict=cross.proof)


def _shared(cross: Cross, names: Iterable[str]) -> dict[str, Any]:
    return {name: getattr(cross, name) for name in names}
