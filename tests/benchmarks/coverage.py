"""Whether 90% intervals hold what they promise: ``python tests/benchmarks/coverage.py [GROWERS] [--worlds]``.

Invented growers are drawn from the prior; they write down what came up, or every count from flower to seedling. For
each, the chance of a flower of pairings that are not in the data is forecast; the interval must hold the true chance in
90 of 100, and the rank of the truth be uniform (Talts et al. 2018, arXiv 1804.06788). Standard errors are clustered by
grower, whose pairings share one fit. ``--worlds``: growers in worlds that the prior does not expect.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
from scipy.special import logit
from scipy.stats import norm

sys.path.insert(0, str(Path(__file__).parent))

from growers import SEEDS, WORLDS, invent

from crosscompat import TakeModel

SIZES = ((10, 15), (10, 40), (25, 120))
REACH = norm.ppf(0.95)


def ranks(grower):
    """Return the rank of the truth in the belief for pairings not in the data, from 0 to 1."""
    model = TakeModel(grower.table, seeds_per_pod=SEEDS.mean).fit(grower.crosses)
    found = model.forecast(grower.asked)
    low, high = (logit(np.clip(found[side], 1e-300, 1 - 1e-15)) for side in ("low", "high"))
    return norm.cdf(REACH * (2.0 * grower.truth - low - high) / np.maximum(high - low, 1e-9))


def coverage(species, crosses, growers, seed=1, **kind):
    """Return the share of intervals that hold the truth, its standard error, and the ranks."""
    rng = np.random.default_rng(seed)
    found = [ranks(invent(species, crosses, rng, **kind)) for _ in range(growers)]
    held = np.array([np.mean((rank > 0.05) & (rank < 0.95)) for rank in found])
    return held.mean(), held.std(ddof=1) / np.sqrt(growers), np.concatenate(found)


def report(name, species, crosses, growers, **kind):
    held, error, rank = coverage(species, crosses, growers, **kind)
    tenths = np.histogram(rank, 10, (0, 1))[0] / rank.size
    sys.stdout.write(
        f"{name}, {species} species, {crosses} crosses, {growers} growers: {held:.3f} of the 90% intervals hold "
        f"(standard error {error:.3f}); ranks by tenths {' '.join(f'{share:.3f}' for share in tenths)}\n"
    )
    sys.stdout.flush()


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("growers", type=int, nargs="?", default=200)
    parser.add_argument("--worlds", action="store_true")
    given = parser.parse_args()
    for staged, form in ((False, "taken or not"), (True, "every count")):
        if given.worlds:
            for world in WORLDS:
                report(f"{form}, {world}", *SIZES[0], given.growers, staged=staged, world=world)
        else:
            for species, crosses in SIZES:
                report(form, species, crosses, given.growers, staged=staged)


if __name__ == "__main__":
    main()
