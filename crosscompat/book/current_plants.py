"""The plants of a book as they are known today, as plants.csv holds them, and when they flower."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, timedelta
from functools import cached_property
from os import PathLike
from typing import TYPE_CHECKING

from crosscompat.book import records
from crosscompat.book.record_fields import in_column, one_of, read_fields
from crosscompat.book.records import SEXES
from crosscompat.ground.csv_cells import Cells, Sheet, raise_faults, read_sheet
from crosscompat.ground.dates import by_date, spoken_date
from crosscompat.ground.errors import Fault
from crosscompat.ground.names import bracketed, loose_keys
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.book.store import Reading


HEADER = ("plant", "species", "clone", "sex", "2n", "self_fertile", "source", "note")
MORE = ("accession", "field_number", "papers", "received_as", "parents", "owner", "place", "acquired", "died")
"""What the book can also note of a plant, and the table does not hold."""
_UNKNOWN = "?"
Side = tuple[str | None, str | None]


@dataclass(frozen=True, slots=True)
class Plant:
    """One plant on the bench, its ``species`` as written; a plant that names no ``clone`` is its own.

    ``chromosomes`` is its own count, 2n; ``died`` is None for a plant that is taken to live.
    """

    plant: str
    species: str
    clone: str
    sex: str | None = one_of(SEXES, None)
    chromosomes: int | None = in_column("2n", None)
    self_fertile: bool | None = None
    source: str | None = None
    note: str | None = None
    row: int = in_column(None, 0)
    died: date | None = field(default=None, metadata={"column": None})
    owner: str | None = field(default=None, metadata={"column": None})

    @property
    def is_elsewhere(self) -> bool:
        """Whether it came in with a friend's book, under the friend's name, and stands in the friend's collection."""
        return self.owner is not None and self.plant.startswith(f"{self.owner} ")


@dataclass(frozen=True)
class Plants:
    """All plants, found by their own name."""

    by_name: Mapping[str, Plant]

    @classmethod
    def of(cls, plants: Iterable[Plant]) -> Plants:
        """Collect plants."""
        return cls({plant.plant: plant for plant in plants})

    def find(self, name: str | None) -> Plant | None:
        """Return the plant of that name, else the only one that is written so but for case, dashes or zeros."""
        if name is None or name in self.by_name:
            return self.by_name.get(name or "")
        meant = {one for key in loose_keys(name) for one in self._by_key.get(key, ())}
        return self.by_name[meant.pop()] if len(meant) == 1 else None

    @cached_property
    def _by_key(self) -> Mapping[str, set[str]]:
        found: dict[str, set[str]] = defaultdict(set)
        for name in self.by_name:
            for key in loose_keys(name):
                found[key].add(name)
        return found

    def one_clone(self, a: str | None, b: str | None) -> bool:
        """Tell whether two plants are known to be one: the same plant, or offsets of one."""
        return a is not None and b is not None and self.clone(a) == self.clone(b)

    def species(self, name: str) -> str:
        """Return the species of the plant of that name; a name that is no plant's is taken for a species."""
        plant = self.find(name)
        return name if plant is None else plant.species

    def chromosomes(self, clones: Sequence[str | None]) -> list[int | None]:
        """Return the 2n that was counted on plants of each clone, None where it was not."""
        counted = {p.clone: p.chromosomes for p in self.by_name.values() if p.chromosomes is not None}
        return [None if clone is None else counted.get(clone) for clone in clones]

    def clone(self, name: str) -> str:
        """Return the clone of the plant of that name; a name that is no plant's is its own."""
        plant = self.find(name)
        return name if plant is None else plant.clone


def read_plants(path: str | PathLike[str]) -> Plants:
    """Read ``plants.csv``; raises a `BadInput` with every fault of it, such as a plant that stands in it twice."""
    faults: list[Fault] = []
    sheet = read_sheet(path, known=HEADER, required=("plant", "species"), faults=faults)
    plants = plants_in(sheet, faults)
    raise_faults(faults)
    return Plants.of(plants)


def plants_in(sheet: Sheet, faults: list[Fault]) -> list[Plant]:
    """Return the plants of a table's rows that can be read; everything that is wrong adds a fault."""
    found: dict[str, Plant] = {}
    for row in sheet.rows:
        cells = Cells(sheet, row, faults)
        values = read_fields(cells, Plant, [item.name for item in fields(Plant) if item.name != "clone"])
        name = values["plant"]
        if name is None or values["species"] is None:
            continue
        if name in found:
            cells.fault("plant", say("plants.twice", plant=name, row=str(found[name].row)))
        else:
            found[name] = Plant(**values, clone=cells.text("clone") or name, row=row.number)
    return list(found.values())


def plants_of(page: Reading, species: Mapping[str, str] | None = None) -> Plants:
    """Return the plants with what was last found on each, by its date; what has none is older than any other."""
    species = species_of(page) if species is None else species
    found: dict[str, dict[str, str]] = defaultdict(dict)
    for finding in by_date(page.current(records.Finding)):
        found[finding.plant][finding.what] = finding.value
    return Plants.of(_bench(plant, species[plant.id], found[plant.id]) for plant in page.current(records.Plant))


def species_of(page: Reading) -> Mapping[str, str]:
    """Return what each plant is, by its identifier.

    The latest determination, else the formula that was told, else that of the cross it was raised from, else the name
    it came with, else its own name.
    """
    named = {one.plant: one.name for one in by_date(page.current(records.Determination))}
    plants = {plant.id: plant for plant in page.current(records.Plant)}
    raised = any(plant.cross for plant in plants.values())
    parents = parents_of_crosses(page) if raised else {}
    found: dict[str, str] = {}
    opened: set[str] = set()
    waiting = list(plants)
    while waiting:  # each plant after its parents, however many generations there are
        one = plants[waiting[-1]]
        sides = () if named.get(one.id) or one.parents else parents.get(one.cross or "", ())[:2]
        unknown = {side for side, name in sides if side and not name} - found.keys() - opened
        opened.add(one.id)
        if unknown and one.id not in found:
            waiting += unknown
        else:
            found.setdefault(waiting.pop(), _species(one, named.get(one.id) or one.parents, sides, found, plants))
    return found


def _bench(plant: records.Plant, species: str, found: Mapping[str, str]) -> Plant:
    counted, selfs = found.get("2n"), found.get("self_fertile")
    return Plant(
        plant=plant.name,
        species=species,
        clone=plant.clone or plant.name,
        sex=found.get("sex"),
        chromosomes=int(counted) if counted and counted.isdecimal() else None,
        self_fertile=None if selfs is None else selfs == "yes",
        source=plant.source,
        note=plant.note,
        died=plant.died,
        owner=plant.owner,
    )


def parents_of_crosses(page: Reading) -> Mapping[str, Sequence[Side]]:
    """Return the parents of each cross, the seed parent first: a plant of the book, or a name."""
    columns = page.columns(records.Cross, "id", "seed_plant", "seed_parent")
    found: dict[str, list[Side]] = {cross: [(plant, name)] for cross, plant, name in columns}
    cross_of_visit = dict(page.columns(records.Pollination, "id", "cross"))
    for pollen in page.current(records.Pollen):
        found[cross_of_visit[pollen.pollination]].append((pollen.plant, pollen.name))
    return found


def _species(
    plant: records.Plant,
    own: str | None,
    sides: Sequence[Side],
    found: Mapping[str, str],
    plants: Mapping[str, records.Plant],
) -> str:
    """Return what a plant is, of several pollen parents by the first.

    One of its own ancestors is known by its name, and so is one whose formula would be too long for anybody to read.
    """
    if own or not sides:
        return own or plant.received_as or plant.name
    seed, pollen = (
        name or (found.get(parent) or plants[parent].received_as or plants[parent].name if parent else _UNKNOWN)
        for parent, name in (*sides, (None, None))[:2]
    )
    formula = seed if seed == pollen else " × ".join(bracketed(side) for side in (seed, pollen))
    return formula if len(formula) <= _LONGEST else plant.received_as or plant.name


_LONGEST = 500
_LEAP_YEAR, _DAYS = 2024, 366
_STILL_OPEN = 7  # days after which a sighting tells nothing of today: common practice, no source
_FEWEST = 3  # days seen open that make a window worth trusting: a judgement


@dataclass(frozen=True, slots=True)
class Sighting:
    """A plant seen on a day: how many ``flowers`` were open, 0 for none; None where they were not counted."""

    date: date
    flowers: int | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """The days of the year, ``MM-DD``, between which a plant was seen open on so many ``days``; over new year too."""

    first: str
    last: str
    days: int

    @property
    def words(self) -> str:
        """The window in words.

        Examples
        --------
        >>> Window("04-20", "05-02", 5).words, Window("04-20", "04-20", 1).words
        ('20 April to 2 May', '20 April')
        """
        first, last = (spoken_date(day, day) for day in self._ends)
        return first if first == last else say("rules.from_to", first=first, last=last)

    @property
    def _ends(self) -> tuple[date, date]:
        first, last = (date.fromisoformat(f"{_LEAP_YEAR}-{text}") for text in (self.first, self.last))
        return first, last

    @property
    def trusted(self) -> bool:
        """Whether enough days stand behind it."""
        return self.days >= _FEWEST

    def away(self, day: date) -> int:
        """Return how many days a day lies outside; 0 inside."""
        at, first, last = map(_of_year, (day, *self._ends))
        if (at - first) % _DAYS <= (last - first) % _DAYS:
            return 0
        return min((first - at) % _DAYS, (at - last) % _DAYS)


def usual_window(days: Iterable[date]) -> Window | None:
    """Return the shortest stretch of the year that holds all days on which a plant was open; None if there are none.

    Examples
    --------
    >>> usual_window([date(2024, 5, 2), date(2025, 4, 20), date(2025, 4, 28)])
    Window(first='04-20', last='05-02', days=3)
    >>> usual_window([date(2024, 12, 30), date(2026, 1, 4)]).first
    '12-30'
    """
    dates = set(days)
    found = sorted({_of_year(day) for day in dates})
    if not found:
        return None
    gaps = [(found[i] - found[i - 1]) % _DAYS for i in range(len(found))]
    start = gaps.index(max(gaps))
    first, last = ((date(_LEAP_YEAR, 1, 1) + timedelta(found[at])).isoformat()[5:] for at in (start, start - 1))
    return Window(first, last, len(dates))


def latest(sightings: Sequence[Sighting], day: date) -> Sighting | None:
    """Return the last sighting up to a day that still tells of that day; None if there is none.

    Of one day that which stands last counts.
    """
    recent = [one for one in sightings if 0 <= (day - one.date).days <= _STILL_OPEN]
    return max(reversed(recent), key=lambda one: one.date, default=None)


def sightings_of(page: Reading) -> Mapping[str, list[Sighting]]:
    """Return when each plant was seen, by its identifier.

    What was written down of its flowers comes first; a visit shows that the seed parent was open that day, and fresh
    pollen that its giver was.
    """
    found: dict[str, list[Sighting]] = defaultdict(list)
    noted = page.columns(records.Flowering, "plant", "date", "open_flowers", in_order=True)
    for plant, day, flowers in noted:
        found[plant].append(Sighting(day, flowers))
    mothers = dict(page.columns(records.Cross, "id", "seed_plant"))
    columns = page.columns(records.Pollination, "id", "cross", "date", date_words=None)
    visits = {visit: (mothers[cross], day) for visit, cross, day in columns}
    fresh = page.columns(records.Pollen, "pollination", "plant", lot=None)
    at_work = [*visits.values(), *((plant, visits[visit][1]) for visit, plant in fresh if visit in visits)]
    known = {(plant, day) for plant, day, _ in noted}
    for plant, day in dict.fromkeys(at_work):
        if plant is not None and (plant, day) not in known:
            found[plant].append(Sighting(day))
    return found


def _of_year(day: date) -> int:
    """Return the place of a day in a leap year, from 0, so that a date is the same place in every year."""
    return (day.replace(year=_LEAP_YEAR) - date(_LEAP_YEAR, 1, 1)).days
