"""How far apart the two of each pair stand, written beside a table of pairs however long."""

from __future__ import annotations

import shutil
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, BinaryIO

import typer

from crosscompat.cli.options import Folder, Json, Output
from crosscompat.cli.output import deliver, print_json, talk, unit_in_words
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import writing_atomically
from crosscompat.ground.wording import say

if TYPE_CHECKING:
    from crosscompat.advice.pair_distances import PairDistances


def distances(
    pairs: Annotated[Path, typer.Argument(metavar="PAIRS", help=say("help.distances_pairs"))],
    output: Output = None,
    folder: Folder = None,
    *,
    as_json: Json = False,
) -> None:
    """Write the table, or nothing at all if there is a fault in it."""
    from crosscompat.advice.pair_distances import PairTable, write_distances
    from crosscompat.cli.session import collection_or_carried
    from crosscompat.cli.workers import watched

    to_screen = output is None or str(output) == "-"
    if as_json and to_screen:
        raise WrongUse(say("distances.json_where"))
    table = PairTable(pairs)
    first = next(table.blocks([]), None)
    collection = collection_or_carried(folder, table.parents(first[0][1]) if first else ())

    def written(stream: BinaryIO) -> PairDistances:
        return write_distances(collection, table, stream, lambda blocks: watched(blocks, table.size_in_blocks))

    if output is None or to_screen:
        with tempfile.TemporaryFile() as held:
            written(held)
            held.seek(0)
            if sys.stdout.isatty():
                deliver(held.read().decode(), None)
            else:
                shutil.copyfileobj(held, sys.stdout.buffer)
        return
    with writing_atomically(output) as stream:
        answer = replace(written(stream), file=str(output))
    if as_json:
        print_json(answer)
    else:
        talk(say("distances.written", n=answer.pairs, unit=unit_in_words(answer.unit), file=str(output)))
