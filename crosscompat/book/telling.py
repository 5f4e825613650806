"""Records in words, for a person who looks at them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any

from crosscompat.book.addresses import short_ids
from crosscompat.book.record_fields import reference
from crosscompat.book.records import KINDS, Cross, Observation, Plant, PollenLot, Pollination, Record, SeedLot, Sowing
from crosscompat.book.store import Reading
from crosscompat.ground.csv_convert import as_text
from crosscompat.ground.wording import say

__all__ = ["FieldChange", "Line", "differences", "lines_of", "names_of", "noun", "words_of"]

_NAMED: tuple[tuple[type[Record], str], ...] = (
    *((Plant, "name"), (Cross, "number"), (PollenLot, "name"), (SeedLot, "name"), (Sowing, "place")),
    (Pollination, "marker"),
)
_NAME_OF = {Plant: "name", Cross: "number"}


@dataclass(frozen=True, slots=True)
class Line:
    """A record in one line.

    Attributes
    ----------
    short : str
        The letters by which it can be corrected.
    record : str
        Its identifier.
    kind, says : str
        What it is, and what stands in it.
    """

    short: str
    record: str
    kind: str
    says: str


@dataclass(frozen=True, slots=True)
class FieldChange:
    """A field that was corrected."""

    field: str
    was: str
    now: str


def noun(record: Record) -> str:
    """Return what a record is called.

    Examples
    --------
    >>> noun(Plant(name="coc-1"))
    'plant'
    """
    table = next(name for name, kind in KINDS.items() if kind is type(record))
    return say(f"records.one.{table}")


def lines_of(page: Reading, records: Collection[Record], *, of: str | None = None) -> list[Line]:
    """Return records in words, in the order given; what they all are of need not be said."""
    short = short_ids(page, [record.id for record in records])
    names = names_of(page, records)
    names |= {of: ""} if of else {}
    return [Line(short[one.id], one.id, noun(one), words_of(one, names)) for one in records]


def words_of(record: Record, names: Mapping[str, str]) -> str:
    """Return what stands in a record, what is usual or unknown left out.

    Parameters
    ----------
    record : Record
    names : mapping of str to str
        What the records that it points to are called, by identifier.

    Examples
    --------
    >>> words_of(Observation(cross="x", what="pods_set", count=3, note="on raceme 2"), {"x": "26-01"})
    '26-01; pods set 3; note: on raceme 2'
    """
    if isinstance(record, Observation):
        counted = say(f"telling.counts.{record.what}", n=f"{record.count:,}")
        left = _parts(record, names, {"what", "count"})
        place = bool(names.get(record.cross, record.cross)) + bool(record.date)
        return "; ".join([*left[:place], counted, *left[place:]])
    return "; ".join(_parts(record, names, set()))


def differences(before: Record, after: Record, names: Mapping[str, str]) -> list[FieldChange]:
    """Return the fields in which two versions of a record differ."""
    return [
        FieldChange(item.name, _value(getattr(before, item.name), names), _value(getattr(after, item.name), names))
        for item in fields(before)
        if getattr(before, item.name) != getattr(after, item.name)
    ]


def names_of(page: Reading, records: Iterable[Record]) -> dict[str, str]:
    """Return what the records are called to which some records point, whether they stand or not."""
    wanted = {
        target for one in records for item in fields(one) if reference(item) and (target := getattr(one, item.name))
    }
    found: dict[str, str] = {}
    for kind, name in _NAMED:
        for version in page.versions(kind, record=wanted):
            found[version.record.id] = getattr(version.record, name) or _unnamed(version.record)
    return found


def _unnamed(record: Record) -> str:
    """Return what a record without a name of its own is called: its kind and its day, or else its letters."""
    day = getattr(record, "date", None)
    return say("telling.unnamed", kind=noun(record), which=day.isoformat() if day else record.id[:8])


def _parts(record: Record, names: Mapping[str, str], without: Collection[str]) -> list[str]:
    found = []
    for item in sorted(fields(record), key=_rank):
        value = getattr(record, item.name)
        usual = item.default is not MISSING and value == item.default
        if item.name in {"id", *without} or value is None or usual:
            continue
        bare = item.name == "date" or _NAME_OF.get(type(record)) == item.name or bool(reference(item))
        text = _value(value, names)
        if not text:
            continue
        found.append(text if bare else f"{item.name.replace('_', ' ')}: {text}")
    return found


def _rank(item: Any) -> int:
    """Put what a record is of first, then its day."""
    if item.name in {"cross", "plant", "sowing", "pollination"} and reference(item):
        return 0
    return 1 if item.name == "date" else 2


def _value(value: object, names: Mapping[str, str]) -> str:
    return names.get(value, value) if isinstance(value, str) else as_text(value)
