"""Print what is believed before a single cross of the grower's own."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path

from crosscompat.advice.figures import Interval
from crosscompat.advice.priors import PriorTable, StageChances, prior_table
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import columns, line, paragraph, print_json, screen_width
from crosscompat.collection.settings import FILE_NAME
from crosscompat.ground.wording import say
from crosscompat.model.prior import published
from crosscompat.show.chances import percent

__all__ = ["print_priors", "run"]


def run(folder: Path | None, *, as_json: bool) -> None:
    """Print the priors of the collection here, or the published ones where there is none."""
    notices: tuple[str, ...] = ()
    if folder is None and not Path(FILE_NAME).is_file():
        table = prior_table(published())
    else:
        collection = collection_at(folder)
        table, notices = prior_table(collection.priors, fruit=collection.settings.fruit_word), collection.notices
    if as_json:
        print_json(table)
        return
    print_priors(table)
    for notice in notices:
        paragraph(notice)


def print_priors(table: PriorTable) -> None:
    """Print the chances that the priors give, then the priors themselves, stage by stage."""
    paragraph(say("priors.own_rows", n=table.own) if table.own else say("priors.all_published"))
    line()
    paragraph(say("priors.by_themselves", near=f"{table.near_distance:g}", far=f"{table.far_distance:g}"))
    _print_chances(table.chances)
    line()
    paragraph(say("priors.logits"))
    words = {entry.stage: entry.words for entry in table.chances}
    for stage, rows in groupby(table.coefficients, key=lambda row: row.stage):
        line()
        line(words[stage])
        for row in rows:
            numbers = say("priors.give_or_take", mean=f"{row.mean:+.2f}", sd=f"{row.sd:.2f}")
            _print_row(row.words, numbers, row.evidence, own=row.own)
    for stage, effects in groupby(table.effects, key=lambda row: row.stage):
        line()
        paragraph(say("priors.differ", stage=words[stage]) if stage in words else say("priors.differ_every"))
        for effect in effects:
            _print_row(effect.words, f"{effect.scale:.2f}", effect.evidence, own=effect.own)


def _print_row(words: str, numbers: str, evidence: str, *, own: bool) -> None:
    paragraph(say("priors.row", what=words, numbers=numbers), indent=2, bullet="* " if own else "")
    paragraph(evidence, indent=6)


def _print_chances(found: list[StageChances]) -> None:
    """Print a table, or three lines a stage where the screen is too narrow for one."""
    heading = [say(f"priors.columns.{key}") for key in ("stage", "near", "far")]
    table = columns([heading, *([row.words, _spoken(row.near), _spoken(row.far)] for row in found)])
    if max(map(len, table)) + 2 <= screen_width():
        for text in table:
            line("  " + text)
        return
    for row in found:
        paragraph(row.words, indent=2)
        for word, chance in zip(heading[1:], (row.near, row.far), strict=True):
            paragraph(say("priors.row", what=word, numbers=_spoken(chance)), indent=4)


def _spoken(chance: Interval) -> str:
    numbers = {"percent": percent(chance.mean), "low": percent(chance.low), "high": percent(chance.high)}
    return say("priors.spoken", words=chance.words, **numbers)
