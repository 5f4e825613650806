"""The crosses of a collection, made and wanted: what their counts say, and where their parents stand on the tree."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from functools import cache
from hashlib import sha256
from os import PathLike
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from crosscompat.book.record_fields import column_of, from_to, in_column, one_of, read_fields
from crosscompat.book.records import CROSS_KINDS, NO_POLLEN_PARENT, POLLEN_KINDS, PROOFS
from crosscompat.ground.csv_cells import BadCell, Cells, Sheet, raise_faults, read_sheet
from crosscompat.ground.errors import Fault, UnknownName
from crosscompat.ground.names import NameIndex, correct_form, genus_of, read_name, somewhere_in
from crosscompat.ground.wording import say
from crosscompat.stages import LAST, STAGE_COLUMNS, STAGES

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

COUNT_COLUMNS = ("units", *STAGE_COLUMNS, "tried", "took")

_OF_SEEDS = tuple(column for column in STAGE_COLUMNS if not column.startswith("pods"))
_MORE_THAN = (
    *((stage.took, stage.tried) for stage in STAGES.values()),
    *(("pods_held", "units"), ("seeds_sown", "seeds"), ("seedlings", "seeds"), ("took", "tried")),
)
_CONTRADICTIONS = (
    *(("more_than", less, more) for less, more in _MORE_THAN),
    *(("from_none", later, pod) for pod in ("pods_set", "pods_held") for later in _OF_SEEDS),
)
_ENDS_AT_ZERO = ("seeds", *(stage.took for name, stage in STAGES.items() if name != LAST))


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Plain outcomes, cross by cross, each array of shape (n_crosses,).

    ``tried`` units (1 where they were not counted), of which ``took`` have a seedling, or ``some`` of them where no
    more is known. Where an outcome is not ``known``, the counts leave it open; where it is ``uncounted``, it is known
    but not from how many units.
    """

    tried: Floats
    took: Floats
    some: Flags
    known: Flags
    uncounted: Flags

    def __getitem__(self, at: NDArray[np.int64]) -> Outcomes:
        """Return those of some crosses."""
        return Outcomes(self.tried[at], self.took[at], self.some[at], self.known[at], self.uncounted[at])

    @property
    def fruitful(self) -> Flags:
        """Tell which crosses are known to have given a seedling, shape (n_crosses,)."""
        return np.asarray(self.known & (self.some | (self.took > 0)))


def outcomes_of(counts: Mapping[str, Floats], lost: Flags | None = None) -> Outcomes:
    """Return the plain outcomes that the counts of each cross amount to.

    The ``counts``, each of shape (n_crosses,), are any of ``units``, ``pods_set``, ``pods_held``, ``seeds``,
    ``seeds_filled``, ``seeds_sown``, ``seedlings``, and ``tried`` with ``took``; NaN where blank. Where ``tried`` and
    ``took`` are given they speak alone. No unit at all is no cross, and says nothing. Where an accident ended a cross
    (``lost``, bool), a seedling seen before still counts, as "some"; the absence of one does not.

    Examples
    --------
    Three flowers with a seedling, four whose pods all dropped, and two not yet sown.

    >>> pods, up = np.array([1, 0, 1.0]), np.array([2, np.nan, np.nan])
    >>> found = outcomes_of({"units": np.array([3, 4, 2.0]), "pods_held": pods, "seedlings": up})
    >>> found.known, found.took, found.some
    (array([ True,  True, False]), array([0., 0., 0.]), array([ True, False, False]))
    """
    size = len(next(iter(counts.values()))) if counts else 0
    blank = np.full(size, np.nan)
    column = {name: counts.get(name, blank) for name in COUNT_COLUMNS}
    spared = np.ones(size, dtype=bool) if lost is None else ~lost
    counted = ~np.isnan(column["tried"]) & ~np.isnan(column["took"])
    unit_by_unit = counted & spared
    up = np.where(counted, column["took"], column[STAGES[LAST].took]) > 0
    ended = _ended(column) & ~counted & ~up & spared
    units = np.where(counted, column["tried"], column["units"])
    known = (unit_by_unit | up | ended) & ~(units == 0)
    tried = np.where(np.isnan(units), 1.0, units)
    alone = up & (tried == 1)
    took = np.where(unit_by_unit, column["took"], alone)
    return Outcomes(tried, took, up & ~unit_by_unit & ~alone & known, known, known & np.isnan(units))


def impossible(counts: Mapping[str, Floats]) -> list[tuple[int, str, str]]:
    """Find counts that cannot be, or cannot stand together: of which cross, which count, and what is wrong with it.

    The counts are those of `outcomes_of`; what is blank contradicts nothing.

    Examples
    --------
    >>> impossible({"pods_held": np.array([0.0, 2.0]), "pods_set": np.array([np.nan, 1.0])})
    [(1, 'pods_held', 'There are more pods held to ripeness than pods set (2 > 1).')]
    """
    found = []
    for column in ("units", "tried"):
        zero = counts[column] == 0 if column in counts else ()
        found += [(int(i), column, say("crosses.no_units")) for i in np.flatnonzero(zero)]
    for key, less, more in _CONTRADICTIONS:
        if less in counts and more in counts:
            few, many = counts[less], counts[more]
            wrong = few > many if key == "more_than" else (few > 0) & (many == 0)
            words = {"less": say(f"crosses.counts.{less}"), "more": say(f"crosses.counts.{more}")}
            found += [
                (int(i), less, say(f"crosses.{key}", **words, few=f"{few[i]:g}", many=f"{many[i]:g}"))
                for i in np.flatnonzero(wrong)
            ]
    return sorted(found, key=lambda entry: entry[0])


def _ended(column: Mapping[str, Floats]) -> Flags:
    """Tell where a count of zero has ended the cross: no pod, no seed, or seed sown and nothing up."""
    ended = np.any([column[name] == 0 for name in _ENDS_AT_ZERO], axis=0)
    nothing_up = (column[STAGES[LAST].took] == 0) & ~(column[STAGES[LAST].tried] == 0)
    return np.asarray(ended | nothing_up)


@dataclass(frozen=True, slots=True)
class Cross:
    """A pairing made on one seed plant in one season, with what was counted; None is unknown, never a failure.

    Its ``date`` is the local day of the (first) pollination, the middle of what ``date_words`` say, where they say a
    month or a season. The parents are names as written; there is no pollen parent where the flower was left open or
    bagged and left alone. ``id`` is a UUID, ``cross`` the grower's own number. ``units``, of ``unit_kind``, are unknown
    where several kinds were counted; ``seedlings`` is the highest number up; ``tried`` and ``took`` are units, and
    units with a seedling, counted one by one. ``closed_stage``, ``stamens_removed``, ``only_successes``,
    ``recorded_at`` and ``friend`` are as in the book; ``lost_to`` is an accident that ended it, which is no failure.
    """

    date: date
    seed_parent: str
    pollen_parent: str | None
    id: str | None = None
    cross: str | None = None
    seed_plant: str | None = None
    pollen_plant: str | None = None
    grower: str | None = None
    pollen_kind: str | None = one_of(POLLEN_KINDS, None)
    technique: str | None = None
    isolation: str | None = None
    units: int | None = None
    unit_kind: str | None = None
    pods_set: int | None = None
    pods_held: int | None = None
    seeds: int | None = None
    seeds_filled: int | None = None
    seeds_sown: int | None = None
    seedlings: int | None = None
    tried: int | None = None
    took: int | None = None
    closed_stage: str | None = one_of(tuple(STAGES), None)
    lost_to: str | None = None
    only_successes: bool | None = None
    stamens_removed: bool | None = None
    proof: str | None = one_of(PROOFS, None)
    source: str | None = None
    recorded_at: datetime | None = None
    date_words: str | None = None
    friend: str | None = None
    note: str | None = None
    kind: str = one_of(CROSS_KINDS, "cross")
    row: int = in_column(None, 0)

    @property
    def number(self) -> str:
        """The grower's number, or the row of the file for want of one."""
        return self.cross or say("crosses.row", row=str(self.row))

    @property
    def when(self) -> str:
        """When it was made, as it is known."""
        return self.date_words or self.date.isoformat()


HEADER = ("id", "cross", *(name for item in fields(Cross) if (name := column_of(item)) not in {None, "id", "cross"}))

_REQUIRED = ("date", "seed_parent", "pollen_parent")


def read_crosses(path: str | PathLike[str]) -> tuple[Cross, ...]:
    """Read ``crosses.csv``; raises a `BadInput` with every fault, impossible counts and an id used twice too."""
    faults: list[Fault] = []
    sheet = read_sheet(path, known=HEADER, required=_REQUIRED, faults=faults)
    crosses = crosses_in(sheet, faults) if set(_REQUIRED) <= set(sheet.header) else []
    raise_faults(faults)
    return tuple(crosses)


def crosses_in(sheet: Sheet, faults: list[Fault]) -> list[Cross]:
    """Return the crosses of a table's rows that can be read; everything that is wrong adds a fault."""
    rows = [(cells, _row(cells)) for cells in (Cells(sheet, row, faults) for row in sheet.rows)]
    complete = [(cells, row) for cells, row in rows if row["date"] and row["seed_parent"] and _has_pollen(row)]
    crosses = [Cross(**row, row=cells.row.number) for cells, row in complete]
    for i, column, what in impossible(count_arrays([row for _, row in rows])):
        rows[i][0].fault(column, what)
    for cells, _ in rows:
        blank = [column for column in ("tried", "took") if not (cells.row.cells.get(column) or "").strip()]
        if len(blank) == 1:
            cells.fault(blank[0], say("crosses.tried_and_took"))
    first: dict[str, int] = {}
    for (cells, _), cross in zip(complete, crosses, strict=True):
        if cross.id is not None and first.setdefault(cross.id, cross.row) != cross.row:
            cells.fault("id", say("crosses.id_twice", row=str(first[cross.id])), say("crosses.id_advice"))
    return crosses


def _row(cells: Cells) -> dict[str, Any]:
    row = read_fields(cells, Cross) | {"id": cells.read("id", _uuid)}
    if not _has_pollen(row):
        cells.fault("pollen_parent", say("cells.needed"))
    return row


def _uuid(text: str) -> str:
    try:
        return str(UUID(text))
    except ValueError:
        raise BadCell(say("crosses.uuid", text=text), say("crosses.uuid_advice")) from None


_MAY_LACK_A_PARENT = (*NO_POLLEN_PARENT, "one", "several")
"""No parent at all, or one that is not known, which is said and not forgotten."""


def _has_pollen(row: Mapping[str, Any]) -> bool:
    """Tell whether a row says what the pollen was; one with an identifier has what the book could say."""
    return bool(row["pollen_parent"] or row["id"]) or row["pollen_kind"] in _MAY_LACK_A_PARENT


def crosses_fingerprint(crosses: Iterable[Cross]) -> str:
    """Return SHA-256 over what the crosses say, whatever their identifiers and places, in hexadecimal."""
    names = [item.name for item in fields(Cross) if item.name not in {"id", "row", "date_words", "friend"}]
    digest = sha256()
    for cross in crosses:
        digest.update(repr([*(getattr(cross, name) for name in names), *filter(None, [cross.friend])]).encode())
    return digest.hexdigest()


def recorded_by(cross: Cross, day: date) -> bool:
    """Tell whether a record was in the book on a local day; one without a time of recording was.

    A day is granted, for UTC is a day ahead of some growers' evenings.
    """
    return cross.recorded_at is None or cross.recorded_at.date() <= day + timedelta(days=1)


def count_arrays(counts: Sequence[Mapping[str, int | None]]) -> dict[str, NDArray[np.float64]]:
    """Return the counts of crosses column by column, each of shape (n_crosses,), NaN where blank."""
    return {
        column: np.array([np.nan if (n := row.get(column)) is None else n for row in counts], dtype=np.float64)
        for column in COUNT_COLUMNS
    }


@dataclass(frozen=True, slots=True)
class Wanted:
    """One pairing the grower would like to make, of species or plants as written, and how much, from 1 to 5."""

    seed_parent: str
    pollen_parent: str
    want: int | None = from_to(1, 5)
    note: str | None = None
    row: int = in_column(None, 0)


WANTED_HEADER = ("seed_parent", "pollen_parent", "want", "note")


def read_wanted(path: str | PathLike[str]) -> tuple[Wanted, ...]:
    """Read the crosses wanted; raises a `BadInput` with every fault of the file."""
    faults: list[Fault] = []
    sheet = read_sheet(path, known=WANTED_HEADER, required=WANTED_HEADER[:2], faults=faults)
    found = [Wanted(**read_fields(Cells(sheet, row, faults), Wanted), row=row.number) for row in sheet.rows]
    raise_faults(faults)
    return tuple(found)


def placed(index: NameIndex, pairs: Iterable[tuple[str, str | None]]) -> list[tuple[str | None, str | None]]:
    """Return the labels that pairs of names mean, seed parent and pollen parent as written, in the order given.

    An abbreviated genus of the second is that of the first. None is a name that is not given, has no place, or could
    be more than one.

    Examples
    --------
    >>> placed(NameIndex(["Aloe_vera", "Aloe_ferox"]), [("Aloe ferox", "A. vera"), ("Agave ferox", "A. vera")])
    [('Aloe_ferox', 'Aloe_vera'), (None, None)]
    """
    label = cache(lambda name, genus=None: None if name is None else find_label(index, name, genus))
    return [(label(seed), label(pollen, genus_of(seed))) for seed, pollen in pairs]


def find_label(index: NameIndex, name: str, genus: str | None = None) -> str | None:
    """Return the label that a name means; None if it has no place, or could be more than one."""
    try:
        return index.find(name, genus)
    except UnknownName:
        return None


def findable_name(index: NameIndex, label: str) -> str:
    """Return a species in correct form, or as the tree writes it where that would not be found again."""
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
