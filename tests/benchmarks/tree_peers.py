"""What the general libraries are asked to do in `trees.py`, each in its own words."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import dendropy
import numpy as np
import pandas as pd
import skbio
from Bio import Phylo
from dendropy.calculate import treemeasure

__all__ = ["READERS", "WRITERS", "pair_distance", "readers_of_tables"]

READERS: dict[str, Callable[[str], Any]] = {
    "DendroPy": lambda text: dendropy.Tree.get(data=text, schema="newick", preserve_underscores=True),
    "Biopython": lambda text: Phylo.read(io.StringIO(text), "newick"),
    "scikit-bio": lambda text: skbio.TreeNode.read(io.StringIO(text), convert_underscores=False),
}


def pair_distance(library: str, tree: Any, names: list[str]) -> Callable[[int, int], float]:
    """Return what tells the distance of two of some tips, found beforehand, from the library's own interface."""
    if library == "scikit-bio":
        nodes = [tree.find(name) for name in names]
        return lambda a, b: nodes[a].distance(nodes[b])
    if library == "DendroPy":
        tree.is_rooted = True
        taxa = {taxon.label: taxon for taxon in tree.taxon_namespace}
        return lambda a, b: treemeasure.patristic_distance(tree, taxa[names[a]], taxa[names[b]])
    return lambda a, b: tree.distance(names[a], names[b])


def readers_of_tables(path: Path) -> dict[str, Callable[[], Any]]:
    """Return what reads a CSV of pairs."""
    found: dict[str, Callable[[], Any]] = {"csv": lambda: _by_csv(path), "pandas": lambda: pd.read_csv(path)}
    if find_spec("pyarrow"):
        import pyarrow as pa
        from pyarrow.csv import ReadOptions, read_csv

        pa.set_cpu_count(1)
        found["pyarrow"] = lambda: read_csv(path, read_options=ReadOptions(use_threads=False))
    if find_spec("polars"):
        import polars as pl

        found["polars"] = lambda: pl.read_csv(path)
    return found


def _by_csv(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def _with_pandas(table: Any, apart: np.ndarray, path: Path) -> None:
    table.assign(distance=apart).to_csv(path, index=False)


def _with_pyarrow(table: Any, apart: np.ndarray, path: Path) -> None:
    import pyarrow as pa
    from pyarrow.csv import write_csv

    write_csv(table.append_column("distance", pa.array(apart)), path)


def _with_polars(table: Any, apart: np.ndarray, path: Path) -> None:
    import polars as pl

    table.with_columns(pl.Series("distance", apart)).write_csv(path)


def _with_csv(table: Any, apart: np.ndarray, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([*row, value] for row, value in zip(table[1:], apart.tolist(), strict=True))


WRITERS: dict[str, Callable[[Any, np.ndarray, Path], None]] = {
    "csv": _with_csv,
    "pandas": _with_pandas,
    "pyarrow": _with_pyarrow,
    "polars": _with_polars,
}
