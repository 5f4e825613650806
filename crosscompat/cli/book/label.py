"""Labels for crosses, to print."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated, Final

import typer

from crosscompat.cli.dates_and_author import any_day
from crosscompat.cli.options import Folder, Json, Output, count
from crosscompat.cli.output import deliver, print_json, talk
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say

DEFAULT: Final = Path("labels.html")


def label(
    crosses: Annotated[list[str] | None, typer.Argument(metavar="CROSS", help=say("help.label_crosses"))] = None,
    output: Output = None,
    since: Annotated[
        date | None, typer.Option("--since", metavar="DATE", parser=any_day, help=say("help.label_since"))
    ] = None,
    season: Annotated[int | None, count("--season", "help.label_season")] = None,
    folder: Folder = None,
    *,
    every: Annotated[bool, typer.Option("--all", help=say("help.label_all"))] = False,
    twins: Annotated[bool, typer.Option("--twins", help=say("help.label_twins"))] = False,
    as_json: Json = False,
) -> None:
    """Make the sheets and write them: as HTML, or as PDF where the file is called so."""
    from crosscompat.advice.labels import labels_for
    from crosscompat.cli.locate import collection_at
    from crosscompat.ground.files import write_atomically

    first = date.min if every else since
    if not crosses and first is None and season is None:
        raise WrongUse(say("labels.which"))
    labels = labels_for(collection_at(folder), crosses or (), since=first, season=season, twins=twins)
    if as_json:
        print_json(labels, output)
    elif output is not None and output.suffix.lower() == ".pdf":
        from crosscompat.show.label_pdf import labels_pdf

        write_atomically(output, labels_pdf(labels.cards, invented=labels.invented))
        talk(say("cli.written", file=str(output)))
    else:
        from crosscompat.show.label import labels_page

        deliver(labels_page(labels.cards, invented=labels.invented), output or DEFAULT)
