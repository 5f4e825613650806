"""How long the fit of one stage takes: ``python tests/benchmarks/fit_speed.py [--no-peer] [CASE ...]``.

Invented growers (growers.py) with 1,000 crosses of 50 species, the same with 300 mothers and 300 fathers named, and
50,000 crosses of 300 species. Seconds of one processor and of the clock, of `fit_model` with the variances integrated.

Beside it, in the same run, the mixed logistic regression of statsmodels (`BinomialBayesMixedGLM.fit_map`) on the same
flowers. It is asked for less: for the effects of parents and plants alone, all unrelated, at their likeliest variances.
With pairs and crosses as effects too it does not end within minutes, and it may warn that it has not converged.
"""

from __future__ import annotations

import argparse
import os
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


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("cases", metavar="CASE", nargs="*", choices=[[], *CASES], help=", ".join(CASES))
    parser.add_argument("--no-peer", action="store_true")
    given = parser.parse_args()
    ours(*case(5, 10, 0))  # loads what is loaded once
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
