"""How long the fit of one stage takes: ``python tests/benchmarks/fit_speed.py [--no-peer] [--growth] [CASE ...]``.

Invented growers (growers.py) with 1,000 crosses of 50 species, the same with 300 mothers and 300 fathers named, and
50,000 crosses of 300 species. Seconds of one processor and of the clock, of `fit_model` with the variances integrated.

Beside it, in the same run, the mixed logistic regression of statsmodels (`BinomialBayesMixedGLM.fit_map`) on the same
flowers. It is asked for less: for the effects of parents and plants alone, all unrelated, at their likeliest variances.
With pairs and crosses as effects too it does not end within minutes, and it may warn that it has not converged.

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

from crosscompat.model.fitted import fit_model
from crosscompat.model.kinship import relatedness
from crosscompat.model.likelihood import Counts
from crosscompat.model.pairings import Parents
from crosscompat.pairing import Feature, Recipe

CASES = {
    "crosses": (50, 1000, 0),
    "plants": (50, 1000, 6),
    "many": (300, 50_000, 0),
}  # species, crosses, plants of each
GROWTH = {
    "records": ((300, 10_000), (300, 100_000), (300, 1_000_000)),
    "species": ((100, 50_000), (300, 50_000), (1000, 50_000), (2000, 50_000)),
    "asked": ((2000, 1_000_000),),
}  # species, crosses
PLANT_SD = 0.7


def case(species, crosses, plants, seed=1):
    """Return what `fit_model` takes."""
    rng = np.random.default_rng(seed)
    grower = invent(species, crosses, rng)
    names = np.array(grower.table.tips, dtype=object)
    took, named = grower.took, ()
    if plants:
        at = rng.integers(0, plants, (2, crosses))
        own = PLANT_SD * rng.normal(size=(2, species, plants))
        logit = grower.logit[grower.seed, grower.pollen] + own[0][grower.seed, at[0]] + own[1][grower.pollen, at[1]]
        logit += grower.fate * rng.normal(size=crosses)
        took = rng.binomial(grower.tried, 1 / (1 + np.exp(-logit)))
        sides = zip((grower.seed, grower.pollen), at, strict=True)
        named = [[f"{names[s]} {i}" for s, i in zip(side, number, strict=True)] for side, number in sides]
    parents = Parents(list(names[grower.seed]), list(names[grower.pollen]), *named)
    distance = grower.table.patristic_pairs(parents.seed, parents.pollen)
    recipe = Recipe((Feature("distance"),), float(distance.max()))
    related = relatedness(grower.table, sorted({*parents.seed, *parents.pollen}))
    return recipe, (distance / distance.max())[:, None], Counts.of(grower.tried, took), parents, related


def ours(recipe, rows, counts, parents, related):
    fit_model(recipe, rows, counts, parents=parents, related=related)


def peer(recipe, rows, counts, parents, related):
    """Fit statsmodels' model to single flowers."""
    from scipy import sparse
    from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

    tried, took = counts.tried.astype(int), counts.took.astype(int)
    record = np.repeat(np.arange(tried.size), tried)
    flower = np.arange(record.size) - np.repeat(np.cumsum(tried) - tried, tried)
    blocks, kinds = [], []
    for kind, side in enumerate((parents.seed, parents.pollen, parents.seed_plants, parents.pollen_plants)):
        if len(side):
            level = np.unique(np.array(side, dtype=str), return_inverse=True)[1][record]
            blocks.append(sparse.csr_matrix((np.ones(record.size), (np.arange(record.size), level))))
            kinds += [kind] * blocks[-1].shape[1]
    design = np.column_stack([np.ones(len(rows)), rows])[record]
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
    data = case(species, crosses, 0)
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
    ours(*case(5, 10, 0))  # loads what is loaded once
    if given.measure:
        measured(*given.measure)
        return
    for name in given.cases or CASES:
        species, crosses, plants = CASES[name]
        data = case(*CASES[name])
        told = f"{crosses:,} crosses of {species} species" + (f", {plants} plants of each named" if plants else "")
        for who, fit in (("crosscompat", ours), ("statsmodels", peer))[: 1 if given.no_peer else 2]:
            processor, clock = seconds(fit, data)
            sys.stdout.write(f"{told:56}{who}  processor {processor:6.2f} s  clock {clock:6.2f} s\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
