"""Learn from the season, score the forecasts, and show what is believed before any cross."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crosscompat.cli.options import Day, DryRun, Folder, Json, Why, plain
from crosscompat.cli.output import give, headings, line, paragraph, print_json, print_table, talk
from crosscompat.cli.session import collection_at, is_collection
from crosscompat.ground.dates import season_of, today
from crosscompat.ground.names import bracketed
from crosscompat.ground.wording import say
from crosscompat.show.chances import one_in, percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crosscompat.advice.forecast_record import ScoredForecast, TrackRecord
    from crosscompat.advice.rank import RankRow
    from crosscompat.advice.reasoning import CoefficientPrior, EffectPrior, PriorTable
    from crosscompat.advice.retrain import Lesson, Moved, Weighting
    from crosscompat.advice.score import Scorecard, WayScore
    from crosscompat.collection.opening import Collection
    from crosscompat.model.scoring import ForecastScore

_MOST_MOVED, _FEW_MOVED = 10, 4
_MOST_NEXT = 3
_HARDLY = 0.005
_SURPRISE = 0.75
"""How far a chance must lie from what came of it to be called a surprise: a judgement."""

_MOST_NAMED = 12


def retrain(
    as_of: Day = None,
    folder: Folder = None,
    *,
    dry_run: DryRun = False,
    season: Annotated[bool, plain("--season", "help.retrain_season")] = False,
    why: Why = False,
    as_json: Json = False,
) -> None:
    """Retrain, keep the model and print the lesson; without a finished cross the exit code is 1.

    The model is kept before anything is printed: a reader who goes away early must not lose it.
    """
    from crosscompat.advice.retrain import keep, learn
    from crosscompat.collection.opening import MODEL_FILE

    collection, day = collection_at(folder), as_of or today()
    lesson, saved = learn(collection, as_of=day)
    noted = keep(collection, saved) if lesson.learned and not dry_run else None
    if as_json:
        print_json(lesson)
    else:
        print_lesson(lesson, why=why)
        if season:
            _print_season(replace(collection, saved=saved), lesson)
    if not lesson.learned:
        talk(say("retrain.nothing"))
        raise typer.Exit(1)
    if noted is not None and not as_json:
        talk(say("cli.written", file=str((folder or Path()) / MODEL_FILE)))
        if noted:
            talk(say("retrain.noted", n=noted))


def print_lesson(lesson: Lesson, *, why: bool = False) -> None:
    """Print what a season changed: in a few lines, or with every figure behind them."""
    if lesson.learned:
        paragraph(lesson.after.words)
        counts = [say("retrain.season", season=str(s.season), took=s.took, n=s.crosses) for s in lesson.seasons]
        if counts:
            paragraph(say("retrain.seasons", seasons="; ".join(counts)))
    if why:
        _print_left_out(lesson)
    elif lesson.left_out:
        paragraph(say("retrain.left_out_count", n=sum(len(entry.crosses) for entry in lesson.left_out)))
    if lesson.track_record is not None and why:
        line()
        print_track_record(lesson.track_record)
    elif lesson.track_record is not None:
        paragraph(lesson.track_record.says[0])
    if lesson.learned and lesson.moved:
        _print_moved(lesson, _MOST_MOVED if why else _FEW_MOVED)
    if lesson.learned and why:
        line()
        paragraph(say("retrain.weights"))
        heading, rows = _weights(lesson.weightings)
        print_table(heading, rows, right=range(1, len(heading)))


def _pair(each: Moved | ScoredForecast | RankRow) -> dict[str, str]:
    return {"seed": bracketed(each.seed_parent), "pollen": bracketed(each.pollen_parent)}


def _print_season(collection: Collection, lesson: Lesson) -> None:
    """Print what was forecast of each cross of the last season and what it gave, and what to try next."""
    from crosscompat.advice.rank import rank, wanted_pairs

    scored = lesson.track_record.forecasts if lesson.track_record else []
    years = [season_of(date.fromisoformat(each.given), collection.settings.season_start) for each in scored]
    line()
    paragraph(say("retrain.of_season", season=str(max(years))) if scored else say("retrain.no_forecasts"))
    for each, year in zip(scored, years, strict=True):
        if year == max(years):
            surprise = abs(each.took - each.mean) > _SURPRISE
            said = {"cross": each.cross, "words": one_in(each.mean), "percent": percent(each.mean)}
            text = say(f"retrain.{'took' if each.took else 'failed'}", **_pair(each), **said)
            paragraph(text + (say("retrain.surprise") if surprise else ""), indent=2, bullet="! " if surprise else "· ")
    candidates, _ = wanted_pairs(collection, collection.wanted)
    if not candidates:
        return
    line(say("retrain.next"))
    for row in rank(collection, candidates, by="both").rows[:_MOST_NEXT]:
        says = row.teaches.says if row.teaches else ""
        paragraph(say("retrain.try", **_pair(row), words=row.chance.words, says=says), indent=2, bullet="· ")


def _weights(entries: Sequence[Weighting]) -> tuple[list[str], list[list[str]]]:
    """Return a table of what weighs how much: before and after, or after at every stage of the chain."""

    def signed(value: float | None) -> str:
        return say("retrain.none") if value is None else f"{value:+.2f}"

    stages = list(dict.fromkeys(entry.stage for entry in entries))
    if len(stages) == 1:
        sds = ["" if entry.after_sd is None else f"±{entry.after_sd:.2f}" for entry in entries]
        rows = [[e.words, signed(e.before), signed(e.after), sd] for e, sd in zip(entries, sds, strict=True)]
        return headings("retrain.columns", "feature", "before", "after", "unsure"), rows
    at = {(entry.stage, entry.words): signed(entry.after) for entry in entries}
    words = dict.fromkeys(entry.words for entry in entries)
    rows = [[word, *(at.get((stage, word), "") for stage in stages)] for word in words]
    return [*headings("retrain.columns", "feature"), *headings("stages.columns", *stages)], rows


def _print_left_out(lesson: Lesson) -> None:
    """Print which crosses do not count and why, and what came of checks."""
    if lesson.uncounted:
        paragraph(say("retrain.uncounted", n=lesson.uncounted), indent=2)
    if lesson.left_out:
        line(say("retrain.left_out"))
    for entry in lesson.left_out:
        more = ["…"] if len(entry.crosses) > _MOST_NAMED else []
        paragraph(f"{entry.words} ({', '.join(entry.crosses[:_MOST_NAMED] + more)})", indent=2, bullet="· ")
    if lesson.checks:
        line()
        line(say("checks.heading"))
    for check in lesson.checks:
        paragraph(say("checks.line", cross=check.cross, says=check.says), indent=2, bullet="· ")


def print_track_record(record: TrackRecord) -> None:
    """Print how earlier forecasts did, and what came of those of about one size."""
    line(say("ledger.heading"))
    paragraph(" ".join(record.says), indent=2)
    for entry in record.calibration:
        paragraph(entry.says, indent=2, bullet="· ")
    line()


def _print_moved(lesson: Lesson, most: int) -> None:
    """Print the chances that moved most, or that none did."""
    moves = [moved for moved in lesson.moved if abs(moved.after.mean - moved.before.mean) >= _HARDLY]
    if not moves:
        paragraph(say("retrain.still"))
        return

    def narrow(pairing: str, before: str, after: str, words: str, why: str) -> tuple[str, str, str]:
        return "", pairing, say("retrain.stacked", before=before, after=after, words=words, why=why)

    line(say("retrain.moved"))
    rows = [
        [say("retrain.pairing", **_pair(m)), percent(m.before.mean), percent(m.after.mean), m.after.words, m.why]
        for m in moves[:most]
    ]
    heading = headings("retrain.columns", "pairing", "before", "after", "words", "why")
    print_table(heading, rows, right=[1, 2], narrow=narrow)


def score(
    way: Annotated[list[str] | None, plain("--way", "help.way", "WAY")] = None,
    as_of: Day = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Score and print; with too few finished crosses the exit code is 1."""
    from crosscompat.advice.score import WAYS
    from crosscompat.advice.score import score as scorecard
    from crosscompat.cli.workers import worked

    card = scorecard(collection_at(folder), as_of=as_of or today(), ways=way or WAYS, work=worked)
    if card.ways or as_json:
        give(card, print_scorecard, as_json=as_json)
    if not card.ways:
        talk(card.says)
        raise typer.Exit(1)


def print_scorecard(card: Scorecard) -> None:
    """Print what each way of holding out found, what came of the chances, and what the numbers are."""
    paragraph(card.says)
    for way in card.ways:
        line()
        if way.forecasts:
            paragraph(say(f"score.ways.{way.way}", n=way.crosses, pairs=way.pairs, folds=way.folds))
            _print_forecasts(way.forecasts)
        paragraph(way.says, indent=2)
    scored = next((way for way in card.ways if way.calibration), None)
    if scored is not None:
        _print_calibration(scored)
        line()
        paragraph(say("score.key"))


def _print_forecasts(forecasts: Sequence[ForecastScore]) -> None:
    unknown = say("score.unknown")

    def narrow(name: str, log_loss: str, brier: str, skill: str, between: str, auc: str) -> tuple[str, str, str]:
        return "", name, say("score.stacked", log_loss=log_loss, brier=brier, skill=skill, range=between, auc=auc)

    def share(value: float | None) -> str:
        whole = None if value is None else round(100 * value)
        return unknown if whole is None else say("score.skill", percent=f"{whole:+d}" if whole else "0")

    def between(entry: ForecastScore) -> str:
        low, high = share(entry.skill_low), share(entry.skill_high)
        return unknown if entry.skill_low is None else say("score.range", low=low, high=high)

    rows = [
        [
            say(f"score.forecasts.{entry.forecast}"),
            f"{entry.log_loss:.2f}",
            f"{entry.brier:.2f}",
            share(entry.skill),
            between(entry),
            unknown if entry.auc is None else percent(entry.auc),
        ]
        for entry in forecasts
    ]
    heading = headings("score.columns", "forecast", "log_loss", "brier", "skill", "range", "auc")
    print_table(heading, rows, right=[1, 2, 3, 5], narrow=narrow)


def _print_calibration(way: WayScore) -> None:
    """Print what came of chances of about one size, and where they were off by more than so few crosses explain."""
    line()
    paragraph(say(f"score.calibration.{way.way}"))
    rows = []
    for entry in way.calibration:
        off = "more" if entry.chance < entry.low else "less" if entry.chance > entry.high else ""
        took, crosses = (f"{round(number, 1):g}" for number in (entry.took * entry.crosses, entry.crosses))
        between = say("score.range", low=percent(entry.low), high=percent(entry.high))
        came = say(f"score.came.{off}") if off else ""
        rows.append([percent(entry.chance), say("score.share", took=took, n=crosses), between, came])
    print_table(headings("score.columns", "chance", "came", "share", ""), rows, right=[0])


def priors(folder: Folder = None, *, as_json: Json = False) -> None:
    """Print the priors of the collection here, or the published ones where there is none."""
    from crosscompat.advice.reasoning import prior_table
    from crosscompat.model.prior import published

    notices: tuple[str, ...] = ()
    if folder is None and not is_collection(Path()):
        table = prior_table(published())
    else:
        collection = collection_at(folder)
        table, notices = prior_table(collection.priors, fruit=collection.settings.fruit_word), collection.notices
    give(table, _print_priors, as_json=as_json)
    for notice in () if as_json else notices:
        paragraph(notice)


def _print_priors(table: PriorTable) -> None:
    """Print the chances that the priors give, then the priors themselves with what each leans on."""
    paragraph(say("priors.own_rows", n=table.own) if table.own else say("priors.all_shipped"))
    line()
    paragraph(say("priors.by_themselves"))
    ages = [say("priors.millions", millions=f"{age:g}") for age in table.millions]
    rows = [[row.words, *(percent(chance.mean) for chance in row.chances)] for row in table.chances]

    def narrow(words: str, *shares: str) -> tuple[str, str, str]:
        return "", words, ", ".join(f"{age} {share}" for age, share in zip(ages, shares, strict=True))

    print_table([say("priors.stage"), *ages], rows, right=range(1, len(ages) + 1), narrow=narrow)
    sds = [say("priors.give_or_take", mean=f"{row.mean:+.2f}", sd=f"{row.sd:.2f}") for row in table.coefficients]
    _print_rows("priors.logits", table.coefficients, sds)
    _print_rows("priors.differ", table.effects, [f"{effect.scale:.2f}" for effect in table.effects])


def _print_rows(heading: str, rows: Sequence[CoefficientPrior | EffectPrior], numbers: Sequence[str]) -> None:
    line()
    paragraph(say(heading))
    for row, number in zip(rows, numbers, strict=True):
        what = say("priors.row", what=row.words, numbers=number, basis=say(f"priors.basis.{row.basis}"))
        paragraph(what, indent=2, bullet="* " if row.basis == "own" else "")
        paragraph(row.evidence, indent=6)
