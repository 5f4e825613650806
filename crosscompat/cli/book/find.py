"""The cross of a lost label, by what is still known of it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from crosscompat.cli.dates_and_author import any_day
from crosscompat.cli.options import Folder, Json, count, text
from crosscompat.cli.output import give, line, paragraph
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.advice.lost_label import Candidates


def find(
    plant: Annotated[str | None, text("--plant", "PLANT", "help.find_plant")] = None,
    day: Annotated[
        date | None, typer.Option("--date", metavar="DATE", parser=any_day, help=say("help.find_date"))
    ] = None,
    between: Annotated[
        tuple[date, date] | None,
        typer.Option("--between", metavar="DATE DATE", parser=any_day, help=say("help.find_between")),
    ] = None,
    marker: Annotated[str | None, text("--marker", "TEXT", "help.find_marker")] = None,
    pollen: Annotated[str | None, text("--pollen", "PLANT", "help.find_pollen")] = None,
    most: Annotated[int, count("--most", "help.most", least=1)] = 5,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Print the crosses it may have been; none makes the exit code 1."""
    from crosscompat.advice.lost_label import candidates
    from crosscompat.book.find_records import Clues
    from crosscompat.cli.book.book_session import open_here

    if day and between:
        raise WrongUse(say("lost_label.one_day"))
    if between and between[0] > between[1]:
        raise WrongUse(say("lost_label.between_order"))
    clues = Clues(plant=plant, day=day, between=between, marker=marker, pollen=pollen)
    with open_here(folder) as (settings, store), store.reading() as page:
        found = candidates(page, clues, most=most, invented=settings.invented)
    give(found, _print, as_json=as_json)
    if not found.candidates:
        raise typer.Exit(1)


def _print(found: Candidates) -> None:
    if not found.candidates:
        paragraph(say("lost_label.nothing"))
        return
    line(say("lost_label.heading"))
    for one in found.candidates:
        says = say("lost_label.entry", cross=one.cross, seed=one.seed_parent, pollen=one.pollen_parent,
                   fit=f"{one.fit:.0%}", why="; ".join(one.why))  # fmt: skip
        paragraph(says, indent=2, bullet="· ")
    paragraph(say("lost_label.doubtful", cross=found.candidates[0].cross))
