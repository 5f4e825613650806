"""Print labels for crosses."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from crosscompat.advice.labels import Labels, labels_for
from crosscompat.cli.locate import collection_at
from crosscompat.cli.output import deliver, print_json, talk
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import write_atomically
from crosscompat.ground.wording import say
from crosscompat.show.label import labels_page

__all__ = ["run"]


def run(
    folder: Path | None,
    crosses: Sequence[str],
    output: Path | None,
    *,
    since: date | None,
    season: int | None,
    twins: bool,
    as_json: bool,
) -> None:
    """Make the sheets and deliver them: as HTML, or as PDF where the file is called so."""
    if not crosses and since is None and season is None:
        raise WrongUse(say("labels.which"))
    labels: Labels = labels_for(collection_at(folder), crosses, since=since, season=season, twins=twins)
    if as_json:
        print_json(labels, output)
    elif output is not None and output.suffix.lower() == ".pdf":
        from crosscompat.show.label_pdf import labels_pdf  # noqa: PLC0415 - only a PDF needs it

        write_atomically(output, labels_pdf(labels.cards, invented=labels.invented))
        talk(say("cli.written", file=str(output)))
    else:
        deliver(labels_page(labels.cards, invented=labels.invented), output)
