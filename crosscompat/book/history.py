"""Records in words, for a person who looks at them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, fields
from datetime import date
from typing import Any

from crosscompat.book import records
from crosscompat.book.cross_summary import units_told
from crosscompat.book.numbers_and_names import short_ids
from crosscompat.book.record_fields import reference
from crosscompat.book.records import KINDS, Record
from crosscompat.book.store import Change, Reading
from crosscompat.ground.csv_cells import as_text
from crosscompat.ground.dates import spoken_date, spoken_dates
from crosscompat.ground.wording import catalogue, say

_NAMED: Mapping[type[Record], str] = {
    records.Plant: "name",
    records.Cross: "number",
    records.PollenLot: "name",
    records.SeedLot: "name",
    records.Sowing: "place",
    records.Pollination: "marker",
}
_OF_A_FORECAST = {"mean", "low", "high", "flowers", "model", "seed_plant", "pollen_plant"}
_OWN_NAME = {records.Plant: "name", records.Cross: "number"}


@dataclass(frozen=True, slots=True)
class Line:
    """A record in one line: the letters by which it can be corrected, its identifier, what it is and says."""

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


def undone_by(changes: Sequence[Change]) -> dict[int, int]:
    """Return what took each change back, where that was not taken back itself."""
    found: dict[int, int] = {}
    for change in reversed(changes):
        if change.undoes is not None and change.id not in found:
            found[change.undoes] = change.id
    return found


def noun(record: Record, *, many: bool = False) -> str:
    """Return what a record is called, or several of its kind."""
    return say(f"records.{'many' if many else 'one'}.{_table(record)}")


def _table(record: Record) -> str:
    return next(name for name, kind in KINDS.items() if kind is type(record))


def lines_of(page: Reading, records: Collection[Record], *, of: str | None = None) -> list[Line]:
    """Return records in words, in the order given; what they all are of need not be said."""
    short = short_ids(page, [record.id for record in records])
    names = names_of(page, records) | ({of: ""} if of else {})
    return [Line(short[one.id], one.id, noun(one), words_of(one, names)) for one in records]


def words_of(record: Record, names: Mapping[str, str]) -> str:
    """Return what stands in a record, what is usual or unknown left out, records that it points to by ``names``.

    Examples
    --------
    >>> words_of(records.Observation(cross="x", what="pods_set", count=3, note="on raceme 2"), {"x": "26-01"})
    '26-01; 3 pods set; note: on raceme 2'
    >>> words_of(records.Pollination(cross="x", date=date(2026, 5, 2), units=4, who="Ida"), {"x": ""})
    '2 May 2026; 4 flowers; by Ida'
    """
    said, left = _said(record)
    parts = _parts(record, names, left)
    if not said:
        return "; ".join(parts)
    of = next((getattr(record, item.name) for item in fields(record) if _rank(item) == 0), "")
    place = bool(names.get(of, of)) + bool(getattr(record, "date", None))
    return "; ".join([*parts[:place], said, *parts[place:]])


def _said(record: Record) -> tuple[str, set[str]]:
    """Return what a record says as a grower would, and the fields that need not be listed after it."""
    match record:
        case records.Observation(what=what, count=count):
            return say(f"telling.counts.{what}", n=count), {"what", "count"}
        case records.Pollination(units=int(count), unit_kind=kind, count_how=how):
            units, left = units_told(kind, count).words, {"unit_kind", "units"}
            return (say("telling.about", units=units), {*left, "count_how"}) if how == "about" else (units, left)
        case records.Finding(what=what, value=value):
            return f"{say(f'planting.findings.{what}')}: {value}", {"what", "value"}
        case records.GivenForecast(mean=mean, flowers=flowers):
            return say("telling.forecast", percent=f"{mean:.0%}", n=flowers), _OF_A_FORECAST
        case records.Attachment(file=file, kept_as=kept_as):
            cut = f"{kept_as[:8]}…{kept_as[64:]}"
            return say("attachments.words", file=file, kept_as=cut), {"file", "kept_as", "size"}
    return "", set()


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
    for kind in dict.fromkeys((*_NAMED, *KINDS.values())):
        if rest := wanted - found.keys():
            versions = page.versions(kind, ids=rest)
            found |= {version.record.id: _own_name(version.record) or _unnamed(version.record) for version in versions}
    return found


def called(record: Record) -> str:
    """Return what a record is called: its own name or number, or else its kind and its day."""
    own = _own_name(record)
    return f"{noun(record)} {own}" if own else _unnamed(record)


def _own_name(record: Record) -> str | None:
    return getattr(record, _NAMED[type(record)]) if type(record) in _NAMED else None


def _unnamed(record: Record) -> str:
    """Return what a record without a name of its own is called: its kind and its day, or else its letters."""
    day, words = getattr(record, "date", None), getattr(record, "date_words", None)
    return say("telling.unnamed", kind=noun(record), which=words or (spoken_date(day) if day else record.id[:8]))


def _parts(record: Record, names: Mapping[str, str], without: Collection[str]) -> list[str]:
    found = []
    for item in sorted(fields(record), key=_rank):
        value = getattr(record, item.name)
        usual = (item.default is not MISSING and value == item.default) or (item.name, value) == ("technique", "plain")
        if item.name == "date":
            value = getattr(record, "date_words", None) or value
        if item.name not in {"id", "date_words", *without} and value is not None and not usual:
            text = spoken_date(value) if type(value) is date else _value(value, names)
            found.append(_phrase(record, item, value, spoken_dates(text) if item.name in {"note", "doubt"} else text))
    return [part for part in found if part]


def _phrase(record: Record, item: Field[Any], value: object, text: str) -> str:
    """Return a field in words: by its sentence, bare where all know what it is, else behind its name."""
    key = f"{_table(record)}.{item.name}"
    sentence = catalogue("telling")["fields"].get(_table(record), {}).get(item.name)
    if isinstance(sentence, dict):
        return say(f"telling.fields.{key}.{as_text(value)}") if as_text(value) in sentence else ""
    if sentence is not None and text:
        return say(f"telling.fields.{key}", value=value if type(value) is int else text)
    bare = item.name in {"date", _OWN_NAME.get(type(record))} or bool(reference(item)) or not text
    return text if bare else f"{item.name.replace('_', ' ')}: {text}"


def _rank(item: Any) -> int:
    """Put what a record is of first, then its day."""
    if item.name in {"cross", "plant", "sowing", "pollination", "of"} and reference(item):
        return 0
    return 1 if item.name == "date" else 2


def _value(value: object, names: Mapping[str, str]) -> str:
    return names.get(value, value) if isinstance(value, str) else as_text(value)
