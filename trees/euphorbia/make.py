"""Write tree.nwk from the groups, their ages and their species in the tables beside it.

A group stands at its crown age, its species hang on it in one polytomy, and a branch is the age of its older end less
that of its younger one. Run it as ``python trees/euphorbia/make.py``; it writes the same file every time.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

HERE = Path(__file__).resolve().parent
GROUPS = HERE / "groups.tsv"
SPECIES = HERE / "species.tsv"
NEWICK = HERE / "tree.nwk"
TODAY = Decimal("0.00")
RANKS = ("subg.", "sect.", "subsect.", "ser.")
UNDETERMINED = {"aff.", "cf.", "sp.", "x"}
BINOMIAL = 2


@dataclass(frozen=True, slots=True)
class Group:
    """A row of the table of groups; without a parent it is the genus."""

    name: str
    parent: str
    age: Decimal

    @property
    def label(self) -> str:
        """What stands in the tree: ranks and the genus are named, all other nodes are not."""
        named = not self.parent or (self.name.split()[0] in RANKS and len(self.name.split()) == BINOMIAL)
        return self.name.replace(" ", "_") if named else ""


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines, delimiter="\t"))


def read_groups(path: Path) -> list[Group]:
    return [Group(row["group"], row["parent"], Decimal(row["crown_age_My"])) for row in rows(path)]


def read_species(path: Path) -> list[tuple[str, str]]:
    """Name and group of every species; samples that nobody has determined, and hybrids, are no tips."""
    pairs = ((row["species"], row["group"]) for row in rows(path))
    return [(name, group) for name, group in pairs if not UNDETERMINED & set(name.split())]


def newick(groups: list[Group], species: list[tuple[str, str]]) -> str:
    """Return the rooted tree, groups in the order of their table and then species, lengths to two decimals."""
    inside: defaultdict[str, list[tuple[Decimal, str]]] = defaultdict(list)
    for name, group in sorted(species):
        inside[group].append((TODAY, name.replace(" ", "_")))
    known = {group.name: group for group in groups}
    if strangers := [name for name in inside if name not in known]:
        raise ValueError(f"species stand in groups that are not listed: {', '.join(strangers)}")
    for group in reversed(groups):
        children = inside.pop(group.name, [])
        if not children or any(age > group.age for age, _ in children):
            raise ValueError(f"{group.name} must hold something, and nothing older than itself")
        text = f"({','.join(f'{child}:{group.age - age}' for age, child in children)}){group.label}"
        inside[group.parent].insert(0, (group.age, text))
    roots = inside.pop("", [])
    if inside or len(roots) != 1:
        raise ValueError("the groups make more than one tree, or stand before the groups that hold them")
    return f"[&R] {roots[0][1]};\n"


def main() -> None:
    NEWICK.write_text(newick(read_groups(GROUPS), read_species(SPECIES)), encoding="utf-8", newline="\n")
    print(f"wrote {NEWICK.name}")


if __name__ == "__main__":
    main()
