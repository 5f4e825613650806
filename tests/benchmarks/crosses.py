"""The published crosses that lie beside the project, one outcome a row."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from crosscompat import read_distances, read_tree
from crosscompat.phylogeny.table import DistanceTable


@dataclass(frozen=True, slots=True)
class CrossSet:
    """Crosses with 0 or 1 for each, what tells the distances, and the distance of each."""

    name: str
    crosses: pd.DataFrame
    relatives: object
    distance: np.ndarray

    @property
    def took(self):
        return self.crosses["took"].to_numpy()

    @property
    def groups(self):
        pairs = zip(self.crosses["seed_parent"], self.crosses["pollen_parent"], strict=True)
        return np.array([str(sorted(pair)) for pair in pairs])


def nicotiana(root):
    """Fruit set against that of the seed parent with its own kind."""
    table = pd.read_csv(root / "nicotiana" / "crosses.csv")
    took = table["outcome"] / table["conspecific_value_of_seed_parent"] >= 0.1
    return _on_a_tree("Nicotiana", root / "nicotiana", table["seed_parent"], table["pollen_parent"], took)


def drosophila(root):
    """Any postzygotic isolation short of complete; Nei's D, the first row of each pair."""
    table = pd.read_csv(root / "drosophila_yukilevich" / "crosses.csv")
    table = table[table["NeiD"].notna() & table["postzygotic_isolation"].notna()]
    keys = [str(sorted(pair)) for pair in zip(table["seed_parent"], table["pollen_parent"], strict=True)]
    table = table[~pd.Series(keys, index=table.index).duplicated()]
    return _on_a_table("Drosophila, postzygotic index < 1", table, table["postzygotic_isolation"] < 1)


def drosophila_mating(root):
    """Any mating between species, both ways round: more than 500 rows, to see that no harm is done there."""
    table = pd.read_csv(root / "drosophila_yukilevich" / "crosses.csv")
    table = table[table["NeiD"].notna() & table["outcome"].notna()]
    return _on_a_table("Drosophila, any mating", table, table["outcome"] > 0)


def schiedea_f1(root):
    """More than half of the F1 pollen viable, slides summed by mother and father."""
    folder = root / "schiedea"
    slides = pd.read_csv(folder / "f1_pollen_viability_slides.csv")
    tips = read_distances(folder / "distances.csv").tips
    slides = slides[slides["m"].isin(tips) & slides["d"].isin(tips) & (slides["m"] != slides["d"])]
    sums = slides.groupby(["m", "d"], sort=True)[["viable", "tot"]].sum().reset_index()
    return _on_a_tree(
        "Schiedea, F1 viability, directed", folder, sums["m"], sums["d"], sums["viable"] / sums["tot"] > 0.5
    )


def schiedea_binary(root):
    """Fertile F1, as tabled."""
    folder = root / "schiedea"
    table = pd.read_csv(folder / "f1_fertility_binary_undirected.csv")
    return _on_a_tree("Schiedea, binary F1 fertility", folder, table["sp1"], table["sp2"], table["g50"])


SETS = (nicotiana, drosophila, schiedea_f1, schiedea_binary)


def _crosses(seed, pollen, took):
    return pd.DataFrame(
        {
            "seed_parent": seed.to_numpy(object),
            "pollen_parent": pollen.to_numpy(object),
            "tried": 1,
            "took": np.asarray(took, dtype=int),
        }
    )


def _on_a_tree(name, folder: Path, seed, pollen, took):
    tree, known = read_tree(folder / "tree.nwk", unit="My"), read_distances(folder / "distances.csv")
    crosses = _crosses(seed, pollen, took)
    return CrossSet(name, crosses, tree, known.patristic_pairs(crosses["seed_parent"], crosses["pollen_parent"]))


def _on_a_table(name, table, took):
    """Keep the distances that the rows themselves give; all others are gaps."""
    crosses, distance = _crosses(table["seed_parent"], table["pollen_parent"], took), table["NeiD"].to_numpy(float)
    labels = tuple(sorted({*crosses["seed_parent"], *crosses["pollen_parent"]}))
    at = {label: i for i, label in enumerate(labels)}
    values = np.full((len(labels), len(labels)), np.nan)
    np.fill_diagonal(values, 0.0)
    for a, b, d in zip(crosses["seed_parent"], crosses["pollen_parent"], distance, strict=True):
        values[at[a], at[b]] = values[at[b], at[a]] = d
    return CrossSet(name, crosses, DistanceTable(labels, values), distance)
