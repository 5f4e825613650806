"""How far forecasts can be trusted: finished crosses are held out, forecast by models of the others, and scored."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crosscompat.advice.predict import chances_of, clones_on_both_sides, fitted_on, training_set_of
from crosscompat.collection.opening import Collection
from crosscompat.ground.dates import season_of
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.model import scoring
from crosscompat.model.likelihood import Floats
from crosscompat.model.pairings import Parents
from crosscompat.model.training_set import TrainingSet
from crosscompat.pairing import Feature, Recipe, pair_rows

FORECASTS = ("crosscompat", "distance", "traits", "base_rate")
WAYS = ("pairs", "species", "seasons")
LEAST = 5

Ints = NDArray[np.int64]
Said = dict[str, Floats]


@dataclass(frozen=True, slots=True)
class WayScore:
    """One way of holding out crosses, and how the forecasts did.

    Attributes
    ----------
    way : str
        ``pairs``: pair after pair, both ways round together. ``species``: species after species with every cross that
        has it as a parent; a cross of two species is forecast twice, and each counts half. ``seasons``: each season
        from the seasons before; the first is not forecast.
    folds : int
        How many times some were held out: as many models were fitted.
    calibration : list of CameOf
        Of ``crosscompat``.
    verdict : str
        ``better``, ``perhaps``, ``no_better`` or ``worse`` than the base rate; ``alike`` if all outcomes are;
        ``nothing`` if no cross could be forecast.
    """

    way: str
    crosses: int
    pairs: int
    folds: int
    forecasts: list[scoring.ForecastScore]
    calibration: list[scoring.CameOf]
    verdict: str
    says: str


@dataclass(frozen=True, slots=True)
class Scorecard:
    """How far the forecasts can be trusted, by finished crosses of so many pairs; no ``ways`` if too few."""

    as_of: str
    crosses: int
    took: int
    pairs: int
    ways: list[WayScore]
    says: str
    invented: bool
    schema: Literal["crosscompat.score/1"] = "crosscompat.score/1"


def score(collection: Collection, *, as_of: date, ways: Sequence[str] = WAYS, work: Work = map) -> Scorecard:
    """Hold out a collection's finished crosses, as the season is read on some day, and score forecasts of them.

    What is forecast is the outcome of a cross as a whole, at least one seedling from the units it used, against the
    chance for just so many units; a cross whose units were not counted is taken as one. So "k of n units" and "some of
    n" count alike, one outcome a cross, and a cross on ten flowers weighs no more than one on two: flowers of one cross
    share their fate. Doubtful evidence weighs as little here as in a fit, all other crosses 1.

    The ``ways`` are any of ``WAYS``, else it raises `WrongUse`; ``work`` is as for `blind_forecasts`.

    Notes
    -----
    Fewer than five crosses, or a single pair, are too few, and no way is scored. Intervals of the skill take pairs as
    independent, though pairs that share a species are not quite.
    """
    for way in ways:
        if way not in WAYS:
            raise WrongUse(say("score.which_way", got=way, ways=", ".join(WAYS)))
    evidence = training_set_of(collection, as_of)
    finished, pair = evidence.outcomes.known, scoring.pair_numbers(evidence.seed, evidence.pollen)
    crosses, pairs, took = int(finished.sum()), len(set(pair[finished])), int(evidence.outcomes.fruitful.sum())
    enough = crosses >= LEAST and pairs > 1
    too_few = say("score.too_few", n=crosses, pairs=pairs, least=LEAST)
    words = say("score.intro", n=crosses, pairs=pairs, took=took) if enough else too_few
    folds = _folds(collection, evidence, ways) if enough else {}
    blind = blind_forecasts(collection, evidence, folds, work)
    scored = [_way_score(evidence, pair, way, blind[way]) for way in folds]
    return Scorecard(as_of.isoformat(), crosses, took, pairs, scored, words, collection.settings.invented)


def _folds(collection: Collection, evidence: TrainingSet, ways: Sequence[str]) -> dict[str, list[scoring.Fold]]:
    season = [season_of(cross.date, collection.settings.season_start) for cross in evidence.crosses]
    plants = map(collection.taxa.pedigree, {*evidence.seed, *evidence.pollen})
    comes_of = {plant.label: plant.shares.keys() for plant in plants if plant.is_hybrid}
    split = {
        "pairs": lambda: scoring.by_pair(evidence.seed, evidence.pollen),
        "species": lambda: scoring.by_species(evidence.seed, evidence.pollen, comes_of=comes_of),
        "seasons": lambda: scoring.by_season(season),
    }
    return {way: split[way]() for way in WAYS if way in ways}


def _way_score(evidence: TrainingSet, pair: Ints, way: str, blind: Blind) -> WayScore:
    if not blind.at.size:
        return WayScore(way, 0, 0, 0, [], [], "nothing", say("score.verdicts.nothing"))
    took, group = evidence.outcomes.fruitful[blind.at].astype(np.float64), pair[blind.at]
    weight, base_rate = evidence.weight[blind.at] / np.bincount(blind.at)[blind.at], blind.chances["base_rate"]
    entries = [scoring.scores(said, took, weight, base_rate, group, name) for name, said in blind.chances.items()]
    entries[-1] = replace(entries[-1], skill_low=None, skill_high=None, auc=None)  # the base rate says the same of all
    pairs, verdict = len(set(group)), scoring.verdict_on(entries[0])
    words = _in_words(way, verdict, entries, pairs, took)
    bins = scoring.calibration(blind.chances["crosscompat"], took, weight)
    return WayScore(way, len(set(blind.at)), pairs, blind.folds, entries, bins, verdict, words)


def _in_words(way: str, verdict: str, entries: Sequence[scoring.ForecastScore], pairs: int, took: Floats) -> str:
    everything = say("score.all.took" if took[0] else "score.all.failed")
    words = [say(f"score.verdicts.{verdict}", what=say(f"score.for.{way}"), pairs=pairs, all=everything)]
    alone = [entry for entry in entries if entry.forecast in {"distance", "traits"}]
    best = min(alone, key=lambda entry: entry.brier)
    if verdict != "alike" and best.brier <= entries[0].brier:
        words.append(say(f"score.as_good.{best.forecast}"))
    return " ".join(words)


@dataclass(frozen=True, slots=True)
class Job:
    """One fit: the crosses learned from, and groups of crosses held out, whose outcomes are not to be read."""

    collection: Collection
    seen: TrainingSet
    held: tuple[TrainingSet, ...]


Work = Callable[[Callable[[Job], list[Said]], Sequence[Job]], Iterable[list[Said]]]


@dataclass(frozen=True, slots=True)
class Blind:
    """What was said of crosses held out in so many ``folds``, each forecast by a model of its own.

    Attributes
    ----------
    at : ndarray of int, shape (m,)
        Place of each among the evidence; a cross that is held out twice stands twice.
    chances : mapping of str to ndarray of float, shape (m,)
        Chance of at least one seedling from the units of that cross, by each of ``FORECASTS``: the whole model; a
        logistic regression on the units and the distance alone, and on the units and the traits alone (absent if no
        trait speaks for a pairing); and how often the crosses learned from gave a seedling.
    """

    folds: int
    at: Ints
    chances: Mapping[str, Floats]


def blind_forecasts(
    collection: Collection, evidence: TrainingSet, ways: Mapping[str, Sequence[scoring.Fold]], work: Work = map
) -> dict[str, Blind]:
    """Forecast each cross held out, of which the outcome is known, by models that were fitted on the others alone.

    Where unknown traits are put and how species are related are as the crosses learned from have them. Folds that learn
    from the same crosses share one fit. ``work`` applies `forecast` to the jobs, in order, as `map` does; another may
    show a bar or use several processors.
    """
    fits: dict[bytes, tuple[Ints, list[tuple[str, Ints]]]] = {}
    for way, fold in [(way, fold) for way, folds in ways.items() for fold in folds]:
        held = fold.held[evidence.outcomes.known[fold.held]]
        if held.size:
            fits.setdefault(fold.train.tobytes(), (fold.train, []))[1].append((way, held))
    jobs = [
        Job(collection, evidence[train.tolist()], tuple(evidence[held.tolist()] for _, held in groups))
        for train, groups in fits.values()
    ]
    parts: dict[str, list[tuple[Ints, Said]]] = {way: [] for way in ways}
    for (_, groups), answers in zip(fits.values(), work(forecast, jobs), strict=True):
        for (way, held), said in zip(groups, answers, strict=True):
            parts[way].append((held, said))
    return {way: _joined(of_way) for way, of_way in parts.items()}


def _joined(parts: Sequence[tuple[Ints, Said]]) -> Blind:
    at = np.concatenate([np.empty(0, dtype=np.int64), *(held for held, _ in parts)])
    names = parts[0][1] if parts else ()
    return Blind(len(parts), at, {name: np.concatenate([said[name] for _, said in parts]) for name in names})


def forecast(job: Job) -> list[Said]:
    """Learn from some crosses, and return the chances of others by each of ``FORECASTS``."""
    collection, seen = job.collection, job.seen
    whole = seen[np.flatnonzero(seen.outcomes.known).tolist()]
    model = fitted_on(collection, seen)
    # Half a seedling and half a failure beforehand: six crosses that all took do not make the seventh certain.
    base_rate = (float(whole.weight @ whole.outcomes.fruitful) + 0.5) / (float(whole.weight.sum()) + 1.0)
    answers = []
    for held in job.held:
        units = held.outcomes.tried
        parents = Parents(held.seed, held.pollen, *clones_on_both_sides(collection.plants, held.crosses))
        said = {"crosscompat": chances_of(collection, model, parents, units).mean}
        said |= {name: _plain(collection, recipe, whole, held) for name, recipe in _parts(model.recipe).items()}
        answers.append(said | {"base_rate": np.full(units.shape, base_rate)})
    return answers


def _parts(recipe: Recipe) -> dict[str, Recipe]:
    """Return the recipe of the distance alone and that of the traits alone, if there are any."""
    sides: dict[str, list[Feature]] = {"distance": [], "traits": []}
    for feature in recipe.features:
        sides["distance" if feature.column is None else "traits"].append(feature)
    return {name: Recipe(tuple(side), recipe.scale) for name, side in sides.items() if side}


def _plain(collection: Collection, recipe: Recipe, seen: TrainingSet, held: TrainingSet) -> Floats:
    """Return chances by a ridge logistic regression on what a recipe reads and on how many units were used.

    An unknown number stands at the mean, as do half a seedling and half a failure beside the crosses.
    """
    from sklearn.impute import SimpleImputer  # noqa: PLC0415 - only a scorecard needs it
    from sklearn.linear_model import LogisticRegression  # noqa: PLC0415 - as above
    from sklearn.pipeline import make_pipeline  # noqa: PLC0415 - as above
    from sklearn.preprocessing import StandardScaler  # noqa: PLC0415 - as above

    def rows(crosses: TrainingSet) -> Floats:
        taxa, sides = collection.taxa, (crosses.seed, crosses.pollen)
        numbers = pair_rows(recipe, taxa.apart(*sides), collection.traits, *sides, pedigree=taxa.pedigree)
        return np.column_stack([numbers, np.log(crosses.outcomes.tried)])

    here = rows(seen)
    ridge = LogisticRegression(solver="newton-cholesky")  # the quickest for few columns
    fit = make_pipeline(SimpleImputer(keep_empty_features=True), StandardScaler(), ridge)
    fit.fit(
        np.vstack([here, np.full((2, here.shape[1]), np.nan)]),
        np.append(seen.outcomes.fruitful, [True, False]),
        logisticregression__sample_weight=np.append(seen.weight, [0.5, 0.5]),
    )
    return np.asarray(fit.predict_proba(rows(held))[:, 1])
