"""How long very many forecasts take: ``python tests/benchmarks/pairings.py [--species N]``.

An invented grower has made 300 crosses of 30 species of a random tree, told stage by stage, and has learned from them.
Every directed pairing among N species (1,000: a million) is forecast, mean and 90% interval, 25 seed parents at a time.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
import pandas as pd
from growers import SEEDS, counts_by_stage
from scipy.special import expit

from crosscompat import TakeModel
from crosscompat.phylogeny.newick import parse_newick
from trees import grown

GROWN, CROSSES, FLOWERS = 30, 300, 4
ROWS = 25


def learned(species):
    """Return a model of a random tree that has learned from invented crosses of some of its species."""
    rng = np.random.default_rng(5)
    tree = parse_newick(grown(species))
    stock = np.array(tree.tips, dtype=object)[rng.choice(species, GROWN, replace=False)]
    seed, pollen = np.argwhere(~np.eye(GROWN, dtype=bool))[rng.choice(GROWN * (GROWN - 1), CROSSES)].T
    near = np.exp(-tree.patristic_pairs(list(stock[seed]), list(stock[pollen])) / 10)
    own = rng.normal(0.0, 0.7, (2, 4, GROWN))
    logits = 4.0 * near - 1.0 + own[0][:, seed] + own[1][:, pollen] + rng.normal(0.0, 0.9, (4, CROSSES))
    counts = counts_by_stage(rng.integers(4, 13, CROSSES), expit(logits), rng)
    crosses = pd.DataFrame({"seed_parent": stock[seed], "pollen_parent": stock[pollen], **counts})
    return TakeModel(tree, seeds_per_pod=SEEDS.mean).fit(crosses)


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--species", type=int, default=1000)
    given = options.parse_args()
    started = time.perf_counter()
    model = learned(given.species)
    ready, tips = time.perf_counter() - started, np.array(model.distances.tips, dtype=object)
    started, used = time.perf_counter(), time.process_time()
    for begin in range(0, len(tips), ROWS):
        seed = tips[begin : begin + ROWS]
        pairs = pd.DataFrame({"seed_parent": np.repeat(seed, len(tips)), "pollen_parent": np.tile(tips, len(seed))})
        model.forecast(pairs, FLOWERS)
    took, used = time.perf_counter() - started, time.process_time() - used
    sys.stdout.write(
        f"{len(tips) ** 2:,} pairings with intervals: {took:.1f} s ({used:.1f} s of processor), after {ready:.1f} s to "
        f"learn; most memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20:.2f} GB\n"
    )


if __name__ == "__main__":
    main()
