"""Time reading and distances beside the general libraries, all in one process with one thread, and print a table.

Run it as ``python tests/benchmarks/trees.py [--quick]``. Trees are grown at random from a fixed seed; distances are
held against scikit-bio's before they are timed. A peer that would take too long is timed on fewer pairs and counted up,
which a tilde says. "Limit" is what numpy takes for the least that must be done: to fill the matrix, or to gather two
numbers for each pair, add and write. Ratios are of the best of several runs; absolute times drift with the machine.
"""

from __future__ import annotations

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import argparse  # noqa: E402 - threads are pinned before numpy loads
import io  # noqa: E402
import time  # noqa: E402
from collections.abc import Callable  # noqa: E402
from dataclasses import dataclass  # noqa: E402

import numpy as np  # noqa: E402

from crosscompat.phylogeny.newick import parse_newick  # noqa: E402

READ, ONE, PAIRS = 74_000, 74_000, 1_000_000
FEW = 200


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


def best(job: Callable[[], object], runs: int = 5) -> float:
    """Milliseconds of the fastest run."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return 1000 * min(times)


@dataclass(frozen=True)
class Row:
    """A job, our time and that of each peer, in ms; a negative one was counted up from fewer pairs."""

    job: str
    ours: float
    limit: float | None
    peers: dict[str, float]


def reading(*, quick: bool) -> Row:
    import dendropy
    import skbio
    from Bio import Phylo

    text = grown(READ // (10 if quick else 1))
    ours = parse_newick(text)
    assert ours.n_tips == text.count(",") + 1
    runs = 3
    return Row(
        f"read Newick, {ours.n_tips:,} tips",
        best(lambda: parse_newick(text), 7),
        None,
        {
            "DendroPy": best(lambda: dendropy.Tree.get(data=text, schema="newick"), runs),
            "Biopython": best(lambda: Phylo.read(io.StringIO(text), "newick"), runs),
            "scikit-bio": best(lambda: skbio.TreeNode.read(io.StringIO(text)), runs),
        },
    )


def matrices(tips: int) -> Row:
    import dendropy
    import skbio

    text = grown(tips)
    tree, theirs = parse_newick(text), skbio.TreeNode.read(io.StringIO(text))
    found = theirs.cophenet()
    names = [name.replace(" ", "_") for name in found.ids]
    assert np.abs(tree.patristic_matrix(names) - found.data).max() < 1e-9
    peers = {"scikit-bio": best(theirs.cophenet, 3)}
    if tips <= 1000:
        old = dendropy.Tree.get(data=text, schema="newick")
        peers["DendroPy"] = best(old.phylogenetic_distance_matrix, 1)
    return Row(
        f"all pairs, {tips:,} tips", best(tree.patristic_matrix), best(lambda: np.full((tips, tips), 1.5)), peers
    )


def one_against_all(*, quick: bool) -> Row:
    import skbio

    text = grown(ONE // (10 if quick else 1))
    tree, theirs = parse_newick(text), skbio.TreeNode.read(io.StringIO(text))
    first, tips = tree.tips[0], list(tree.tips)
    few = [theirs.find(name.replace("_", " ")) for name in tips[1 : 1 + FEW]]
    start = theirs.find(first.replace("_", " "))
    assert abs(start.distance(few[0]) - tree.patristic(first, tips[1])) < 1e-9
    each = best(lambda: [start.distance(other) for other in few], 3) / FEW
    tree.patristic_from(first)
    height = np.random.default_rng(1).random(tree.n_tips)
    return Row(
        f"one against {tree.n_tips:,}",
        best(lambda: tree.patristic_from(first)),
        best(lambda: height + 1.0),
        {"scikit-bio": -each * tree.n_tips},
    )


def pairs(*, quick: bool) -> Row:
    import skbio

    text = grown(ONE // (10 if quick else 1))
    tree, theirs = parse_newick(text), skbio.TreeNode.read(io.StringIO(text))
    rng = np.random.default_rng(3)
    a, b = rng.integers(0, tree.n_tips, PAIRS), rng.integers(0, tree.n_tips, PAIRS)
    few = [
        (theirs.find(tree.tips[i].replace("_", " ")), theirs.find(tree.tips[j].replace("_", " ")))
        for i, j in zip(a[:FEW], b[:FEW], strict=True)
    ]
    each = best(lambda: [one.distance(other) for one, other in few], 3) / FEW
    height = tree.root_distance[tree.tip_nodes]
    tree._pairs(tree.root_distance, a[:2], b[:2])
    return Row(
        f"{PAIRS:,} pairs of {tree.n_tips:,}",
        best(lambda: tree._pairs(tree.root_distance, a, b)),
        best(lambda: height[a] + height[b]),
        {"scikit-bio": -each * PAIRS},
    )


def told(row: Row) -> str:
    limit = "" if row.limit is None else f"{row.limit:9.2f} ms, ours {row.ours / row.limit:5.1f} x"
    peers = "; ".join(
        f"{name} {'~' if peer < 0 else ''}{abs(peer):,.0f} ms = {abs(peer) / row.ours:,.1f} x"
        for name, peer in row.peers.items()
    )
    return f"| {row.job} | {row.ours:.2f} ms | {limit} | {peers} |"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    quick = parser.parse_args().quick
    print("| job | ours | limit | peers, and how many times longer they take |\n|---|---|---|---|")  # noqa: T201
    jobs: list[Callable[[], Row]] = [
        lambda: reading(quick=quick),
        *(lambda tips=tips: matrices(tips) for tips in ((1_000,) if quick else (1_000, 5_000))),
        lambda: one_against_all(quick=quick),
        lambda: pairs(quick=quick),
    ]
    for job in jobs:
        print(told(job()), flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
