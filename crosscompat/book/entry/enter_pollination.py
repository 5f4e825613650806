"""Which cross a visit belongs to: it continues one that is under way, or begins a new one under a new number."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from crosscompat.book import records
from crosscompat.book.cross_summary import CrossRecords, Units, cross_records, units_of_visits
from crosscompat.book.entry import Bounds, validated
from crosscompat.book.entry.pollination_rules import NamedCross
from crosscompat.book.numbers import Pattern, next_number
from crosscompat.book.store import Reading, Writing
from crosscompat.ground.dates import season_of
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say

_PLAIN = "plain"
_Key = tuple[str | None, str, frozenset[tuple[str | None, str | None]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class PollinationEntry:
    """A visit that is to be written down.

    Attributes
    ----------
    cross : records.Cross
        What a new cross would be; of one that is continued, its aim and how much it is wanted are taken over if said.
    pollen : tuple of records.Pollen
        Of that visit.
    continues : records.Cross or None
        The cross that was named; None where that is to be found out.
    pollen_named, kind_named : bool
        Whether the pollen, and that it is a check or flowers left alone, was said, and not taken from that cross.
    number : str or None
        The grower's own for a new cross.
    """

    cross: records.Cross
    visit: records.Pollination
    pollen: tuple[records.Pollen, ...] = ()
    continues: records.Cross | None = None
    pollen_named: bool = True
    kind_named: bool = False
    number: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PollinationRecords:
    """The records of a visit.

    Attributes
    ----------
    cross : records.Cross
        As it will stand.
    before : records.Cross or None
        As it stood; None for a new one.
    visits : int
        Of the cross, with this one.
    units : tuple of Units
        New units of the cross, each kind by itself.
    """

    cross: records.Cross
    before: records.Cross | None
    visit: records.Pollination
    pollen: tuple[records.Pollen, ...]
    visits: int
    units: tuple[Units, ...]

    @property
    def new(self) -> tuple[records.Record, ...]:
        """The records to be added."""
        begun = () if self.before is not None else (self.cross,)
        return (*begun, self.visit, *self.pollen)

    @property
    def changed(self) -> tuple[records.Record, ...]:
        """The records that take the place of others."""
        return (self.cross,) if self.before is not None and self.before != self.cross else ()


def pollination_records(
    page: Reading, entry: PollinationEntry, pattern: Pattern, season_start: str
) -> PollinationRecords:
    """Return the records of a visit.

    A visit on the same plant with the same pollen, by the same technique and in the same season, continues the cross;
    not one that is called over, that was lost, or whose identity is doubtful.

    Raises
    ------
    WrongUse
        If the cross named is of another kind or of other parents, the number is taken, or the same flowers are said to
        be pollinated again where nothing was pollinated before.
    """
    before = entry.continues
    if before is not None and entry.kind_named and before.kind != entry.cross.kind:
        kinds = {"there": say(f"visits.kinds.{before.kind}"), "asked": say(f"visits.kinds.{entry.cross.kind}")}
        raise WrongUse(say("visits.other_kind", cross=_name(before), **kinds))
    if before is not None and _differs(page, before, entry):
        raise WrongUse(say("visits.other_pollen", cross=_name(before)))
    if before is None and entry.number is None:
        before = _under_way(page, entry, season_start)
    if before is None and entry.visit.flowers == "same again":
        raise WrongUse(say("visits.nothing_to_repeat"))
    cross = _continued(before, entry.cross) if before else _begun(page, entry, pattern, season_start)
    visit = replace(entry.visit, cross=cross.id)
    others = page.current(records.Pollination, cross=cross.id) if before else ()
    units = units_of_visits([*others, visit])
    return PollinationRecords(
        cross=cross, before=before, visit=visit, pollen=entry.pollen, visits=len(others) + 1, units=units
    )


def write_pollination(pen: Writing, plan: PollinationRecords, bounds: Bounds) -> None:
    """Write a visit down.

    Raises
    ------
    WrongUse
        If the cross that goes on contradicts itself with it and did not before; the transaction must end then.
    """
    if plan.before is None:
        pen.add(*plan.new)
        return
    with validated(pen, [plan.cross.id], bounds):
        pen.replace(*plan.changed)
        pen.add(*plan.new)


def named_cross(page: Reading, cross: records.Cross, day: date, season_start: str) -> NamedCross:
    """Return what the rules ask of a cross that a visit on some day is said to belong to."""
    every = cross_records(page, cross)
    return NamedCross(
        number=_name(cross),
        season=season_of(every.first_day, season_start) if every.first_day else None,
        now=season_of(day, season_start),
        over=cross.closed_stage,
        lost=next((loss.cause for loss in reversed(every.losses) if loss.sowing is None), None),
    )


def _name(cross: records.Cross) -> str:
    return cross.number or cross.id


def _begun(page: Reading, entry: PollinationEntry, pattern: Pattern, season_start: str) -> records.Cross:
    written = page.ever(records.Cross, "number")
    if entry.number is None:
        number = next_number(pattern, season_of(entry.visit.date, season_start), written)
    else:
        number = entry.number.strip()
        if not number or page.find(records.Cross, number=number) is not None:
            raise WrongUse(say("visits.number_taken" if number else "visits.no_number", number=number))
    return replace(entry.cross, number=number)


def _continued(before: records.Cross, entry: records.Cross) -> records.Cross:
    return replace(before, aim=entry.aim or before.aim, wanted=entry.wanted or before.wanted)


def _under_way(page: Reading, entry: PollinationEntry, season_start: str) -> records.Cross | None:
    """Return the latest cross that a visit continues."""
    of_seed = {"seed_plant": entry.cross.seed_plant}
    if entry.cross.seed_plant is None:
        of_seed["seed_parent"] = entry.cross.seed_parent
    season, wanted = season_of(entry.visit.date, season_start), _key(entry.visit, entry.pollen)

    def continues(every: CrossRecords) -> bool:
        alike = every.cross.kind == entry.cross.kind and bool(every.visits) and _first_key(every) == wanted
        lost = any(loss.sowing is None for loss in every.losses)
        return alike and not lost and season_of(every.visits[0].date, season_start) == season

    crosses = page.current(records.Cross, **of_seed, closed_stage=None, doubt=None)
    found = [every for cross in crosses if continues(every := cross_records(page, cross))]
    return max(found, key=lambda every: every.visits[0].date).cross if found else None


def _differs(page: Reading, cross: records.Cross, entry: PollinationEntry) -> bool:
    """Tell whether a visit says other pollen or another technique than the cross that it is meant for."""
    every = cross_records(page, cross)
    if not every.visits:
        return False
    ours, theirs = _first_key(every), _key(entry.visit, entry.pollen)
    other_technique = entry.visit.technique is not None and ours[1] != theirs[1]
    return other_technique or (entry.pollen_named and (ours[0], ours[2]) != (theirs[0], theirs[2]))


def _first_key(every: CrossRecords) -> _Key:
    first = every.visits[0]
    return _key(first, [one for one in every.pollen if one.pollination == first.id])


def _key(visit: records.Pollination, pollen: Iterable[records.Pollen]) -> _Key:
    """Return what makes visits those of one cross: kind of pollen, technique, and whose pollen it was."""
    givers = frozenset((one.plant, None if one.plant else correct_form(one.name or "").casefold()) for one in pollen)
    kind = visit.pollen_kind or ("one" if len(givers) == 1 else None)
    return kind, visit.technique or _PLAIN, givers
