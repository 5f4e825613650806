"""Whether 90% intervals hold what they promise: ``python tests/benchmarks/coverage.py [GROWERS]``.

Invented growers are drawn from the prior. For each, the chance of a flower of pairings that are not in the data is
forecast; the interval must hold the true chance in 90 of 100, and the rank of the truth be uniform (Talts et al. 2018,
arXiv 1804.06788). Standard errors are clustered by grower, whose pairings share one fit. The coefficient of distance is
shown beside them.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import norm

sys.path.insert(0, str(Path(__file__).parent))

from growers import invent

from crosscompat import TakeModel
from crosscompat.model.forecast import logits
from crosscompat.model.pairings import Parents, pairings_of

SIZES = ((10, 15), (10, 40), (25, 120))
ASKED = 20


def ranks(grower, rng):
    """Return the rank of the truth in the belief for pairings not in the data, from 0 to 1."""
    names = np.array(grower.table.tips, dtype=object)
    crosses = pd.DataFrame(
        {
            "seed_parent": names[grower.seed],
            "pollen_parent": names[grower.pollen],
            "tried": grower.tried,
            "took": grower.took,
        }
    )
    model = TakeModel(grower.table).fit(crosses)
    new = ~np.eye(len(names), dtype=bool)
    new[grower.seed, grower.pollen] = False
    seed, pollen = np.nonzero(new)
    pick = rng.choice(seed.size, min(ASKED, seed.size), replace=False)
    seed, pollen = seed[pick], pollen[pick]
    truth = grower.logit[seed, pollen] + grower.fate * rng.normal(size=pick.size)
    fitted, parents = model.fitted_, Parents(list(names[seed]), list(names[pollen]))
    rows = grower.table.patristic_pairs(parents.seed, parents.pollen)[:, None] / fitted.recipe.reference
    belief = logits(fitted, rows, pairings_of(fitted.seen, grower.table, parents))
    return norm.cdf((truth - belief.mean) / belief.sd)


def coverage(species, crosses, growers, seed=1):
    """Return the share of intervals that hold the truth, its standard error, and the ranks."""
    rng = np.random.default_rng(seed)
    found = [ranks(invent(species, crosses, rng), rng) for _ in range(growers)]
    held = np.array([np.mean((rank > 0.05) & (rank < 0.95)) for rank in found])
    return held.mean(), held.std(ddof=1) / np.sqrt(growers), np.concatenate(found)


def main():
    growers = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    for species, crosses in SIZES:
        held, error, rank = coverage(species, crosses, growers)
        tenths = np.histogram(rank, 10, (0, 1))[0] / rank.size
        sys.stdout.write(
            f"{species} species, {crosses} crosses, {growers} growers: {held:.3f} of the 90% intervals hold "
            f"(standard error {error:.3f}); ranks by tenths {' '.join(f'{share:.3f}' for share in tenths)}\n"
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
