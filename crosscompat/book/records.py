"""What the cross book keeps: one kind of record a class, as it was written down, with nothing worked out of it.

A field that may be None is unknown then, and never "no". A record that points to another holds its identifier.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from uuid import uuid4

from crosscompat.book.record_fields import from_to, one_of, points_to
from crosscompat.stages import STAGES

NO_POLLEN_PARENT = ("open", "none")
CROSS_KINDS = ("cross", "check of the seed parent", "check of the pollen", "left alone")
POLLEN_KINDS = ("one", "several", "open", "self", "sib", "none")
UNCHECKED, SELFED = "not checked", "like the mother"
PROOFS = (UNCHECKED, SELFED, "looks hybrid", "proved")
SEXES = ("female", "male", "both", "male that sometimes fruits", "unknown")
FINDINGS = ("sex", "2n", "self_fertile", "fertility", "first_flower")
COUNT_HOW = ("counted", "about", "all open")
FLOWERS = ("new", "same again")
TECHNIQUES = ("plain", "cut style", "mentor pollen", "stump", "grafted style", "in water", "other")
ISOLATIONS = ("bag", "cap", "insect-free house", "tied shut", "none")
CERTAINTIES = ("certain", "likely", "unknown")
COUNTED = ("pods_set", "pods_dropped", "pods_held", "tried", "took")
AGAINST = ("yes", "no", "unsure")


def new_id() -> str:
    """Return an identifier that no other record anywhere has."""
    return str(uuid4())


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Anything that is written down, found by its identifier for ever."""

    id: str = field(default_factory=new_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant(Record):
    """A plant of the grower's or, with an ``owner``, of somebody else's, alive or dead; ``place`` is where it stands.

    Its ``name`` is its own on the bench, and no two share one. Offsets and cuttings of one plant share a ``clone``; a
    plant that names none is its own. ``received_as`` is the name it came with, kept for ever; ``parents`` the formula
    of a hybrid, as told, and ``cross`` the one it was raised from.
    """

    name: str
    clone: str | None = None
    accession: str | None = None
    field_number: str | None = None
    source: str | None = None
    papers: str | None = None
    received_as: str | None = None
    parents: str | None = None
    cross: str | None = points_to("crosses", default=None)
    owner: str | None = None
    place: str | None = None
    acquired: date | None = None
    died: date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Determination(Record):
    """What a plant was taken for, by whom and when; the latest holds."""

    plant: str = points_to("plants")
    name: str
    date: date | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding(Record):
    """Something found on one plant, and how it is known; it overrides what is said of its species.

    ``value`` is a sex of ``SEXES``, a number, yes or no, or words, by what was found.
    """

    plant: str = points_to("plants")
    what: str = one_of(FINDINGS)
    value: str
    date: date | None = None
    how: str | None = None
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Flowering(Record):
    """A plant seen on some day: how many flowers were open; 0 is "not in flower", None "in flower, not counted"."""

    plant: str = points_to("plants")
    date: date
    open_flowers: int | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PollenLot(Record):
    """Pollen that was kept: of which plant, since when, how, and whether it was tested."""

    name: str
    plant: str | None = points_to("plants", default=None)
    species: str | None = None
    collected: date | None = None
    dried: bool | None = None
    kept: str | None = None
    tested: date | None = None
    test_result: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cross(Record):
    """A pairing made on one seed plant in one season, under one number.

    The ``number`` is the grower's own, kept verbatim; no two crosses of a book share one. ``seed_parent`` is the seed
    parent as it was written, where that is not the plant's own name of today, ``closed_stage`` the last stage that the
    grower calls over, ``doubt`` why it is not sure that this is the cross it is taken for. ``only_successes`` says
    that failures were not written down, ``friend`` in whose collection it was made, ``recorded_at`` (UTC) when an
    imported record had been written down.
    """

    number: str | None = None
    kind: str = one_of(CROSS_KINDS, default="cross")
    seed_plant: str | None = points_to("plants", default=None)
    seed_parent: str | None = None
    aim: str | None = None
    wanted: int | None = from_to(1, 5)
    only_successes: bool | None = None
    closed_stage: str | None = one_of(tuple(STAGES), default=None)
    doubt: str | None = None
    source: str | None = None
    recorded_at: datetime | None = None
    friend: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pollination(Record):
    """One visit with the brush, at a local ``hour``.

    ``date_words`` is the month or season as it was written, where no more is known; ``date`` is its middle then, as in
    all records. ``marker`` is where on the plant ("raceme 2, red thread"), ``unit_kind`` what was counted (flower,
    cyathium, raceme); flowers "same again" add no unit. ``stamens_removed`` says whether the seed parent's own were
    taken out in time, ``overruled`` what cannot be and was written down all the same. Temperature is in degrees
    Celsius, humidity in percent.
    """

    cross: str = points_to("crosses")
    date: date
    date_words: str | None = None
    hour: time | None = None
    who: str | None = None
    marker: str | None = None
    unit_kind: str | None = None
    units: int | None = None
    count_how: str | None = one_of(COUNT_HOW, default=None)
    flowers: str = one_of(FLOWERS, default="new")
    pollen_kind: str | None = one_of(POLLEN_KINDS, default=None)
    technique: str | None = None
    stamens_removed: bool | None = None
    isolation: str | None = None
    temperature: float | None = from_to(-60, 70)
    humidity: float | None = from_to(0, 100)
    overruled: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pollen(Record):
    """A pollen parent of a visit: a plant of the book or a name, fresh or from a lot, and how sure that is."""

    pollination: str = points_to("pollinations")
    plant: str | None = points_to("plants", default=None)
    name: str | None = None
    lot: str | None = points_to("pollen_lots", default=None)
    certainty: str | None = one_of(CERTAINTIES, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation(Record):
    """Something counted on the plant: pods that swelled so far, dropped since the last look, or ripened so far."""

    cross: str = points_to("crosses")
    date: date | None = None
    what: str = one_of(COUNTED)
    count: int
    by: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedLot(Record):
    """The seed of one harvest: the name on its packet, the ripe ``pods`` it came from, its ``weight`` in mg.

    Where only the ``filled`` seeds were counted, ``seeds`` is None; ``left`` is the last count of the packet.
    """

    cross: str = points_to("crosses")
    name: str | None = None
    date: date | None = None
    date_words: str | None = None
    pods: int | None = None
    seeds: int | None = None
    filled: int | None = None
    weight: float | None = None
    left: int | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sowing(Record):
    """Seed of a cross that was sown, from a lot where that is known."""

    cross: str = points_to("crosses")
    lot: str | None = points_to("seed_lots", default=None)
    date: date | None = None
    date_words: str | None = None
    seeds: int | None = None
    treatment: str | None = None
    place: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Emergence(Record):
    """A look at a sowing: how many seedlings stand now, and the highest number that ever came up."""

    sowing: str = points_to("sowings")
    date: date | None = None
    date_words: str | None = None
    up: int | None = None
    highest: int | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss(Record):
    """What ended a cross, or one sowing of it, and whether that speaks against the cross."""

    cross: str = points_to("crosses")
    sowing: str | None = points_to("sowings", default=None)
    date: date | None = None
    date_words: str | None = None
    cause: str
    against: str = one_of(AGAINST, default="no")
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof(Record):
    """Whether the seedlings of a cross, or one plant raised from it, are hybrids, and by what that is known."""

    cross: str = points_to("crosses")
    plant: str | None = points_to("plants", default=None)
    date: date | None = None
    verdict: str = one_of(PROOFS)
    by_what: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment(Record):
    """A photo or a note that is kept with any record: its own name, its name in the collection, its size in bytes."""

    of: str = points_to("records")
    date: date | None = None
    file: str
    kept_as: str
    size: int
    note: str | None = None


@dataclass(frozen=True, slots=True)
class GivenForecast(Record):
    """The chance of at least one seedling, with its 90% interval, as a model of some fingerprint gave it on a day.

    The parents are species in correct form; ``cross`` is an identifier or number, None for a cross wanted.
    """

    id: str = field(default_factory=new_id, compare=False, kw_only=True)
    date: date
    model: str
    seed_parent: str
    pollen_parent: str
    flowers: int
    mean: float
    low: float
    high: float
    cross: str | None = None
    seed_plant: str | None = None
    pollen_plant: str | None = None


KINDS: Mapping[str, type[Record]] = {
    "plants": Plant,
    "determinations": Determination,
    "findings": Finding,
    "flowerings": Flowering,
    "pollen_lots": PollenLot,
    "crosses": Cross,
    "pollinations": Pollination,
    "pollen": Pollen,
    "observations": Observation,
    "seed_lots": SeedLot,
    "sowings": Sowing,
    "emergences": Emergence,
    "losses": Loss,
    "proofs": Proof,
    "forecasts": GivenForecast,
    "attachments": Attachment,
}
"""Every kind of record by the name of its table."""
