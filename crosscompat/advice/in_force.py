"""Which line of the ledger speaks for a cross once that is over.

The forecast that counts is the one in force when the flowers were pollinated: the last that was written on or before
that day for the same directed pair and as many flowers, naming no other plant where both name one. A forecast of a
pairing speaks for the first cross that is made of it from its day on, and for no later one. Of one day the first line
counts, so that a day that is replayed later never outdoes what was said on it.

For want of such, it is the first that was written while that very cross was under way, provided that nothing of the
cross could have taught the model yet, for the shortest window of a stage had not passed, and that its outcome was not
in the book yet. By then crosses that fail early may be over, so that those left do better than was said of them all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from crosscompat.advice.made_crosses import Made, agree, crosses_made, units_of
from crosscompat.advice.predict import clones_on_both_sides
from crosscompat.book.crosses import Cross, recorded_by
from crosscompat.book.placing import placed
from crosscompat.book.records import GivenForecast
from crosscompat.collection.opening import Collection
from crosscompat.model.training_set import TrainingSet

__all__ = ["Told", "told_before"]


@dataclass(frozen=True, slots=True)
class Told:
    """A finished cross, and the forecast that counts for it.

    Attributes
    ----------
    at : int
        Place of the cross among the evidence.
    forecast : GivenForecast
    """

    at: int
    forecast: GivenForecast


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of the ledger with the labels of its parents and the clones of its plants."""

    given: GivenForecast
    seed: str
    pollen: str
    clones: tuple[str | None, str | None]


def told_before(collection: Collection, given: Sequence[GivenForecast], evidence: TrainingSet) -> list[Told]:
    """Return the finished crosses that were forecast, each with the forecast that counts for it.

    Parameters
    ----------
    collection : Collection
    given : sequence of GivenForecast
        The ledger, in the order in which it was written.
    evidence : TrainingSet
        The crosses, as the book knows them now.

    Returns
    -------
    list of Told
        In the order of the evidence.
    """
    made: dict[tuple[str, str], list[Made]] = {}
    for one in crosses_made(collection, evidence):
        made.setdefault((one.seed, one.pollen), []).append(one)
    windows = collection.settings.windows
    teaches = min(windows.values()) if evidence.counts.counted else max(windows.values())
    before: dict[int, list[_Line]] = {}
    during: dict[int, list[_Line]] = {}
    for line in _lines(collection, given):
        of_pair = made.get((line.seed, line.pollen), [])
        found = _first_made(line, of_pair) if line.given.cross is None else _so_called(line.given, of_pair)
        if found is None or found.at is None or units_of(found.cross) != line.given.flowers:
            continue
        if line.given.cross is None:
            before.setdefault(found.at, []).append(line)
        elif _blind(line.given.date, found.cross, teaches):
            during.setdefault(found.at, []).append(line)
    return [
        Told(at, _in_force(before[at]) if at in before else _first_written(during[at]))
        for at in sorted(before.keys() | during.keys())
    ]


def _lines(collection: Collection, given: Sequence[GivenForecast]) -> Iterator[_Line]:
    """Pass on the lines of the ledger whose parents have a place on the tree."""
    places = placed(collection.index, [(line.seed_parent, line.pollen_parent) for line in given])
    clones = zip(*clones_on_both_sides(collection.plants, given), strict=True)
    for line, (seed, pollen), both in zip(given, places, clones, strict=True):
        if seed is not None and pollen is not None:
            yield _Line(line, seed, pollen, both)


def _first_made(line: _Line, made: Sequence[Made]) -> Made | None:
    """Return the first cross of a pairing from the day of its forecast on."""
    return next((one for one in made if one.cross.date >= line.given.date and agree(line.clones, one.clones)), None)


def _so_called(given: GivenForecast, made: Sequence[Made]) -> Made | None:
    """Return the cross that was under way by that identifier or number; None if there is not just one."""
    named = [one for one in made if given.cross in {one.cross.id, one.cross.cross} and one.cross.date <= given.date]
    return named[0] if len(named) == 1 else None


def _in_force(lines: Sequence[_Line]) -> GivenForecast:
    """Return that of the last day; of one day what names more plants, and of those the first in the ledger."""
    return max(lines, key=lambda line: (line.given.date, -line.clones.count(None))).given


def _first_written(lines: Sequence[_Line]) -> GivenForecast:
    return min((line.given for line in lines), key=lambda given: given.date)


def _blind(day: date, cross: Cross, teaches: float) -> bool:
    """Tell whether on some day a model could have learned nothing of a cross, and the book did not know its outcome."""
    told_later = cross.recorded_at is None or not recorded_by(cross, day)
    return told_later and (day - cross.date).days < teaches
