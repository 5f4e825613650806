"""Print the figures that README.md gives of the trees and tables beside it: ``python trees/figures.py``."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

from crosscompat import read_tree
from crosscompat.traits import from_memory

HERE = Path(__file__).resolve().parent


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, delimiter="\t" if name.endswith(".tsv") else ","))


def of_traits(name: str) -> list[str]:
    """How many values, but for the words for a seed vessel, and how many of them are from memory."""
    sources = [
        cell
        for row in rows(name)
        for column, cell in row.items()
        if cell and column.endswith("_source") and column != "fruit_word_source"
    ]
    return [f"{sum(map(from_memory, sources)):,} of {len(sources):,} values are from memory"]


def of_echinocereus() -> list[str]:
    tree = read_tree(HERE / "echinocereus/tree.nwk", unit="My")
    height = tree.root_distance[tree.tip_nodes].max()
    return [f"{len(tree.tips)} species", f"{height:.2f} My from the root", *of_traits("echinocereus/traits.csv")]


def of_euphorbia() -> list[str]:
    tree = read_tree(HERE / "euphorbia/tree.nwk", unit="My")
    height = tree.root_distance[tree.tip_nodes].max()
    groups, listed, traits = rows("euphorbia/groups.tsv"), rows("euphorbia/species.tsv"), rows("euphorbia/traits.csv")
    sections = [row for row in groups if row["group"].startswith("sect. ") and len(row["group"].split()) == 2]  # noqa: PLR2004
    undated = [row for row in sections if row["group"] == "sect. Bokorenses"]
    guessed = sum(row["age_from"] == "halfway up its stem" for row in groups)
    crown = next(row["crown_age_My"] for row in groups if row["group"] == "subg. Esula")
    return [
        f"{len(tree.tips):,} spurges",
        f"{height:.2f} My from the root",
        f"{len(listed):,} names of the genus",
        f"{len(listed) - len(tree.tips)} of these",
        f"among {len(sections) - len(undated)} sections",
        f"one age for each of {len(groups) - guessed} groups",
        f"{guessed} groups of which",
        f"{float(crown):.1f} My here",
        f"{tree.patristic('Euphorbia mellifera', 'Euphorbia stygiana'):.2f} here",
        f"{len(traits) - len(tree.tips)} that NCBI Taxonomy places in no section",
        *of_traits("euphorbia/traits.csv"),
    ]


def main() -> None:
    for name, figures in (("echinocereus", of_echinocereus()), ("euphorbia", of_euphorbia())):
        sys.stdout.write(f"{name}: {'; '.join(figures)}\n")


if __name__ == "__main__":
    main()
