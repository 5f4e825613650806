"""Time reading and distances beside the general libraries, all in one process with one thread, and print a table.

Run it as ``python tests/benchmarks/trees.py [--quick]``. Trees are grown at random from a fixed seed. Every answer is
held against that of a general library, or of another way to it, before anything is timed. A peer that would take too
long is timed on fewer pairs, or a smaller matrix, and counted up, which a tilde says. "Limit" is what the least that
must be done takes here: to cut a text into its names, to fill the matrix, to gather two numbers for each pair, add and
write, or to read and write the table with the quickest reader and writer found (polars and pyarrow are taken where they
are installed). Times are processor time, so that other work on the machine counts less, and ratios are of the best of
several runs in turn; absolute times drift with the machine.
"""

from __future__ import annotations

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "POLARS_MAX_THREADS"):
    os.environ[name] = "1"

import argparse  # noqa: E402 - threads are pinned before numpy loads
import gc  # noqa: E402
import time  # noqa: E402
import tracemalloc  # noqa: E402
from collections.abc import Callable, Iterator  # noqa: E402
from dataclasses import dataclass, field  # noqa: E402
from pathlib import Path  # noqa: E402
from tempfile import TemporaryDirectory  # noqa: E402
from typing import Any  # noqa: E402

import numpy as np  # noqa: E402
from tree_peers import READERS, WRITERS, pair_distance, readers_of_tables  # noqa: E402

from crosscompat.advice.pair_distances import PairTable, write_distances  # noqa: E402
from crosscompat.collection.opening import Collection  # noqa: E402
from crosscompat.collection.settings import Settings  # noqa: E402
from crosscompat.model.gaussian import GaussianPrior, Scales, stage_of  # noqa: E402
from crosscompat.model.inference import find_mode  # noqa: E402
from crosscompat.model.likelihood import Counts  # noqa: E402
from crosscompat.phylogeny.newick import parse_newick  # noqa: E402

Job = Callable[[], object]

PAIRS = 1_000_000
FEW = {"scikit-bio": 200, "DendroPy": 4, "Biopython": 4}
RUNS = 9


def grown(tips: int, seed: int = 7) -> str:
    """A random bifurcating tree with lengths to six digits, as Newick."""
    rng = np.random.default_rng(seed)
    lengths = rng.random(2 * tips)
    parts = [f"Genus{i // 50}_species{i}:{lengths[i]:.6f}" for i in range(tips)]
    at = tips
    while len(parts) > 1:
        rng.shuffle(parts)
        half = max(len(parts) // 2, 1)
        joined = []
        for one, other in zip(parts[:half], parts[half : 2 * half], strict=False):
            joined.append(f"({one},{other}):{lengths[at % (2 * tips)]:.6f}")
            at += 1
        parts = joined + parts[2 * half :]
    return parts[0].rsplit(":", 1)[0] + ";"


def best(*jobs: Job, runs: int = RUNS) -> list[float]:
    """Milliseconds of processor time of each job's fastest run; they run in turn, so that a busy moment hits all."""
    times: list[list[float]] = [[] for _ in jobs]
    for _ in range(runs):
        for job, taken in zip(jobs, times, strict=True):
            start = time.process_time()
            job()
            taken.append(time.process_time() - start)
    return [1000 * min(taken) for taken in times]


@dataclass(frozen=True)
class Row:
    """A job, our time and that of each peer, in ms; a negative one was counted up."""

    job: str
    ours: float
    limit: float | None = None
    peers: dict[str, float] = field(default_factory=dict)

    def __str__(self) -> str:
        limit = "" if self.limit is None else f"{self.limit:.2f} ms, ours {self.ours / self.limit:.1f} x"
        peers = "; ".join(
            f"{name} {'~' if peer < 0 else ''}{abs(peer):,.0f} ms = {abs(peer) / self.ours:,.1f} x"
            for name, peer in self.peers.items()
        )
        return f"| {self.job} | {self.ours:.2f} ms | {limit} | {peers} |"


def reading(tips: int, *, peer_runs: int) -> Iterator[Row]:
    """Read a text whole; the limit is to cut its names, already without anything between them, into strings."""
    text = grown(tips)
    ours = parse_newick(text)
    names = "\n".join(ours.tips)
    theirs = READERS["scikit-bio"](text)
    assert [tip.name for tip in theirs.tips()] == list(ours.tips)
    lengths = [node.length for node in theirs.postorder(include_self=False)]
    assert lengths == ours.length[:-1].tolist()
    del theirs, ours
    gc.collect()
    taken, limit = best(lambda: parse_newick(text), lambda: names.split("\n"), runs=15)
    peers = {name: best(lambda read=read: read(text), runs=peer_runs)[0] for name, read in READERS.items()}
    yield Row(f"read Newick, {tips:,} tips", taken, limit, peers)


def memory(tips: int) -> Iterator[str]:
    """What reading holds, at its end and at most, as so many times the file."""
    data = grown(tips).encode()

    def held(read: Callable[[], object]) -> str:
        gc.collect()
        tracemalloc.start()
        tree = read()
        end, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        del tree
        return f"{end / len(data):.1f} x, at most {most / len(data):.1f} x"

    text = data.decode()
    peers = "; ".join(f"{name} {held(lambda read=read: read(text))}" for name, read in READERS.items())
    yield f"| memory of reading {tips:,} tips, of the file | {held(lambda: parse_newick(data))} | | {peers} |"


def matrices(tips: int, *, with_all: bool) -> Iterator[Row]:
    """All pairs."""
    text = grown(tips)
    tree, theirs = parse_newick(text), READERS["scikit-bio"](text)
    found, names = theirs.cophenet(), list(tree.tips)
    assert np.abs(tree.patristic_matrix(found.ids) - found.data).max() < 1e-9
    del found
    peers = {"scikit-bio": best(theirs.cophenet, runs=3)[0]}
    del theirs
    if with_all:
        peers |= slower_matrices(names, text, tips)
    limit, ours = best(lambda: np.full((tips, tips), 1.5), tree.patristic_matrix)
    yield Row(f"all pairs, {tips:,} tips", ours, limit, peers)


def slower_matrices(names: list[str], text: str, tips: int) -> dict[str, float]:
    """DendroPy's matrix, and Biopython's pairs counted up; of many tips both are counted up from a thousand."""
    few = min(tips, 1_000)
    smaller = text if few == tips else grown(few)
    up = (tips / few) ** 2
    (matrix,) = best(READERS["DendroPy"](smaller).phylogenetic_distance_matrix, runs=1)
    each = each_pair("Biopython", smaller, names if few == tips else list(parse_newick(smaller).tips))
    return {"DendroPy": matrix if up == 1 else -matrix * up, "Biopython": -each * tips * (tips - 1) / 2}


def blocks(tips: int) -> Iterator[Row | str]:
    """All pairs by blocks of rows; the limit fills as many blocks."""
    tree = parse_newick(grown(tips))
    some = next(block for first, block in tree.patristic_blocks() if first == 256)
    assert np.array_equal(some[3], tree.patristic_from(tree.tips[259]))

    def ours() -> None:
        for _ in tree.patristic_blocks():
            pass

    def limit() -> None:
        for _ in range(0, tips, 256):
            np.full((256, tips), 1.5)

    taken, least = best(ours, limit, runs=3)
    yield Row(f"all pairs, {tips:,} tips, by blocks", taken, least)
    tracemalloc.start()
    ours()
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    yield f"| memory of that | {most / 2**20:.0f} MiB at most | the matrix has {tips**2 / 2**17:,.0f} MiB | |"


def each_pair(library: str, text: str, names: list[str], wanted: Callable[[int, int], float] | None = None) -> float:
    """Milliseconds a library takes for a pair, from a few of them at random."""
    few = FEW[library]
    chosen = np.random.default_rng(5).choice(len(names), 2 * few, replace=False).tolist()
    distance = pair_distance(library, READERS[library](text), [names[at] for at in chosen])
    if wanted is not None:
        assert abs(distance(0, 1) - wanted(chosen[0], chosen[1])) < 1e-9
    (taken,) = best(lambda: [distance(at, at + few) for at in range(few)], runs=3)
    return taken / few


def many_pairs(tips: int) -> Iterator[Row]:
    """One against all, then a million pairs by number and by name, and from one CSV to another."""
    text = grown(tips)
    tree = parse_newick(text)
    names, first = list(tree.tips), tree.tips[0]
    rng = np.random.default_rng(3)
    a, b = rng.integers(0, tips, PAIRS), rng.integers(0, tips, PAIRS)
    apart = tree.patristic_between(a, b)
    each = {
        library: each_pair(library, text, names, lambda i, j: tree.patristic(names[i], names[j])) for library in READERS
    }
    gc.collect()
    height = rng.random(tips)
    distance, limit = best(lambda: tree.patristic_from(first), lambda: height + 1.0, runs=30)
    peers = {library: -ms * tips for library, ms in each.items()}
    yield Row(f"one against {tips:,}", distance, limit, peers)

    mine, theirs = [names[at] for at in a.tolist()], [names[at] for at in b.tolist()]
    assert np.array_equal(tree.patristic_pairs(mine, theirs), apart)
    by_number, limit = best(lambda: tree.patristic_between(a, b), lambda: height[a] + height[b], runs=100)
    peers = {library: -ms * PAIRS for library, ms in each.items()}
    yield Row(f"{PAIRS:,} pairs of {tips:,}", by_number, limit, peers)
    known = {label: at for at, label in enumerate(names)}
    by_name, plain = best(
        lambda: tree.patristic_pairs(mine, theirs),
        lambda: [list(map(known.__getitem__, side)) for side in (mine, theirs)],
        runs=5,
    )
    yield Row(f"the same by name (limit: both names in a dict), {tips:,} tips", by_name, plain)
    yield from_file_to_file(tree, mine, theirs, apart)


def from_file_to_file(tree: Any, mine: list[str], theirs: list[str], apart: np.ndarray) -> Row:
    collection = Collection(None, Settings(name="grown", tree="grown"), tree, "grown")
    with TemporaryDirectory() as folder:
        source, target = Path(folder, "pairs.csv"), Path(folder, "out.csv")
        rows = (f"{one},{other}\n" for one, other in zip(mine, theirs, strict=True))
        source.write_text("seed_parent,pollen_parent\n" + "".join(rows), encoding="utf-8")

        def ours() -> None:
            with target.open("wb") as stream:
                write_distances(collection, PairTable(source), stream)

        ours()
        lines = target.read_text(encoding="utf-8").splitlines()[1:]
        assert [line.rpartition(",")[0] for line in lines] == [f"{x},{y}" for x, y in zip(mine, theirs, strict=True)]
        assert np.abs(np.array([float(line.rpartition(",")[2]) for line in lines]) - apart).max() < 1e-9
        del lines
        gc.collect()
        readers = readers_of_tables(source)
        tables = {library: read() for library, read in readers.items()}
        quick = [library for library in readers if library != "csv"]
        jobs = [ours, *(readers[library] for library in quick)]
        jobs += [lambda to=library: WRITERS[to](tables[to], apart, target) for library in quick if library != "pandas"]
        taken, *others = best(*jobs, runs=9)
        read = dict(zip(quick, others, strict=False))
        written = dict(zip([library for library in quick if library != "pandas"], others[len(quick) :], strict=True))
        slow = {
            library: best(lambda at=library: (readers[at](), WRITERS[at](tables[at], apart, target)), runs=1)[0]
            for library in ("csv", "pandas")
        }
    reader, writer = min(read, key=read.__getitem__), min(written, key=written.__getitem__)
    job = f"{PAIRS:,} pairs from a CSV to a CSV (limit: read by {reader}, write by {writer}; peers do no more)"
    return Row(job, taken, read[reader] + written[writer], slow)


def ridge(records: int, features: int = 20) -> Iterator[Row]:
    """Find a penalised logistic regression exactly; the limit is the one product that each of its steps needs."""
    from sklearn.linear_model import LogisticRegression

    rng = np.random.default_rng(1)
    design = np.column_stack([np.ones(records), rng.normal(size=(records, features))])
    took = rng.random(records) < 1 / (1 + np.exp(-design @ rng.normal(0, 0.4, features + 1)))
    counts = Counts.of(np.ones(records), took)
    prior = GaussianPrior(np.zeros(features + 1), np.append(np.inf, np.ones(features)))
    exact = LogisticRegression(C=1.0, tol=1e-10, max_iter=1000)
    usual = LogisticRegression(C=1.0)
    exact.fit(design[:, 1:], took)

    def fit():
        return find_mode(stage_of(counts, design, prior), Scales(np.empty(0)))

    off = fit().theta - np.append(exact.intercept_, exact.coef_)
    assert np.abs(off).max() < 1e-6
    weighted = design * np.sqrt(rng.random(records))[:, None]
    ours, product, close, loose = best(
        fit,
        lambda: weighted.T @ weighted,
        lambda: exact.fit(design[:, 1:], took),
        lambda: usual.fit(design[:, 1:], took),
    )
    yield Row(
        f"ridge logistic, {records:,} x {features}",
        ours,
        product,
        {"scikit-learn": close, "the same, less exact": loose},
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="smaller trees")
    quick = parser.parse_args().quick
    print("| job | ours | limit | peers, and how many times longer they take |\n|---|---|---|---|")  # noqa: T201
    tasks: list[Iterator[Row | str]] = [
        reading(7_400 if quick else 74_000, peer_runs=3),
        *([] if quick else [reading(350_000, peer_runs=1)]),
        memory(7_400 if quick else 74_000),
        *(matrices(tips, with_all=tips < 10_000) for tips in ((1_000,) if quick else (1_000, 5_000, 10_000))),
        blocks(2_000 if quick else 20_000),
        many_pairs(7_400 if quick else 74_000),
        ridge(10_000 if quick else 100_000),
    ]
    for task in tasks:
        for row in task:
            print(row, flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
