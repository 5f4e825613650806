"""The published crosses that lie beside the project, one outcome a row."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from crosscompat import read_distances, read_tree
from crosscompat.phylogeny.distances import DistanceTable


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

    @property
    def genera(self):
        return np.array([name.split("_")[0] for name in self.crosses["seed_parent"]])

    def rows(self, which):
        """Return the set with some of its rows only."""
        return replace(self, crosses=self.crosses[which].reset_index(drop=True), distance=self.distance[which])


def nicotiana(root):
    """Fruit set against that of the seed parent with its own kind."""
    table = pd.read_csv(root / "nicotiana" / "crosses.csv")
    took = table["outcome"] / table["conspecific_value_of_seed_parent"] >= 0.1
    return _on_a_tree("Nicotiana", root / "nicotiana", table["seed_parent"], table["pollen_parent"], took, unit="My")


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
    took = sums["viable"] / sums["tot"] > 0.5
    return _on_a_tree("Schiedea, F1 viability, directed", folder, sums["m"], sums["d"], took, unit=PER_SITE)


def schiedea_binary(root):
    """Fertile F1, as tabled."""
    folder = root / "schiedea"
    table = pd.read_csv(folder / "f1_fertility_binary_undirected.csv")
    return _on_a_tree("Schiedea, binary F1 fertility", folder, table["sp1"], table["sp2"], table["g50"], unit=PER_SITE)


def published_genera(root):
    """A tenth of what the seed parent sets with its own kind, in 39 genera on one tree."""
    table = pd.read_csv(root / "published_genera" / "crosses.csv")
    table = table[table["patristic_Myr"].notna()]
    return _on_a_dated_tree("Published genera", root / "published_genera", table, table["relative_success"] >= 0.1)


def british_flora(root):
    """A hybrid on record from the wild, in 130 genera on one tree."""
    table = pd.read_csv(root / "british_flora" / "crosses.csv")
    return _on_a_dated_tree("British flora", root / "british_flora", table, table["outcome"])


def by_genus(data):
    """Return a set of its own for each genus, on a table of the distances within it."""
    tips = np.array(data.relatives.tips, dtype=object)
    genus_of = np.array([tip.split("_")[0] for tip in tips])
    found = {}
    for genus in np.unique(data.genera):
        labels = tuple(tips[genus_of == genus])
        matrix = np.maximum(data.relatives.patristic_matrix(list(labels)), 0.0)
        table = DistanceTable(labels, 0.5 * (matrix + matrix.T), unit=data.relatives.unit)
        found[genus] = replace(data.rows(data.genera == genus), name=genus, relatives=table)
    return found


SETS = (nicotiana, schiedea_binary, schiedea_f1, drosophila)
PER_SITE = "substitutions per site"


def _crosses(seed, pollen, took):
    return pd.DataFrame(
        {
            "seed_parent": seed.to_numpy(object),
            "pollen_parent": pollen.to_numpy(object),
            "tried": 1,
            "took": np.asarray(took, dtype=int),
        }
    )


def _on_a_dated_tree(name, folder: Path, table, took):
    crosses = _crosses(table["seed_parent"], table["pollen_parent"], took)
    return CrossSet(name, crosses, read_tree(folder / "tree.nwk", unit="My"), table["patristic_Myr"].to_numpy(float))


def _on_a_tree(name, folder: Path, seed, pollen, took, unit):
    tree, known = read_tree(folder / "tree.nwk", unit=unit), read_distances(folder / "distances.csv")
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
