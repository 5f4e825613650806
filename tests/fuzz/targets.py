"""What the fuzzer feeds: each target takes bytes as a grower's file may hold them, and lets only a fault out.

A refusal in our own words (`CrosscompatError`) is right; whatever else is raised is what is looked for.
"""

from __future__ import annotations

import math
import tempfile
import warnings
from contextlib import suppress
from datetime import date
from functools import cache
from itertools import islice
from pathlib import Path

import numpy as np

from crosscompat.book.import_export.column_mapping import Answers, map_columns, read_grids
from crosscompat.book.import_export.import_table import read_table, records_of_rows
from crosscompat.book.numbers_and_names import next_number, read_pattern
from crosscompat.book.store import Store, open_store
from crosscompat.collection.settings import read_settings
from crosscompat.ground.errors import CrosscompatError
from crosscompat.ground.names import NameIndex, bracketed, correct_form, genus_of, read_name, written_alike
from crosscompat.ground.synonyms import for_labels, read_synonyms
from crosscompat.model.forecast import outlook
from crosscompat.model.pairings import Parents, pairings_of
from crosscompat.model.prior import published
from crosscompat.model.saved import read_model
from crosscompat.phylogeny.distances import read_distances
from crosscompat.phylogeny.formats import mean_distance, read_sample, read_trees
from crosscompat.phylogeny.newick import newick_text, parse_newick
from crosscompat.phylogeny.taxa import HybridIndex
from crosscompat.traits import read_traits

TODAY = date(2026, 6, 1)
TREE = parse_newick("((a:1,b:1):1,(c:1,d:1):1);")
_MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None


@cache
def folder() -> Path:
    """Return a folder for the files of one process; in memory where there is one."""
    return Path(tempfile.mkdtemp(prefix="crosscompat-fuzz-", dir=_MEMORY))


def put(name: str, data: bytes) -> Path:
    """Write a file and return where."""
    path = folder() / name
    path.write_bytes(data)
    return path


def tree(data: bytes) -> None:
    """Read a tree, a sample of trees and a table of distances, and use what was read."""
    path = put("tree.nwk", data)
    with suppress(CrosscompatError):
        for one in islice(read_trees(path), 3):
            again = parse_newick(newick_text(one))
            assert sorted(again.tips) == sorted(one.tips)
            assert math.isfinite(mean_distance(one)) or one.n_tips == 1
            assert (one.patristic_matrix(one.tips[:20]) == one.patristic_matrix(one.tips[:20]).T).all()
            HybridIndex(one.tips)
    with suppress(CrosscompatError):
        read_sample(path)
    with suppress(CrosscompatError):
        read_distances(put("distances.csv", data)).patristic_matrix()


LABELS = ("Echinocereus_coccineus", "Echinocereus dasyacanthus", "Echinocereus ×roetteri", "Aloe vera", "tip 12")


@cache
def index_of(more: tuple[str, ...]) -> HybridIndex:
    """Return the index of some labels, of which more stand for a synonym as well."""
    return HybridIndex((*LABELS, *more), {"Cereus coccineus": LABELS[0], **dict.fromkeys(more, LABELS[1])})


def names(data: bytes) -> None:
    """Read a name in every way, as a side of a pairing, as a label of a tree and as a synonym."""
    first, _, rest = data.decode("utf-8", "surrogateescape").partition("\n")
    indexes = [index_of(())]
    with suppress(CrosscompatError):
        indexes.append(index_of.__wrapped__((rest,)))
    for genus in (None, "Echinocereus", genus_of(rest)):
        with suppress(CrosscompatError):
            name = read_name(first, genus)
            assert name is None or read_name(str(name)) is not None, str(name)
        for index in indexes:
            with suppress(CrosscompatError):
                index.match(first, genus)
                index.pedigree(first)
    with suppress(CrosscompatError):
        NameIndex(rest.split("\n")).find(first)
    for say in (correct_form, bracketed, genus_of):
        with suppress(CrosscompatError):
            say(first)
    written_alike(first, rest.split("\n"))
    with suppress(CrosscompatError):
        for_labels(read_synonyms(put("synonyms.csv", b"name,accepted\n" + data)), LABELS)


@cache
def book() -> Store:
    """Return an empty book in memory."""
    return open_store("sqlite://")


def importer(data: bytes) -> None:
    """Read a table of crosses, of plants or of traits, and write it down for a trial."""
    kind, text = data[:1], data[1:]
    path = put("table.csv", text)
    questions = {
        "dates": ("day-first", "month-first")[len(text) % 2],
        "took": ("pod-set", "ripe-pod", "seedling")[len(text) % 3],
    }
    answers = Answers(questions=questions, friend="A. Friend" if kind < b"@" else None)
    with suppress(CrosscompatError):
        for grid in read_grids(path):
            mapping = map_columns(grid, (None, "crosses", "plants")[kind[0] % 3 if kind else 0])
            with book().writing("fuzzed", dry_run=True) as pen:
                if not mapping.missing:
                    taken = read_table(pen, grid, mapping, answers, TODAY)
                    pen.add(*records_of_rows(pen, taken))
    with suppress(CrosscompatError):
        assert all(column.sentence for column in read_traits(path).columns)


def settings(data: bytes) -> None:
    """Read a collection's settings and use those that are computed with."""
    with suppress(CrosscompatError):
        found = read_settings(put("collection.toml", data))
        assert all(0 < days < math.inf for days in found.windows.values())
        assert 0 < found.pod[0] < math.inf
        next_number(read_pattern(found.cross_number), TODAY.year, ("26-001", "1"))
        published().changed(found.priors)


def saved_model(data: bytes) -> None:
    """Read a saved model; what is not as it was written is refused."""
    with suppress(CrosscompatError):
        model = read_model(put("model.json", data)).model
        rows = np.full((1, len(model.recipe.features)), np.nan)
        outlook(model, rows, pairings_of(model.seen, TREE, Parents(["a"], ["b"], ["p1"])))


TARGETS = {one.__name__: one for one in (tree, names, importer, settings, saved_model)}
warnings.simplefilter("ignore")
