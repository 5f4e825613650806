"""Write how far apart the two of each pair stand beside a big table of pairs."""

from __future__ import annotations

import shutil
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

from crosscompat.advice.pair_distances import PairDistances, PairTable, write_distances
from crosscompat.cli.locate import collection_or_carried
from crosscompat.cli.output import print_json, talk, unit_in_words
from crosscompat.cli.progress import counted
from crosscompat.ground.errors import WrongUse
from crosscompat.ground.files import writing_atomically
from crosscompat.ground.wording import say

__all__ = ["run"]


def run(folder: Path | None, pairs: Path, output: Path | None, *, as_json: bool) -> None:
    """Write the table, or nothing at all if there is a fault in it."""
    to_screen = output is None or str(output) == "-"
    if as_json and to_screen:
        raise WrongUse(say("distances.json_where"))
    table = PairTable(pairs)
    first = next(table.blocks([]), None)
    collection = collection_or_carried(folder, [name for names in first.names for name in names[:1]] if first else [])

    def written(stream: BinaryIO) -> PairDistances:
        return write_distances(collection, table, stream, lambda blocks: counted(blocks, table.size_in_blocks))

    if output is None or to_screen:
        with tempfile.TemporaryFile() as held:
            answer = written(held)
            held.seek(0)
            shutil.copyfileobj(held, sys.stdout.buffer)
        return
    with writing_atomically(output) as stream:
        answer = replace(written(stream), file=str(output))
    if as_json:
        print_json(answer)
    else:
        talk(say("distances.written", n=answer.pairs, unit=unit_in_words(answer.unit), file=str(output)))
