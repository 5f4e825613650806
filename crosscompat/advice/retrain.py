"""Learning from the season: fit anew, and say what moved and why."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from crosscompat.advice.figures import BasisFigures, Interval, basis_figures, interval_at
from crosscompat.advice.forecast_record import TrackRecord, forecasts_due, track_record
from crosscompat.advice.predict import Basis, Prediction, fitted_on, last_basis, predict, training_set_of
from crosscompat.advice.rank import wanted_pairs
from crosscompat.advice.reasoning import feature_in_words
from crosscompat.book.crosses import Cross, recorded_by
from crosscompat.book.records import CROSS_KINDS
from crosscompat.collection.opening import MODEL_FILE, Collection, add_forecasts
from crosscompat.ground.dates import season_of
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import staged
from crosscompat.ground.names import correct_form, genus_of
from crosscompat.ground.wording import say
from crosscompat.model.fitted import FittedModel, prior_step
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
class CheckResult:
    """What one check says of the parent it was made for: the very plant, or its species for want of one."""

    cross: str
    kind: str
    parent: str
    units: int | None
    set: int | None
    says: str


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a retraining changed.

    Attributes
    ----------
    seasons : list of SeasonCount
        The crosses that entered, by the year in which their season started.
    moved : list of Moved
        The crosses wanted, or else the pairs crossed so far; the largest move first.
    uncounted : int
        Crosses that entered as one flower because their flowers were not counted.
    track_record : TrackRecord or None
        How the forecasts did that were written before the outcome was known; None if there is none to judge yet.
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
    checks: list[CheckResult]
    schema: Literal["crosscompat.retrain/3"] = "crosscompat.retrain/3"

    @property
    def learned(self) -> bool:
        """Whether any cross has anything to teach yet."""
        return bool(self.after.crosses or self.after.under_way)


def learn(collection: Collection, *, as_of: date) -> tuple[Lesson, SavedModel]:
    """Fit the grower's finished crosses anew, as the season is read on some day.

    Nothing has been written yet when this returns what changed; the model is to be kept with `keep`.
    """
    evidence, before = training_set_of(collection, as_of), last_basis(collection)
    model = fitted_on(collection, evidence)
    saved = SavedModel(model, collection.fingerprints, as_of.isoformat(), collection.settings.invented)
    lesson = Lesson(
        as_of=saved.as_of,
        before=basis_figures(collection, before),
        after=basis_figures(collection, Basis(model, saved.as_of, (), saved.fingerprint)),
        seasons=_seasons(evidence, collection.settings.season_start),
        moved=_moved(collection, before.model, model, evidence),
        weightings=_weightings(before.model, model),
        left_out=_left_out(evidence),
        uncounted=int(evidence.outcomes.uncounted.sum()),
        invented=collection.settings.invented,
        track_record=track_record(collection, [line for line in collection.forecasts if line.date <= as_of], evidence),
        checks=checks_of(collection, as_of),
    )
    return lesson, saved


def keep(collection: Collection, saved: SavedModel) -> int:
    """Keep a model in its collection, and note in the cross book what it says of the crosses wanted and under way.

    The book is written first, and held until then by nobody else: where it cannot be, the old model stays. It returns
    how many forecasts of that day there are; one that stands there already is not repeated. It raises `WrongUse` if the
    collection has no folder, `Busy` if somebody else is writing in the book.
    """
    if collection.folder is None:
        raise WrongUse(say("retrain.nowhere"))
    due = forecasts_due(collection, saved.model, saved.fingerprint, date.fromisoformat(saved.as_of))
    with staged(collection.folder / MODEL_FILE, model_file(saved), follow=False):
        add_forecasts(collection.folder, collection.settings, due)
    return len(due)


def _seasons(evidence: TrainingSet, start: str) -> list[SeasonCount]:
    season = {i: season_of(evidence.crosses[i].date, start) for i in np.flatnonzero(evidence.outcomes.known).tolist()}
    made = Counter(season.values())
    took = Counter(season[i] for i in season if evidence.outcomes.fruitful[i])
    return [SeasonCount(year, made[year], took[year]) for year in sorted(made)]


def _moved(collection: Collection, before: FittedModel, after: FittedModel, evidence: TrainingSet) -> list[Moved]:
    """Return how the chances of the crosses wanted moved, or else of the pairs crossed so far."""
    candidates, _ = wanted_pairs(collection, collection.wanted)
    wanted = [(candidate.seed.label, candidate.pollen.label) for candidate in candidates]
    pairs = list(dict.fromkeys(wanted or zip(evidence.seed, evidence.pollen, strict=True)))[:_MOST_MOVED]
    if not pairs:
        return []
    parents = Parents([seed for seed, _ in pairs], [pollen for _, pollen in pairs])
    was, now = (predict(collection, model, parents) for model in (before, after))
    then, here, places, moved = was.chance(), now.chance(), defaultdict(list), []
    for at, pair in enumerate(zip(evidence.seed, evidence.pollen, strict=True)):
        places[pair].append(at)
    for i, (seed, pollen) in enumerate(pairs):
        old, new = _parts(before, was.at(i)), _parts(after, now.at(i))
        shift = {name: new.get(name, 0.0) - old.get(name, 0.0) for name in {**old, **new}}
        earlier, later = interval_at(then, i), interval_at(here, i)
        why = _why(shift, later.mean - earlier.mean, *_own_outcomes(evidence[places[seed, pollen]]))
        moved.append(Moved(correct_form(seed), correct_form(pollen), earlier, later, why))
    return sorted(moved, key=lambda m: (-abs(m.after.mean - m.before.mean), m.seed_parent, m.pollen_parent))


def _parts(model: FittedModel, predicted: Prediction) -> dict[str, float]:
    """Return what each reason adds to the logit of one pairing, the curves of the distance together."""
    reasons = whole_reasons(model, predicted.rows[0], predicted.pairings, predicted.outlook)
    parts = {name: logit for name, logit, _ in reasons.terms if name not in CURVES}
    distance = sum(logit for name, logit, _ in reasons.terms if name in CURVES)
    extra = {"uneven": float(predicted.uneven[0]), "published": float(predicted.published[0])}
    return {"base": reasons.base, "distance": distance, **parts, **extra}


def _own_outcomes(own: TrainingSet) -> tuple[list[bool], tuple[int, int]]:
    """Return whether each finished cross of a pair took, how many of its flowers were counted, and how many set."""
    counted = [(cross.units, cross.pods_set) for cross in own.crosses if cross.units and cross.pods_set is not None]
    sums = sum(units for units, _ in counted), sum(pods for _, pods in counted)
    return own.outcomes.fruitful[own.outcomes.known].tolist(), sums


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
    weightings = []
    for step in STEPS:
        fit = after.fit_of(step)
        if fit is None:
            continue
        was = before.fit_of(step) or prior_step(before, step)
        old = dict(zip(before.recipe.names, was.coefficients[1:].tolist(), strict=True))
        new = dict(zip(after.recipe.names, fit.coefficients[1:].tolist(), strict=True))
        sd = dict(zip(new, np.sqrt(np.diag(fit.covariance))[1 : fit.sizes[0]].tolist(), strict=True))
        weightings += [
            Weighting(step, name, feature_in_words(name), old.get(name), new.get(name), sd.get(name))
            for name in dict.fromkeys((*new, *old))
        ]
    return weightings


def _left_out(evidence: TrainingSet) -> list[LeftOutCount]:
    numbers = {reason: [left.cross.number for left in evidence.left_out if left.reason == reason] for reason in REASONS}
    return [LeftOutCount(key, say(f"learn.left_out.{key}", n=len(who)), who) for key, who in numbers.items() if who]


def checks_of(collection: Collection, as_of: date) -> list[CheckResult]:
    """Return the checks of a collection that were recorded by some day, in the order of the book.

    Flowers to which no pollen was brought were left alone, whatever they were called.
    """
    return [_check(cross) for cross in collection.crosses if _kind(cross) != _CROSS and recorded_by(cross, as_of)]


def _kind(cross: Cross) -> str:
    return _ALONE if cross.kind == _CROSS and cross.pollen_kind == "none" else cross.kind


def _check(cross: Cross) -> CheckResult:
    kind, units = _kind(cross), cross.units or cross.tried
    of_pollen = kind == _POLLEN
    plant, species = (cross.pollen_plant, cross.pollen_parent) if of_pollen else (cross.seed_plant, cross.seed_parent)
    pods = cross.pods_set if cross.pods_set is not None else cross.took
    key = "open" if pods is None else ("some" if pods else "none")
    parent = plant or correct_form(species or "", genus_of(cross.seed_parent))
    counted = say("checks.of", set=pods or 0, units=units) if units else say("checks.set", set=pods or 0)
    says = say(f"checks.{_WORDS[kind]}.{key}", parent=parent, counted=counted)
    return CheckResult(cross.number, kind, parent, units, pods, says)
