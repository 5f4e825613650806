"""How long a fit takes: ``python tests/benchmarks/fit_speed.py [--no-peer] [--growth] [CASE ...]``.

Invented growers (growers.py) with 1,000 crosses of 50 species, who wrote down what came up, or every count from
flower to seedling (four stages), and with 50,000 crosses of 300 species. Seconds of one processor and of the clock, of
`TakeModel.fit`: reading the table, distances, kinship, and the fit with the variances integrated.

Beside it, in the same run, the mixed logistic regression of statsmodels (`BinomialBayesMixedGLM.fit_map`) on the same
flowers. It is asked for less: for the effects of parents and plants of one stage alone, all unrelated, at their
likeliest variances. With pairs and crosses as effects too it does not end within minutes, and it may warn that it has
not converged.

``--growth`` instead tells how time and memory grow: over records and over species, with the slopes on the log scale,
and 1,000,000 records of 2,000 species. Each case has a process of its own; memory is the most that it held beyond what
it held before the fit.
"""

from __future__ import annotations

import argparse
import itertools
import os
import resource
import subprocess
import sys
import time
import warnings
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from growers import invent

from crosscompat import TakeModel

CASES = {
    "taken": (50, 1000, False),
    "stages": (50, 1000, True),
    "many": (300, 50_000, False),
}  # species, crosses, whether every count was written down
GROWTH = {
    "records": ((300, 10_000), (300, 100_000), (300, 1_000_000)),
    "species": ((100, 50_000), (300, 50_000), (1000, 50_000), (2000, 50_000)),
    "asked": ((2000, 1_000_000),),
}  # species, crosses


def case(species, crosses, staged, seed=1):
    """Return what a grower has to learn from."""
    grower = invent(species, crosses, np.random.default_rng(seed), staged=staged)
    return grower.table, grower.crosses


def ours(table, crosses):
    TakeModel(table).fit(crosses)


def peer(table, crosses):
    """Fit statsmodels' model to single flowers."""
    from scipy import sparse
    from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

    tried, took = (crosses[column].to_numpy(int) for column in ("tried", "took"))
    record = np.repeat(np.arange(tried.size), tried)
    flower = np.arange(record.size) - np.repeat(np.cumsum(tried) - tried, tried)
    blocks, kinds = [], []
    for kind, side in enumerate(("seed_parent", "pollen_parent", "seed_plant", "pollen_plant")):
        level = np.unique(crosses[side].to_numpy(str), return_inverse=True)[1][record]
        blocks.append(sparse.csr_matrix((np.ones(record.size), (np.arange(record.size), level))))
        kinds += [kind] * blocks[-1].shape[1]
    distance = table.patristic_pairs(crosses["seed_parent"], crosses["pollen_parent"])
    design = np.column_stack([np.ones(len(distance)), distance / distance.max()])[record]
    model = BinomialBayesMixedGLM(
        (flower < took[record]).astype(float), design, sparse.hstack(blocks).tocsr(), np.array(kinds), vcp_p=1.0
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model.fit_map()


def seconds(fit, given):
    """Return seconds of one processor and of the clock."""
    clock, processor = time.perf_counter(), time.process_time()
    fit(*given)
    return time.process_time() - processor, time.perf_counter() - clock


def held():
    """Return the most memory that this process has held so far, in megabytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measured(species, crosses):
    """Print seconds of processor and clock, and megabytes, of one fit; what `grown` reads."""
    data = case(species, crosses, staged=False)
    before = held()
    sys.stdout.write(" ".join(map(str, (*seconds(ours, data), held() - before))) + "\n")


def grown(kind):
    """Print how a fit grows over one of ``GROWTH``."""
    found = []
    for species, crosses in GROWTH[kind]:
        command = [sys.executable, __file__, "--measure", str(species), str(crosses)]
        told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        processor, clock, memory = map(float, told.split())
        found.append((crosses if kind == "records" else species, processor, memory))
        sys.stdout.write(
            f"{crosses:9,} crosses of {species:5,} species  processor {processor:7.2f} s  clock {clock:7.2f} s  "
            f"memory {memory:6.0f} MB\n"
        )
        sys.stdout.flush()
    size, *cost = np.log(found).T
    for (name, values), at in itertools.product(zip(("processor", "memory"), cost, strict=True), range(1, size.size)):
        slope = (values[at] - values[at - 1]) / (size[at] - size[at - 1])
        sys.stdout.write(f"  {name} grows as {kind} ^ {slope:.2f} from {found[at - 1][0]:,} to {found[at][0]:,}\n")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("cases", metavar="CASE", nargs="*", choices=[[], *CASES], help=", ".join(CASES))
    parser.add_argument("--no-peer", action="store_true")
    parser.add_argument("--growth", nargs="*", choices=[[], *GROWTH], help="instead: " + ", ".join(GROWTH))
    parser.add_argument("--measure", nargs=2, type=int, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.growth is not None:
        for kind in given.growth or GROWTH:
            grown(kind)
        return
    ours(*case(5, 10, staged=False))  # loads what is loaded once
    if given.measure:
        measured(*given.measure)
        return
    for name in given.cases or CASES:
        species, crosses, staged = CASES[name]
        data = case(species, crosses, staged)
        told = f"{crosses:,} crosses of {species} species" + (", four stages" if staged else "")
        for who, fit in (("crosscompat", ours), ("statsmodels", peer))[: 1 if given.no_peer or staged else 2]:
            processor, clock = seconds(fit, data)
            sys.stdout.write(f"{told:56}{who}  processor {processor:6.2f} s  clock {clock:6.2f} s\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
