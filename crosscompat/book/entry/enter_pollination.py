"""Which cross a visit belongs to: it continues one that is under way, or begins a new one under a new number."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from crosscompat.book import records
from crosscompat.book.cross_summary import CrossRecords, Units, cross_records, units_of_visits
from crosscompat.book.entry import Bounds, validated
from crosscompat.book.numbers_and_names import Pattern, next_number
from crosscompat.book.store import Reading, Writing
from crosscompat.ground.dates import season_of
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import correct_form
from crosscompat.ground.wording import say

_Key = tuple[str | None, str, frozenset[tuple[str | None, str | None]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class PollinationEntry:
    """A visit that is to be written down.

    ``cross`` is what a new one would be, with its number where the grower gave one; one that was named already is what
    the visit ``continues``, and takes over aim and wanted. ``pollen_named`` is false for pollen taken from that cross.
    """

    cross: records.Cross
    visit: records.Pollination
    pollen: tuple[records.Pollen, ...] = ()
    continues: CrossRecords | None = None
    pollen_named: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PollinationRecords:
    """The records of a visit: the cross as it will stand, and as it stood ``before``; that is None for a new one.

    ``visits`` are those of the cross with this one, and ``units`` its new units, each kind by itself.
    """

    cross: records.Cross
    before: records.Cross | None
    visit: records.Pollination
    pollen: tuple[records.Pollen, ...]
    visits: tuple[records.Pollination, ...]
    units: tuple[Units, ...]


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
    if entry.continues is not None:
        _refuse_other_cross(entry.continues, entry)
    before = entry.continues or (_under_way(page, entry, season_start) if entry.cross.number is None else None)
    if before is None and entry.visit.flowers == "same again":
        raise WrongUse(say("visits.nothing_to_repeat"))
    if before is None:
        cross = replace(entry.cross, number=_number(page, entry, pattern, season_start))
    else:
        aim, wanted = entry.cross.aim or before.cross.aim, entry.cross.wanted or before.cross.wanted
        cross = replace(before.cross, aim=aim, wanted=wanted)
    visit = replace(entry.visit, cross=cross.id)
    visits = (*(before.visits if before else ()), visit)
    stood = before.cross if before else None
    return PollinationRecords(
        cross=cross, before=stood, visit=visit, pollen=entry.pollen, visits=visits, units=units_of_visits(visits)
    )


def write_pollination(pen: Writing, plan: PollinationRecords, bounds: Bounds) -> None:
    """Write a visit down.

    Raises
    ------
    WrongUse
        If the cross that goes on contradicts itself with it and did not before; the transaction must end then.
    """
    if plan.before is None:
        pen.add(plan.cross, plan.visit, *plan.pollen)
        return
    with validated(pen, [plan.cross.id], bounds):
        if plan.cross != plan.before:
            pen.replace(plan.cross)
        pen.add(plan.visit, *plan.pollen)


def _refuse_other_cross(named: CrossRecords, entry: PollinationEntry) -> None:
    """Refuse a cross that was made of another kind, with other pollen or by another technique than is said."""
    there, said = named.cross.kind, entry.cross.kind
    number = named.cross.number or named.cross.id
    if said not in {records.CROSS_KINDS[0], there}:
        kinds = {"there": say(f"visits.kinds.{there}"), "asked": say(f"visits.kinds.{said}")}
        raise WrongUse(say("visits.other_kind", cross=number, **kinds))
    if not named.visits:
        return
    ours, theirs = _first_key(named), _key(entry.visit, entry.pollen)
    other_technique = entry.visit.technique is not None and ours[1] != theirs[1]
    if other_technique or (entry.pollen_named and (ours[0], ours[2]) != (theirs[0], theirs[2])):
        raise WrongUse(say("visits.other_pollen", cross=number))


def _number(page: Reading, entry: PollinationEntry, pattern: Pattern, season_start: str) -> str:
    if entry.cross.number is None:
        written = page.ever(records.Cross, "number")
        return next_number(pattern, season_of(entry.visit.date, season_start), written)
    number = entry.cross.number.strip()
    if not number or page.find(records.Cross, number=number) is not None:
        raise WrongUse(say("visits.number_taken" if number else "visits.no_number", number=number))
    return number


def _under_way(page: Reading, entry: PollinationEntry, season_start: str) -> CrossRecords | None:
    """Return the latest cross that a visit continues."""
    side = "seed_parent" if entry.cross.seed_plant is None else "seed_plant"
    season, wanted = season_of(entry.visit.date, season_start), _key(entry.visit, entry.pollen)

    def continues(every: CrossRecords) -> bool:
        alike = every.cross.kind == entry.cross.kind and bool(every.visits) and _first_key(every) == wanted
        lost = any(loss.sowing is None for loss in every.losses)
        return alike and not lost and season_of(every.visits[0].date, season_start) == season

    of_seed = {side: getattr(entry.cross, side)}
    crosses = page.current(records.Cross, **of_seed, closed_stage=None, doubt=None)
    found = [every for cross in crosses if continues(every := cross_records(page, cross))]
    return max(found, key=lambda every: every.visits[0].date, default=None)


def _first_key(every: CrossRecords) -> _Key:
    first = every.visits[0]
    return _key(first, [one for one in every.pollen if one.pollination == first.id])


def _key(visit: records.Pollination, pollen: Iterable[records.Pollen]) -> _Key:
    """Return what makes visits those of one cross: kind of pollen, technique, and whose pollen it was."""
    givers = frozenset((one.plant, None if one.plant else correct_form(one.name or "").casefold()) for one in pollen)
    kind = visit.pollen_kind or ("one" if len(givers) == 1 else None)
    return kind, visit.technique or "plain", givers
