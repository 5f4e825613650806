from __future__ import annotations

import random
from dataclasses import dataclass, field

import pytest


@dataclass
class NaiveTree:
    """A tree as a dictionary of parents, with distances by walking: slow and plain."""

    parent: dict[int, int] = field(default_factory=dict)
    length: dict[int, float] = field(default_factory=dict)
    label: dict[int, str] = field(default_factory=dict)
    tips: list[int] = field(default_factory=list)

    def children(self, node):
        return [child for child, above in self.parent.items() if above == node]

    def path(self, node):
        way = [node]
        while way[-1] in self.parent:
            way.append(self.parent[way[-1]])
        return way

    def between(self, a, b):
        """The nodes that have just one of two tips below, whose branches are the path, and where the two meet."""
        up, down = self.path(a), self.path(b)
        meet = next(node for node in up if node in down)
        return up[: up.index(meet)] + down[: down.index(meet)], meet

    def patristic(self, a, b):
        return sum(self.length[node] for node in self.between(a, b)[0])

    def nodes_between(self, a, b):
        return max(0, len(self.between(a, b)[0]) - 1)

    def newick(self, rng=None, precision=".9g"):
        """Write the tree; with ``rng`` the children in any order."""
        by_parent = {}
        for child, above in self.parent.items():
            by_parent.setdefault(above, []).append(child)

        def text(node):
            below = list(by_parent.get(node, []))
            if rng:
                rng.shuffle(below)
            inside = "(" + ",".join(text(child) for child in below) + ")" if below else ""
            length = f":{self.length[node]:{precision}}" if node in self.length else ""
            return inside + self.label.get(node, "") + length

        root = next(iter(set(self.parent.values()) - set(self.parent)))
        return text(root) + ";"


def grow(seed, n, *, negative=False, single=True, names=True, polytomies=True):
    """Grow a random tree of n tips by joining what is there."""
    rng = random.Random(seed)
    tree = NaiveTree()
    free = list(range(n))
    tree.tips = list(free)
    tree.label = {tip: f"Genus_species{tip}" for tip in free}
    number = n
    while len(free) > 1 or number == n:
        size = 1 if single and rng.random() < 0.1 else rng.choice([2, 2, 2, 3, 5] if polytomies else [2])
        size = min(size, len(free))
        for child in rng.sample(free, size):
            tree.parent[child] = number
            tree.length[child] = round(rng.uniform(-1 if negative else 0, 5), 6)
            free.remove(child)
        if names and rng.random() < 0.2:
            tree.label[number] = f"clade{number}"
        free.append(number)
        number += 1
    return tree


@pytest.fixture(name="grow", scope="session")
def grow_fixture():
    return grow


@pytest.fixture(scope="session")
def comb():
    """Write a ladder tree of so many levels, every branch 1."""

    def write(levels):
        return "(" * levels + "t0:1" + "".join(f",t{i}:1):1" for i in range(1, levels + 1))[:-2] + ";"

    return write
