"""A grower's table taken into a book: what is new as records, what is wrong as faults, no number changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, timedelta
from itertools import pairwise
from types import MappingProxyType
from typing import Any

from crosscompat.book import records
from crosscompat.book.cross_summary import crosses_of
from crosscompat.book.crosses import Cross, crosses_in
from crosscompat.book.current_plants import MORE, Plant, Plants, plants_in, plants_of
from crosscompat.book.import_export.cell_meaning import two_days
from crosscompat.book.import_export.column_mapping import DAYS, EXTRA, WORDS_OF, Answers, Grid, TableMapping
from crosscompat.book.import_export.read_rows import Report, sheet_of
from crosscompat.book.record_fields import read_cell, read_fields
from crosscompat.book.records import Record, new_id
from crosscompat.book.store import Reading
from crosscompat.ground.csv_cells import Cells, Row, Sheet, as_text
from crosscompat.ground.errors import Fault
from crosscompat.ground.names import written_alike
from crosscompat.ground.wording import say

_OF_CROSSES = tuple(item.name for item in fields(Cross) if item.name not in {"id", "row", "recorded_at", "kind"})
_OF_PLANTS = tuple(item.name for item in fields(Plant) if item.name != "row")
_OF_CROSS = ("kind", "only_successes", "closed_stage", "source", "recorded_at", "friend", "note")
_OF_VISIT = ("date", "date_words", "unit_kind", "units", "pollen_kind", "technique", "stamens_removed", "isolation")
_HALF_A_SEASON = timedelta(days=46)
_COUNTED = ("pods_set", "pods_held", "tried", "took")
_EXTRA = {**EXTRA, **WORDS_OF}
More = Mapping[int, Mapping[str, Any]]
"""What rows say beyond the tables of plants and crosses, by their number and the field or column."""
_Values = Mapping[str, Collection[Any]]  # what the book says, by column


@dataclass(frozen=True, slots=True)
class ImportedRows:
    """What comes of a table: its new crosses and plants, of rows without a fault, with what more is said of them.

    Of its ``rows`` that have anything in them, ``same`` say what the book says already. ``faults`` stand in the order
    of the file, and ``values`` are what stands in their cells; ``said`` is what was read otherwise than it is written,
    ``open_notes`` may say that a cross was lost or failed, with the rows in which they stand.
    """

    rows: int
    crosses: tuple[Cross, ...]
    plants: tuple[Plant, ...]
    more: More
    same: int
    faults: tuple[Fault, ...]
    values: tuple[str | None, ...]
    said: tuple[Fault, ...]
    open_notes: Mapping[str, list[int]]


def read_table(page: Reading, grid: Grid, mapping: TableMapping, answers: Answers, today: date) -> ImportedRows:
    """Read a table against a book; nothing is written."""
    report = Report()
    faults = report.faults
    sheet = sheet_of(grid, mapping, answers, plants_of(page), report)
    rows = _Rows(page, sheet, {row.number: _more(Cells(sheet, row, faults), mapping) for row in sheet.rows}, faults)
    crosses: list[Cross] = []
    plants: list[Plant] = []
    if mapping.rows_are == "crosses":
        read = crosses_in(sheet, faults)
        rows.refuse_days(read, today)
        crosses, same = rows.new_crosses(read)
    else:
        plants, same = rows.new_plants(plants_in(sheet, faults))
    bad = {fault.place.row or 0 for fault in faults}
    faults.sort(key=lambda fault: fault.place.row or 0)
    values = [_value(grid, mapping, fault) for fault in faults]
    return ImportedRows(
        rows=len(sheet.rows),
        crosses=tuple(cross for cross in crosses if cross.row not in bad),
        plants=tuple(plant for plant in plants if plant.row not in bad),
        more=rows.more,
        same=len(same - bad),
        faults=tuple(
            fault._replace(advice=f"{fault.advice} {say('sheets.order')}") if value and two_days(value) else fault
            for fault, value in zip(faults, values, strict=True)
        ),
        values=tuple(values),
        said=tuple(report.said),
        open_notes=report.open_notes,
    )


def records_of_rows(page: Reading, taken: ImportedRows) -> list[Record]:
    """Return the records that are to be written; an identifier that the book has used before is not used again."""
    bench = plants_of(page)
    standing = {plant.name: (plant.id, bench.species(plant.name)) for plant in page.current(records.Plant)}
    used = {cross.id for cross in taken.crosses if cross.id and page.kind_of(cross.id)}
    crosses = [replace(cross, id=new_id()) if cross.id in used else cross for cross in taken.crosses]
    return records_of(Plants.of(taken.plants), crosses, standing, taken.more)


def _more(cells: Cells, mapping: TableMapping) -> dict[str, Any]:
    """Return what a row says beyond the summary, or beyond the table of plants."""
    if mapping.rows_are == "plants":
        return read_fields(cells, records.Plant, MORE)
    found = {
        column: read_cell(cells, column, kind, kind.__dataclass_fields__[name])
        for column, (kind, name) in _EXTRA.items()
    }
    return {column: value for column, value in found.items() if value is not None}


@dataclass(frozen=True, slots=True)
class _Rows:
    """The rows of a table, held against a book; what is wrong adds a fault."""

    page: Reading
    sheet: Sheet
    more: More
    faults: list[Fault]

    def new_crosses(self, crosses: Sequence[Cross]) -> tuple[list[Cross], set[int]]:
        """Return the crosses that a book does not have yet, and the rows that say what it says already.

        A number is never given twice: a row whose number is in the book must agree with it in all that it says, and so
        must one with an identifier. A row with neither is known where a cross of the book without a number agrees; of
        several, that of which least is known is used up.
        """
        by_name: dict[str | None, _Values] = {}
        unnumbered: dict[tuple[date, str], list[_Values]] = defaultdict(list)
        for cross, known in _known_crosses(self.page):
            by_name |= {cross.id: known, cross.cross: known}
            if cross.cross is None:
                unnumbered[cross.date, cross.seed_parent].append(known)
        fresh: dict[str | int, Cross] = {}
        same: set[int] = set()
        bad = {fault.place.row for fault in self.faults}
        for cross in crosses:
            said = _said(cross, _OF_CROSSES, self.more[cross.row])
            there = by_name.get(cross.id or "") or by_name.get(cross.cross or "")
            nameless = [] if cross.cross or cross.row in bad else unnumbered[cross.date, cross.seed_parent]
            alike = [known for known in nameless if not _differing(said, known)]
            first = fresh.get(cross.cross or cross.row)
            if there is not None:
                same |= self.compared(cross.row, ("cross", cross.number), said, there)
            elif alike:
                nameless.remove(
                    min(alike, key=lambda known: sum(_any(values) is not None for values in known.values()))
                )
                same.add(cross.row)
            elif first is not None:
                self.fault(cross.row, "cross", say("sheets.number_twice", number=first.number, row=str(first.row)))
            elif cross.row not in bad:
                fresh[cross.cross or cross.row] = cross
        return list(fresh.values()), same

    def new_plants(self, plants: Sequence[Plant]) -> tuple[list[Plant], set[int]]:
        """Return the plants that a book does not have yet, and the rows that say what it says already."""
        bench = plants_of(self.page)
        noted = {plant.name: plant for plant in self.page.current(records.Plant)}
        fresh: list[Plant] = []
        same: set[int] = set()
        for plant in plants:
            known = bench.find(plant.plant)
            if known is None:
                fresh.append(plant)
                continue
            names = [name for name in _OF_PLANTS if name != "plant" and (name != "clone" or plant.clone != plant.plant)]
            there = {name: [getattr(known, name)] for name in names}
            there |= {name: [getattr(noted[known.plant], name)] for name in MORE}
            said = _said(plant, names, self.more[plant.row])
            same |= self.compared(plant.row, ("plant", plant.plant), said, there)
        return fresh, same

    def compared(self, row: int, named: tuple[str, str], said: Mapping[str, Any], there: _Values) -> set[int]:
        """Return the row if it says what the book says, else add a fault with all in which the two differ."""
        differences = "; ".join(
            say("sheets.differs", column=name, here=as_text(here), there=as_text(known) or say("sheets.nothing"))
            for name, here, known in _differing(said, there)
        )
        if differences:
            what = say("sheets.taken", number=named[1], told=differences)
            self.fault(row, named[0], what, say("sheets.taken_advice"))
        return set() if differences else {row}

    def refuse_days(self, crosses: Iterable[Cross], today: date) -> None:
        """Refuse days to come, days in an order that cannot be, and a first seedling where none came up."""
        for cross in crosses:
            said = {"date": cross.date, "date_words": cross.date_words, **self.more[cross.row]}
            days = {name: said[name] for name in ("date", *DAYS) if name in said}
            for name, day in days.items():
                if day > today:
                    self.fault(cross.row, name, say("sheets.future", day=day.isoformat()))
            for (name, first), (later, day) in pairwise(days.items()):
                rough = said.get(f"{name}_words") or said.get(f"{later}_words")
                if day < first - (_HALF_A_SEASON if rough else timedelta(0)):
                    values = {"day": day.isoformat(), "first": first.isoformat()}
                    what = say("sheets.before", column=self.sheet.titles.get(name, name), **values)
                    self.fault(cross.row, later, what, say("sheets.before_advice"))
            if "first_seedling_on" in days and cross.seedlings == 0:
                self.fault(cross.row, "seedlings", say("sheets.none_came_up"))

    def fault(self, row: int, column: str, what: str, advice: str = "") -> None:
        place = self.sheet.place(Row(row, {}), column if column in self.sheet.titles else None)
        self.faults.append(Fault(place, what, advice))


def _known_crosses(page: Reading) -> Iterator[tuple[Cross, _Values]]:
    """Yield each cross of the book with all that is said of it, by column."""
    noted: dict[str, dict[str, set[Any]]] = defaultdict(lambda: {column: set() for column in _EXTRA})
    cross_of_tray = dict(page.columns(records.Sowing, "id", "cross"))
    for column, (kind, name) in _EXTRA.items():
        owner_field = {records.Cross: "id", records.Emergence: "sowing"}.get(kind, "cross")
        for owner, value in page.columns(kind, owner_field, name):
            noted[cross_of_tray.get(owner, owner)][column].add(value)
    for cross in crosses_of(page):
        yield cross, {**{name: {getattr(cross, name)} for name in _OF_CROSSES}, **noted[cross.id or ""]}


def _said(row: Any, names: Iterable[str], more: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a row says, by column; what it leaves blank it does not say."""
    every = {name: getattr(row, name) for name in names} | dict(more)
    return {name: value for name, value in every.items() if value is not None}


def _differing(said: Mapping[str, Any], there: _Values) -> list[tuple[str, Any, Any]]:
    """Return what is said otherwise than in the book: column, here, there."""
    return [(name, here, _any(there[name])) for name, here in said.items() if here not in there[name]]


def _any(values: Iterable[Any]) -> Any:
    return next((value for value in values if value is not None), None)


def _value(grid: Grid, mapping: TableMapping, fault: Fault) -> str | None:
    """Return what stands in the cell of a fault, as text."""
    at = next((column.at for column in mapping.columns if column.heading == fault.place.column), None)
    cells = grid.rows[fault.place.row - 1] if fault.place.row else ()
    value = cells[at] if at is not None and at < len(cells) else None
    return None if value is None else str(value)


def records_of(
    plants: Plants,
    crosses: Iterable[Cross],
    standing: Mapping[str, tuple[str, str]] = MappingProxyType({}),
    more: More = MappingProxyType({}),
) -> list[Record]:
    """Return the records that say what tables of plants and crosses say, no more and no less.

    A plant that only the crosses name becomes one of the book. Counts of a table have no date. ``standing`` are the
    identifier and the species of the plants that the book has, by their names; ``more`` is what else is said of a plant
    or a cross, by its ``row``.
    """
    garden = _Garden(dict(standing))
    for plant in plants.by_name.values():
        garden.take_in(plant, more.get(plant.row, {}))
    found = [record for cross in crosses for record in _cross_records(cross, more.get(cross.row, {}), garden)]
    return [*garden.records, *found]


@dataclass(slots=True)
class _Garden:
    """The plants taken in so far: identifier and species by name."""

    known: dict[str, tuple[str, str]]
    records: list[Record] = field(default_factory=list)

    def take_in(self, plant: Plant, more: Mapping[str, Any]) -> None:
        """Write down a plant and what is known of it."""
        clone = plant.clone if plant.clone != plant.plant else None
        new = records.Plant(name=plant.plant, clone=clone, source=plant.source, note=plant.note, **more)
        self.known[plant.plant] = (new.id, plant.species)
        self.records += [new, records.Determination(plant=new.id, name=plant.species)]
        findings = {"sex": plant.sex, "2n": plant.chromosomes, "self_fertile": plant.self_fertile}
        self.records += [
            records.Finding(plant=new.id, what=what, value=as_text(value))
            for what, value in findings.items()
            if value is not None
        ]

    def find(self, name: str | None, species: str | None, owner: str | None) -> tuple[str | None, str | None]:
        """Return the plant of a name, and the species where it is not what the plant itself is known as."""
        if name is None:
            return None, species
        if name not in self.known:
            alike = {self.known[one] for one in written_alike(name, self.known)}
            if len(alike) == 1:
                self.known[name] = alike.pop()
            else:
                self.take_in(Plant(name, species or name, name), {"owner": owner})
        plant, own = self.known[name]
        return plant, None if species == own else species


def _cross_records(cross: Cross, more: Mapping[str, Any], garden: _Garden) -> Iterator[Record]:
    extra: dict[type[Record], dict[str, Any]] = {kind: {} for kind, _ in _EXTRA.values()}
    for column, value in more.items():
        kind, field_name = _EXTRA[column]
        extra[kind][field_name] = value
    plant, name = garden.find(cross.seed_plant, cross.seed_parent, cross.friend)
    shared = {**{name: getattr(cross, name) for name in _OF_CROSS}, **extra[records.Cross]}
    made = records.Cross(id=cross.id or new_id(), number=cross.cross, seed_plant=plant, seed_parent=name, **shared)
    shared = {**{name: getattr(cross, name) for name in _OF_VISIT}, **extra[records.Pollination]}
    visit = records.Pollination(cross=made.id, who=cross.grower, **shared)
    yield made
    yield visit
    if cross.pollen_parent is not None or cross.pollen_plant is not None:
        plant, name = garden.find(cross.pollen_plant, cross.pollen_parent, cross.friend)
        yield records.Pollen(pollination=visit.id, plant=plant, name=name)
    yield from _outcome_records(made.id, cross, extra)


def _outcome_records(made: str, cross: Cross, extra: Mapping[type[Record], Mapping[str, Any]]) -> Iterator[Record]:
    for what in _COUNTED:
        if (count := getattr(cross, what)) is not None:
            yield records.Observation(cross=made, what=what, count=count)
    if cross.seeds is not None or cross.seeds_filled is not None or extra[records.SeedLot]:
        yield records.SeedLot(cross=made, seeds=cross.seeds, filled=cross.seeds_filled, **extra[records.SeedLot])
    first = extra[records.Emergence]
    if cross.seeds_sown is not None or cross.seedlings is not None or extra[records.Sowing] or first:
        sowing = records.Sowing(cross=made, seeds=cross.seeds_sown, **extra[records.Sowing])
        yield sowing
        if cross.seedlings is not None:
            yield records.Emergence(sowing=sowing.id, highest=cross.seedlings)
        if first:  # a look of its own, at which one was up
            yield records.Emergence(sowing=sowing.id, up=1, **first)
    if cross.lost_to is not None:
        yield records.Loss(cross=made, cause=cross.lost_to, **extra[records.Loss])
    if cross.proof is not None:
        yield records.Proof(cross=made, verdict=cross.proof)
