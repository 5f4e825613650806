"""Labels for crosses, to print; and the cross of a lost label."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from crosscompat.advice.season.labels import Candidates, Clues, candidates, labels_for
from crosscompat.cli.options import Folder, Json, Output, any_day, count, plain, text
from crosscompat.cli.output import deliver_labels, give, line, paragraph, print_json
from crosscompat.cli.session import collection_at, open_here
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say


def label(
    crosses: Annotated[list[str] | None, typer.Argument(metavar="CROSS", help=say("help.label_crosses"))] = None,
    output: Output = None,
    since: Annotated[date | None, plain("--since", "help.label_since", "DATE", parser=any_day)] = None,
    season: Annotated[int | None, count("--season", "help.label_season")] = None,
    folder: Folder = None,
    *,
    every: Annotated[bool, plain("--all", "help.label_all")] = False,
    twins: Annotated[bool, plain("--twins", "help.label_twins")] = False,
    as_json: Json = False,
) -> None:
    """Make the sheets and write them: as HTML, or as PDF where the file is called so."""
    first = date.min if every else since
    if not crosses and first is None and season is None:
        raise WrongUse(say("labels.which"))
    labels = labels_for(collection_at(folder), crosses or (), since=first, season=season, twins=twins)
    if as_json:
        print_json(labels, output)
    else:
        deliver_labels(labels.cards, output or Path("labels.html"), invented=labels.invented)


def find(
    plant: Annotated[str | None, text("--plant", "PLANT", "help.find_plant")] = None,
    day: Annotated[date | None, plain("--date", "help.find_date", "DATE", parser=any_day)] = None,
    between: Annotated[
        tuple[date, date] | None, plain("--between", "help.find_between", "DATE DATE", parser=any_day)
    ] = None,
    marker: Annotated[str | None, text("--marker", "TEXT", "help.find_marker")] = None,
    pollen: Annotated[str | None, text("--pollen", "PLANT", "help.find_pollen")] = None,
    most: Annotated[int, count("--most", "help.most", least=1)] = 5,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Print the crosses it may have been; none makes the exit code 1."""
    if day and between:
        raise WrongUse(say("lost_label.one_day"))
    if between and between[0] > between[1]:
        raise WrongUse(say("lost_label.between_order"))
    clues = Clues(plant=plant, day=day, between=between, marker=marker, pollen=pollen)
    with open_here(folder) as (settings, store), store.reading() as page:
        answer = candidates(page, clues, most=most, invented=settings.invented)
    give(answer, _print, as_json=as_json)
    if not answer.candidates:
        raise typer.Exit(1)


def _print(answer: Candidates) -> None:
    if not answer.candidates:
        paragraph(say("lost_label.nothing"))
        return
    line(say("lost_label.heading"))
    for each in answer.candidates:
        says = say("lost_label.entry", cross=each.cross, seed=each.seed_parent, pollen=each.pollen_parent,
                   fit=f"{each.fit:.0%}", why="; ".join(each.why))  # fmt: skip
        paragraph(says, indent=2, bullet="· ")
    paragraph(say("lost_label.doubtful", cross=answer.candidates[0].cross))
