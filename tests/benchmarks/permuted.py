"""Whether no signal does harm: ``python tests/benchmarks/permuted.py ../shared/data/crosses [N]``.

Outcomes are shuffled N times (50 unless given) and held out as in ``skill.py``, one shuffle of the folds; the mean log
loss may exceed that of the base rate by 0.02.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from crosses import SETS, drosophila_mating
from skill import base_rate, crosscompat, held_out


def excess(data, permutations, seed=1000):
    """Return the log loss beyond that of the base rate, one number a permutation."""
    found = []
    for i in range(permutations):
        took = np.random.default_rng(seed + i).permutation(data.took)
        shuffled = replace(data, crosses=data.crosses.assign(took=took))
        found.append(held_out(shuffled, crosscompat, 1) - held_out(shuffled, base_rate, 1))
    return np.array(found)


def main():
    permutations = int(sys.argv[2]) if len(sys.argv) > 2 else 50
    for read in (*SETS, drosophila_mating):
        data = read(Path(sys.argv[1]))
        found = excess(data, permutations)
        error = found.std(ddof=1) / np.sqrt(permutations)
        sys.stdout.write(f"{data.name:36} {len(data.took)} rows: {found.mean():+.4f} (standard error {error:.4f})\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
