"""Learning from the season: fit anew, and say what moved and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from crosscompat.advice.figures import BasisFigures, Interval, basis_figures, interval_at
from crosscompat.advice.ledger import forecasts_due
from crosscompat.advice.predict import Basis, Prediction, fitted_on, last_basis, predict, training_set_of
from crosscompat.advice.rank import wanted_pairs
from crosscompat.advice.reasoning import feature_in_words
from crosscompat.advice.track_record import TrackRecord, track_record
from crosscompat.book.crosses import Cross, recorded_by
from crosscompat.book.records import CROSS_KINDS
from crosscompat.collection.opening import MODEL_FILE, Collection, add_forecasts
from crosscompat.ground.dates import season_of
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import staged
from crosscompat.ground.names import correct_form, genus_of
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel, prior_step
from crosscompat.model.forecast import chances
from crosscompat.model.pairings import Parents
from crosscompat.model.reasons import whole_reasons
from crosscompat.model.saved import SavedModel, model_file
from crosscompat.model.training_set import REASONS, TrainingSet
from crosscompat.pairing import CURVES
from crosscompat.stages import STEPS

_MOST_MOVED = 200
_HARDLY = 0.005
_CROSS, _SEED, _POLLEN, _ALONE = CROSS_KINDS
_WORDS = {_SEED: "seed", _POLLEN: "pollen", _ALONE: "alone"}


@dataclass(frozen=True, slots=True)
class Moved:
    """One pairing's chance per flower before and after, and what moved it most."""

    seed_parent: str
    pollen_parent: str
    before: Interval
    after: Interval
    why: str


@dataclass(frozen=True, slots=True)
class Weighting:
    """What a feature weighs at a stage, on the logit scale, before and after; None where it was not in the model."""

    stage: str
    feature: str
    words: str
    before: float | None
    after: float | None
    after_sd: float | None


@dataclass(frozen=True, slots=True)
class LeftOutCount:
    """How many crosses did not enter for one reason, and which."""

    reason: str
    words: str
    crosses: list[str]


@dataclass(frozen=True, slots=True)
class SeasonCount:
    """The finished crosses of one season, and those of them that gave a seedling."""

    season: int
    crosses: int
    took: int


@dataclass(frozen=True, slots=True)
class CheckTold:
    """One check and what it says of the parent it was made for.

    Attributes
    ----------
    cross : str
        Its number.
    kind : str
        One of ``CROSS_KINDS`` but the first.
    parent : str
        The plant that was checked, or its species for want of one.
    units, set : int or None
        Flowers, and how many set.
    says : str
        In plain words.
    """

    cross: str
    kind: str
    parent: str
    units: int | None
    set: int | None
    says: str


def checks_of(collection: Collection, as_of: date) -> list[CheckTold]:
    """Return the checks of a collection that were recorded by some day, in the order of the book.

    Flowers to which no pollen was brought were left alone, whatever they were called.
    """
    return [_check(cross) for cross in collection.crosses if _kind(cross) != _CROSS and recorded_by(cross, as_of)]


def _kind(cross: Cross) -> str:
    return _ALONE if cross.kind == _CROSS and cross.pollen_kind == "none" else cross.kind


def _check(cross: Cross) -> CheckTold:
    kind = _kind(cross)
    of_pollen = kind == _POLLEN
    plant, species = (cross.pollen_plant, cross.pollen_parent) if of_pollen else (cross.seed_plant, cross.seed_parent)
    units = cross.units or cross.tried
    pods = cross.pods_set if cross.pods_set is not None else cross.took
    key = "open" if pods is None else ("some" if pods else "none")
    parent = plant or correct_form(species or "", genus_of(cross.seed_parent))
    counted = say("checks.of", set=pods or 0, units=units) if units else say("checks.set", set=pods or 0)
    says = say(f"checks.{_WORDS[kind]}.{key}", parent=parent, counted=counted)
    return CheckTold(cross.number, kind, parent, units, pods, says)


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a retraining changed.

    Attributes
    ----------
    as_of : str
        ISO date on which the season was read.
    before, after : BasisFigures
    seasons : list of SeasonCount
        The crosses that entered, by the year in which their season started.
    moved : list of Moved
        The crosses wanted, or else the pairs crossed so far; the largest move first.
    weightings : list of Weighting
    left_out : list of LeftOutCount
    uncounted : int
        Crosses that entered as one flower because their flowers were not counted.
    track_record : TrackRecord or None
        How the forecasts did that were written before the outcome was known; None if there is none to judge yet.
    checks : list of CheckTold
        What came of checks and of flowers left alone.
    """

    as_of: str
    before: BasisFigures
    after: BasisFigures
    seasons: list[SeasonCount]
    moved: list[Moved]
    weightings: list[Weighting]
    left_out: list[LeftOutCount]
    uncounted: int
    invented: bool
    track_record: TrackRecord | None
    checks: list[CheckTold]
    schema: Literal["crosscompat.retrain/3"] = "crosscompat.retrain/3"

    @property
    def learned(self) -> bool:
        """Whether any cross has anything to teach yet."""
        return bool(self.after.crosses or self.after.under_way)


def learn(collection: Collection, *, as_of: date) -> tuple[Lesson, SavedModel]:
    """Fit the grower's finished crosses anew.

    Parameters
    ----------
    collection : Collection
    as_of : date
        The day on which the season is read; a cross younger than the collection's window does not enter.

    Returns
    -------
    Lesson
        What changed; nothing has been written yet.
    SavedModel
        To be kept with `keep`.
    """
    evidence = training_set_of(collection, as_of)
    given = [forecast for forecast in collection.forecasts if forecast.date <= as_of]
    record = track_record(collection, given, evidence)
    before = last_basis(collection)
    model = fitted_on(collection, evidence)
    saved = SavedModel(model, collection.fingerprints, as_of.isoformat(), collection.settings.invented)
    after = Basis(model, as_of.isoformat(), (), saved.fingerprint)
    return _lesson(collection, evidence, before, after, record), saved


def keep(collection: Collection, saved: SavedModel) -> int:
    """Keep a model in its collection, and note in the cross book what it says of the crosses wanted and under way.

    The book is written first, and held until then by nobody else: where it cannot be, the old model stays.

    Returns
    -------
    int
        How many forecasts of that day there are; one that stands there already is not repeated.

    Raises
    ------
    WrongUse
        If the collection has no folder.
    Busy
        If somebody else is writing in the book.
    """
    if collection.folder is None:
        raise WrongUse(say("retrain.nowhere"))
    due = forecasts_due(collection, saved.model, saved.fingerprint, date.fromisoformat(saved.as_of))
    with staged(collection.folder / MODEL_FILE, model_file(saved), follow=False):
        add_forecasts(collection.folder, collection.settings, due)
    return len(due)


def _lesson(
    collection: Collection, evidence: TrainingSet, before: Basis, after: Basis, record: TrackRecord | None
) -> Lesson:
    pairs = _pairs_to_watch(collection, evidence)
    return Lesson(
        as_of=after.as_of or "",
        before=basis_figures(collection, before),
        after=basis_figures(collection, after),
        seasons=_seasons(evidence, collection.settings.season_start),
        moved=_moved(collection, before.model, after.model, pairs, evidence),
        weightings=_weightings(before.model, after.model),
        left_out=_left_out(evidence),
        uncounted=int(evidence.outcomes.uncounted.sum()),
        invented=collection.settings.invented,
        track_record=record,
        checks=checks_of(collection, date.fromisoformat(after.as_of or date.max.isoformat())),
    )


def _seasons(evidence: TrainingSet, start: str) -> list[SeasonCount]:
    took = evidence.outcomes.fruitful
    finished = np.flatnonzero(evidence.outcomes.known).tolist()
    season = {i: season_of(evidence.crosses[i].date, start) for i in finished}
    made, fruitful = Counter(season.values()), Counter(season[i] for i in finished if took[i])
    return [SeasonCount(one, made[one], fruitful[one]) for one in sorted(made)]


def _pairs_to_watch(collection: Collection, evidence: TrainingSet) -> list[tuple[str, str]]:
    candidates, _ = wanted_pairs(collection, collection.wanted)
    wanted = [(candidate.seed.label, candidate.pollen.label) for candidate in candidates]
    crossed = zip(evidence.seed, evidence.pollen, strict=True)
    return list(dict.fromkeys(wanted or crossed))[:_MOST_MOVED]


def _own_record(evidence: TrainingSet) -> dict[tuple[str, str], list[bool]]:
    """Return whether each finished cross of a pair gave a seedling."""
    took = evidence.outcomes.fruitful
    record: dict[tuple[str, str], list[bool]] = {}
    for i in np.flatnonzero(evidence.outcomes.known).tolist():
        record.setdefault((evidence.seed[i], evidence.pollen[i]), []).append(bool(took[i]))
    return record


def _own_counts(evidence: TrainingSet) -> dict[tuple[str, str], tuple[int, int]]:
    """Return how many flowers of each pair were counted, and how many of them set."""
    counts: dict[tuple[str, str], tuple[int, int]] = {}
    for seed, pollen, cross in zip(evidence.seed, evidence.pollen, evidence.crosses, strict=True):
        if cross.units and cross.pods_set is not None:
            units, pods = counts.get((seed, pollen), (0, 0))
            counts[seed, pollen] = (units + cross.units, pods + cross.pods_set)
    return counts


def _moved(
    collection: Collection,
    before: FittedModel,
    after: FittedModel,
    pairs: Sequence[tuple[str, str]],
    evidence: TrainingSet,
) -> list[Moved]:
    if not pairs:
        return []
    parents = Parents([seed for seed, _ in pairs], [pollen for _, pollen in pairs])
    was, now = (predict(collection, model, parents) for model in (before, after))
    then, here = (chances(asked.whole) for asked in (was, now))
    record, counts, moved = _own_record(evidence), _own_counts(evidence), []
    for i, (seed, pollen) in enumerate(pairs):
        old, new = _parts(before, was, i), _parts(after, now, i)
        shift = {name: new.get(name, 0.0) - old.get(name, 0.0) for name in {**old, **new}}
        earlier, later = interval_at(then, i), interval_at(here, i)
        own, counted = record.get((seed, pollen), ()), counts.get((seed, pollen), (0, 0))
        why = _why(shift, later.mean - earlier.mean, own, counted)
        moved.append(Moved(correct_form(seed), correct_form(pollen), earlier, later, why))
    return sorted(moved, key=lambda m: (-abs(m.after.mean - m.before.mean), m.seed_parent, m.pollen_parent))


def _parts(model: FittedModel, asked: Prediction, i: int) -> dict[str, float]:
    """Return what each reason adds to the logit of one pairing, the curves of the distance together."""
    found = whole_reasons(model, asked.rows[i], asked.pairings[i : i + 1], asked.outlook.at(i))
    parts = {name: logit for name, logit, _ in found.terms if name not in CURVES}
    distance = sum(logit for name, logit, _ in found.terms if name in CURVES)
    extra = {"uneven": float(asked.uneven[i]), "published": float(asked.published[i])}
    return {"base": found.base, "distance": distance, **parts, **extra}


def _why(shift: dict[str, float], gain: float, own: Sequence[bool], counted: tuple[int, int]) -> str:
    """Say which way a chance went, and what pulled it that way: the pair's own crosses, or else the feature most."""
    if abs(gain) < _HARDLY:
        return say("learn.why.same")
    sign, way = (1, "up") if gain > 0 else (-1, "down")
    if own and (gain > 0) == (2 * sum(own) >= len(own)):
        return say(f"learn.why.{way}_own", n=len(own), took=sum(own))
    units, pods = counted
    if (gain > 0 and pods) or (gain < 0 and pods < units):
        return say(f"learn.why.{way}_counts", n=units, set=pods)
    feature, pull = max(sorted(shift.items()), key=lambda entry: sign * entry[1])
    if sign * pull <= 0:  # the logit went the other way, and the mean chance followed what is less unsure now
        return say(f"learn.why.{way}_surer")
    return say(f"learn.why.{way}", feature=feature_in_words(feature))


def _weightings(before: FittedModel, after: FittedModel) -> list[Weighting]:
    found = []
    for step in STEPS:
        fit = after.fit_of(step)
        if fit is None:
            continue
        was = before.fit_of(step) or prior_step(before, step)
        old = dict(zip(before.recipe.names, was.coefficients[1:], strict=True))
        sd = np.sqrt(np.diag(fit.covariance))[1 : fit.sizes[0]]
        new = dict(zip(after.recipe.names, zip(fit.coefficients[1:], sd, strict=True), strict=True))
        for name in dict.fromkeys((*after.recipe.names, *old)):
            mean, spread = new.get(name, (None, None))
            words = feature_in_words(name)
            found.append(Weighting(step, name, words, _number(old.get(name)), _number(mean), _number(spread)))
    return found


def _number(value: np.floating | float | None) -> float | None:
    return None if value is None else float(value)


def _left_out(evidence: TrainingSet) -> list[LeftOutCount]:
    found = []
    for reason in REASONS:
        numbers = [left.cross.number for left in evidence.left_out if left.reason == reason]
        if numbers:
            found.append(LeftOutCount(reason, say(f"learn.left_out.{reason}", n=len(numbers)), numbers))
    return found
