"""Time the plan of a large nursery, in processor time: ``python tests/benchmarks/plans.py [PLANTS] [WISHES]``.

The nursery is invented: plants of all species of the carried tree of *Echinocereus*, and crosses wanted at random.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date
from time import process_time

import numpy as np

from crosscompat.advice.season import plan
from crosscompat.book import records
from crosscompat.book.crosses import Wanted
from crosscompat.book.current_plants import Plant, Plants
from crosscompat.book.store import open_store
from crosscompat.carried import tree_for_genus
from crosscompat.collection.opening import open_carried


def main():
    n_plants, n_wishes = (int(word) for word in (sys.argv[1:] + ["300", "640"][len(sys.argv) - 1 :]))
    tree, rng = open_carried(tree_for_genus("Echinocereus")), np.random.default_rng(1)
    names = [label.replace("_", " ") for label in tree.distances.tips]
    plants = [Plant(f"P{i}", names[i % len(names)], f"P{i}") for i in range(n_plants)]
    pairs = [rng.choice(len(names), 2, replace=False) for _ in range(n_wishes)]
    wanted = tuple(Wanted(names[a], names[b], int(rng.integers(1, 6)), row=i) for i, (a, b) in enumerate(pairs))
    nursery = replace(tree, plants=Plants.of(plants), wanted=wanted)
    store, solve = open_store("sqlite://"), plan.solve
    spent = []

    def timed(gain, *rest):
        begun = process_time()
        answer = solve(gain, *rest)
        spent.append((len(gain), process_time() - begun))
        return answer

    plan.solve = timed
    with store.writing("nursery") as pen:
        pen.add(*(records.Plant(name=plant.plant, received_as=plant.species) for plant in plants))
    with store.reading() as page:
        for _ in range(2):  # the second time names are known
            begun = process_time()
            made = plan.plan_season(nursery, page, date(2026, 4, 1))
            options, solved = spent[-1]
            whole = process_time() - begun
            said = f"{n_plants} plants, {n_wishes} wishes, {options} pairings: {whole:.2f} s, of which {solved:.2f} s"
            crosses = len(made.crosses)
            sys.stdout.write(f"{said} to choose {crosses} crosses; at most {made.gap:.3%} short of the best\n")


if __name__ == "__main__":
    main()
