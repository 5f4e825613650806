"""How long very many forecasts take: ``python tests/benchmarks/pairings.py [--species N] [--parts K]``.

An invented grower has made 300 crosses of 30 species of a random tree, told stage by stage, and has learned from them.

- A million directed pairings among 1,000 species: mean and 90% interval of each, from four flowers, on all processors;
  held against what asking about a few hundred of them says.
- The best 1,000 of all directed pairings of a tree of N species (74,000): some parts of the search are run on all
  processors, and the rest is counted up from the pace of the last of them, with the peak of the memory.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import resource
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
from scipy.special import expit

from crosscompat.advice.basis import asked_of
from crosscompat.advice.learn import learn
from crosscompat.advice.search import Best, search_of
from crosscompat.book.crosses import Cross
from crosscompat.book.current_plants import Plants
from crosscompat.collection.opening import Collection
from crosscompat.collection.settings import Settings
from crosscompat.model.forecast import Logits
from crosscompat.model.outlook import Outlook, pods_differ, seedling_chances
from crosscompat.model.pairings import Parents
from crosscompat.phylogeny.newick import parse_newick
from trees import grown

FLOWERS, GROWN, CROSSES = 4, 30, 300
HANDS = os.cpu_count() or 1


def collection(species):
    """A random tree, and a grower who has learned from invented crosses of some of its species."""
    rng = np.random.default_rng(5)
    tree = parse_newick(grown(species))
    stock = [tree.tips[i] for i in rng.choice(species, GROWN, replace=False)]
    own = rng.normal(0.0, 0.7, (2, 4, GROWN))
    crosses = []
    for i in range(CROSSES):
        seed, pollen = rng.choice(GROWN, 2, replace=False)
        near = np.exp(-tree.patristic(stock[seed], stock[pollen]) / 10)
        fate = rng.normal(0.0, 0.9, 4)
        set_, hold, fill, germinate = expit(4.0 * near - 1.0 + own[0, :, seed] + own[1, :, pollen] + fate)
        flowers = int(rng.integers(4, 13))
        pods = int(rng.binomial(flowers, set_))
        ripe = int(rng.binomial(pods, hold))
        seeds = int(rng.poisson(20, ripe).sum())
        good = int(rng.binomial(seeds, fill))
        day = date(2015, 4, 1) + timedelta(days=int(rng.integers(0, 3000)))
        told = {"pods_set": pods, "pods_held": ripe, "seeds": seeds, "seeds_filled": good, "seeds_sown": good}
        told["seedlings"] = int(rng.binomial(good, germinate))
        crosses.append(Cross(day, stock[seed], stock[pollen], cross=f"x{i}", units=flowers, **told))
    made = Collection(None, Settings(), tree, "random", None, Plants.of([]), tuple(crosses))
    return replace(made, saved=learn(made, as_of=date(2026, 11, 1))[1])


def told(text):
    print(text, flush=True)  # noqa: T201


def shared_out(function, jobs):
    with ThreadPoolExecutor(HANDS) as pool:
        return list(pool.map(function, jobs))


def a_million():
    made = collection(1000)
    started = time.perf_counter()
    search = search_of(made, flowers=FLOWERS)
    ready = time.perf_counter() - started
    tips, model = search.species, search.model
    pod_sd = pods_differ(model)

    def forecast(rows):
        distance = np.stack([made.distances.patristic_from(tip) for tip in tips[rows]])
        tile = search.ready.tile(rows, slice(0, len(tips)), distance)
        search.crossed.put_into(tile, rows, slice(0, len(tips)))
        stages = tuple(Logits(*side) for side in zip(tile.mean.reshape(4, -1), tile.sd.reshape(4, -1), strict=True))
        return seedling_chances(Outlook(stages, model.seeds, pod_sd), FLOWERS)

    parts = [slice(begin, begin + 25) for begin in range(0, len(tips), 25)]
    started, used = time.perf_counter(), time.process_time()
    found = shared_out(forecast, parts)
    took, used = time.perf_counter() - started, time.process_time() - used
    told(
        f"a million pairings with intervals: {took:.2f} s on {HANDS} processors ({used:.2f} s of them), "
        f"after {ready:.2f} s to make ready"
    )
    many = [np.concatenate([getattr(part, key) for part in found]) for key in ("mean", "low", "high")]
    rng = np.random.default_rng(1)
    at = rng.choice(len(tips) ** 2, 600, replace=False)
    seed, pollen = np.divmod(at, len(tips))
    at, seed, pollen = (side[seed != pollen] for side in (at, seed, pollen))
    asked = asked_of(made, model, Parents([tips[i] for i in seed], [tips[i] for i in pollen])).outlook
    answer = seedling_chances(asked, FLOWERS)
    off = [np.abs(one[at] - getattr(answer, key)).max() for one, key in zip(many, ("mean", "low", "high"), strict=True)]
    told("  furthest from asking one by one (mean, low, high): " + ", ".join(f"{x:.1e}" for x in off))
    sds = np.array([stage.sd for stage in asked.stages])
    told(f"  the stages are known to {sds.min():.2f} to {sds.max():.2f} logits")


def everything(species, count):
    made = collection(species)
    started = time.perf_counter()
    search = search_of(made, flowers=FLOWERS, most=1000)
    told(f"{species:,} species: ready in {time.perf_counter() - started:.1f} s; {search.pairings:,} pairings")
    best, size = Best(search.most), len(search.species)
    rows = search.parts[:: max(1, len(search.parts) // count)][:count]
    for begin in range(0, len(rows), 2 * HANDS):
        started, used = time.perf_counter(), time.process_time()
        some = rows[begin : begin + 2 * HANDS]
        for found in shared_out(lambda part: search.among(part, best.floor), some):
            best.take(found)
        pairs = sum(part.stop - part.start for part in some) * size
        pace = (time.perf_counter() - started) / pairs
        told(
            f"  {pairs:,} pairings: {1e9 * pace:.0f} ns each ({1e9 * (time.process_time() - used) / pairs:.0f} ns of "
            f"processor); least of the best {best.floor:.3f}",
        )
    told(f"  at that pace all of them take {pace * search.pairings / 60:.0f} minutes")
    told(f"  and 350,000 species {pace * 350_000**2 / 3600:.1f} hours; most memory so far {_peak():.2f} GB")


def _peak():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--species", type=int, default=74_000)
    options.add_argument("--parts", type=int, default=24)
    given = options.parse_args()
    a_million()
    everything(given.species, given.parts)


if __name__ == "__main__":
    main()
