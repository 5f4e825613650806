"""Write tree.nwk from the node ages beside it: a branch is the age of its older node less that of its younger.

Run it as ``python trees/echinocereus/make.py``; it writes the same file every time.
"""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path

HERE = Path(__file__).resolve().parent
NODES = HERE / "nodes.tsv"
NEWICK = HERE / "tree.nwk"
GENUS = "Echinocereus"
TODAY = Decimal("0.00")


def read_nodes(path: Path) -> list[tuple[Decimal, tuple[str, ...]]]:
    """Age in My and species of each node, younger nodes before the older ones that hold them."""
    with path.open(encoding="utf-8", newline="") as lines:
        return [
            (Decimal(row["node_age_My"]), tuple(row["species_under_the_node"].split()))
            for row in csv.DictReader(lines, delimiter="\t")
        ]


def newick(nodes: list[tuple[Decimal, tuple[str, ...]]]) -> str:
    """Return the rooted tree whose last node is the root, lengths to two decimals."""
    standing: dict[str, tuple[Decimal, str]] = {}
    for age, species in nodes:
        for name in species:
            standing.setdefault(name, (TODAY, f"{GENUS}_{name}"))
        children = list(dict.fromkeys(standing[name] for name in species))
        inside = ",".join(f"{text}:{age - younger}" for younger, text in children)
        standing |= dict.fromkeys(species, (age, f"({inside})"))
    roots = set(standing.values())
    if len(roots) != 1:
        raise ValueError(f"the last node should hold every species; {len(roots)} separate pieces are left")
    return f"[&R] {roots.pop()[1]};\n"


def main() -> None:
    NEWICK.write_text(newick(read_nodes(NODES)), encoding="utf-8", newline="\n")
    print(f"wrote {NEWICK.name}")


if __name__ == "__main__":
    main()
