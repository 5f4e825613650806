"""Print labels for crosses."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from crosscompat.advice.labels import Labels, labels_for
from crosscompat.cli.screen import deliver, print_json
from crosscompat.cli.where import collection_at
from crosscompat.show.label import labels_page

__all__ = ["run"]


def run(folder: Path | None, crosses: Sequence[str], output: Path | None, *, as_json: bool) -> None:
    """Make the page and deliver it."""
    labels: Labels = labels_for(collection_at(folder), crosses)
    if as_json:
        print_json(labels, output)
    else:
        deliver(labels_page(labels.cards, invented=labels.invented), output)
