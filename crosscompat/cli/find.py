"""Look for the cross of a lost label."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import typer

from crosscompat.advice.lost_label import candidates
from crosscompat.book.find_records import Clues
from crosscompat.cli.book_session import open_here
from crosscompat.cli.dates_and_author import blanks_told
from crosscompat.cli.output import line, paragraph, print_json
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

__all__ = ["run"]


def run(
    folder: Path | None,
    *,
    plant: str | None,
    day: datetime | None,
    between: tuple[datetime, datetime] | None,
    marker: str | None,
    pollen: str | None,
    most: int,
    as_json: bool,
) -> None:
    """Print the crosses it may have been; none makes the exit code 1."""
    blank = blanks_told({"--plant": plant, "--marker": marker, "--pollen": pollen})
    if blank:
        raise WrongUse(blank)
    if day and between:
        raise WrongUse(say("lost_label.one_day"))
    days = (between[0].date(), between[1].date()) if between else None
    if days and days[0] > days[1]:
        raise WrongUse(say("lost_label.between_order"))
    clues = Clues(plant=plant, day=day.date() if day else None, between=days, marker=marker, pollen=pollen)
    with open_here(folder) as (here, store), store.reading() as page:
        found = candidates(page, clues, most=most, invented=here.settings.invented)
    if as_json:
        print_json(found)
    elif not found.candidates:
        paragraph(say("lost_label.nothing"))
    else:
        line(say("lost_label.heading"))
        for one in found.candidates:
            says = say("lost_label.entry", cross=one.cross, seed=one.seed_parent, fit=f"{one.fit:.0%}",
                       why="; ".join(one.why))  # fmt: skip
            paragraph(says, indent=2, bullet="· ")
        paragraph(say("lost_label.doubtful", cross=found.candidates[0].cross))
    if not found.candidates:
        raise typer.Exit(1)
