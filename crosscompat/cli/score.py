"""Score forecasts of the grower's own crosses and print how far they can be trusted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

import typer

from crosscompat.advice.score import WAYS, CameOf, ForecastScore, Scorecard, WayScore, score
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import columns, line, paragraph, print_json, screen_width, talk
from crosscompat.cli.workers import worked
from crosscompat.ground.wording import say
from crosscompat.show.chances import percent

__all__ = ["print_scorecard", "run"]


def run(folder: Path | None, *, as_of: date | None, ways: Sequence[str], as_json: bool) -> None:
    """Score and print; with too few finished crosses the exit code is 1."""
    day = as_of or datetime.now().astimezone().date()
    card = score(collection_at(folder), as_of=day, ways=ways or WAYS, work=worked)
    if as_json:
        print_json(card)
    elif card.ways:
        print_scorecard(card)
    if not card.ways:
        talk(card.says)
        raise typer.Exit(1)


def print_scorecard(card: Scorecard) -> None:
    """Print what each way of holding out found, what came of the chances, and what the numbers are."""
    if card.invented:
        paragraph(say("cli.invented"))
        line()
    paragraph(card.says)
    for way in card.ways:
        _print_way(way)
    scored = next((way for way in card.ways if way.calibration), None)
    if scored is not None:
        _print_calibration(scored)
        line()
        paragraph(say("score.key"))


def _print_way(way: WayScore) -> None:
    line()
    if way.forecasts:
        paragraph(say(f"score.ways.{way.way}", n=way.crosses, pairs=way.pairs, folds=way.folds))
        _print_forecasts(way.forecasts)
    paragraph(way.says, indent=2)


def _print_forecasts(forecasts: Sequence[ForecastScore]) -> None:
    """Print a table, or two lines a forecast where the screen is too narrow for one."""
    rows = [_cells(entry) for entry in forecasts]
    heading = [say(f"score.columns.{key}") for key in ("forecast", "log_loss", "brier", "skill", "range", "auc")]
    table = columns([heading, *rows], right=[1, 2, 3, 5])
    if max(map(len, table)) + 2 <= screen_width():
        for text in table:
            line("  " + text)
        return
    for name, log_loss, brier, skill, between, auc in rows:
        line("  " + name)
        words = say("score.stacked", log_loss=log_loss, brier=brier, skill=skill, range=between, auc=auc)
        paragraph(words, indent=6)


def _cells(entry: ForecastScore) -> list[str]:
    low, high = _signed(entry.skill_low), _signed(entry.skill_high)
    told = entry.skill_low is not None
    return [
        say(f"score.forecasts.{entry.forecast}"),
        f"{entry.log_loss:.2f}",
        f"{entry.brier:.2f}",
        _signed(entry.skill),
        say("score.range", low=low, high=high) if told else say("score.unknown"),
        say("score.unknown") if entry.auc is None else percent(entry.auc),
    ]


def _signed(share: float | None) -> str:
    if share is None:
        return say("score.unknown")
    whole = round(100 * share)
    return say("score.skill", percent=f"{whole:+d}" if whole else "0")


def _print_calibration(way: WayScore) -> None:
    line()
    paragraph(say(f"score.calibration.{way.way}"))
    heading = [say(f"score.columns.{key}") for key in ("chance", "came", "share")]
    rows = [
        [
            percent(entry.chance),
            say("score.share", took=_count(entry.took * entry.crosses), n=_count(entry.crosses)),
            say("score.range", low=percent(entry.low), high=percent(entry.high)),
            _came(entry),
        ]
        for entry in way.calibration
    ]
    for text in columns([[*heading, ""], *rows], right=[0]):
        line("  " + text)


def _count(crosses: float) -> str:
    return f"{round(crosses, 1):g}"


def _came(entry: CameOf) -> str:
    """Say where the chances were off by more than so few crosses explain."""
    if entry.chance < entry.low:
        return say("score.came.more")
    return say("score.came.less") if entry.chance > entry.high else ""
