"""Where every node of a tree goes in a picture: numbers only, no ink."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crosscompat.phylogeny.tree import Phylogeny

    Drawable: TypeAlias = "Phylogeny | Branches"

__all__ = ["Branches", "TreeLayout", "children_of", "lay_out", "nice_step", "prune"]


@dataclass(frozen=True, slots=True, eq=False)
class Branches:
    """The bare branches of a tree, in postorder, the root last and its own parent -1.

    Attributes
    ----------
    parent, length : ndarray, shape (n,)
    labels : tuple of str
    unit : str or None
        Of the lengths; None where nobody said which.
    """

    parent: NDArray[np.int64]
    length: NDArray[np.float64]
    labels: tuple[str, ...]
    unit: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class TreeLayout:
    """Every node's place.

    Attributes
    ----------
    x : ndarray of float64, shape (n,)
        Distance from the root in the tree's unit, the leftmost node at 0; levels where not ``to_scale``.
    y : ndarray of float64, shape (n,)
        Row: the tips at 0, 1, 2 …, an inner node half-way between its first and its last child.
    tips : tuple of int
        Nodes of the tips, from row 0 down.
    to_scale : bool
        Whether ``x`` are branch lengths.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    tips: tuple[int, ...]
    to_scale: bool


def children_of(parent: NDArray[np.int64]) -> list[list[int]]:
    """Return the children of every node, in the order of the array.

    Examples
    --------
    >>> children_of(np.array([2, 2, -1]))
    [[], [], [0, 1]]
    """
    children: list[list[int]] = [[] for _ in range(len(parent))]
    for node, above in enumerate(parent.tolist()):
        if above >= 0:
            children[above].append(node)
    return children


def prune(tree: Drawable, keep: Collection[str]) -> Branches:
    """Return the tree that joins the tips kept, from their common ancestor on.

    Nodes that are left with one child go, and their lengths are added up, so that every distance between two tips
    stays what it was.

    Parameters
    ----------
    tree : Phylogeny or Branches
    keep : collection of str
        Labels of tips as the tree writes them.

    Raises
    ------
    ValueError
        If a label is no tip of the tree, or none is kept.

    Examples
    --------
    >>> tree = Branches(np.array([2, 2, 4, 4, -1]), np.array([1.0, 2, 3, 4, np.nan]), ("a", "b", "", "c", ""))
    >>> small = prune(tree, {"a", "c"})
    >>> small.labels, small.parent.tolist(), small.length.tolist()
    (('a', 'c', ''), [2, 2, -1], [4.0, 4.0, nan])
    """
    children = children_of(tree.parent)
    wanted = set(keep)
    absent = wanted - {tree.labels[node] for node, below in enumerate(children) if not below}
    if absent or not wanted:
        raise ValueError(f"no tips of this tree: {sorted(absent)}" if absent else "no tip is kept")
    parent: list[int] = []
    length: list[float] = []
    labels: list[str] = []
    # What hangs below each node: the surviving nodes, each with its length up to here.
    hanging: list[list[tuple[int, float]]] = [[] for _ in children]
    for node, (label, edge) in enumerate(zip(tree.labels, tree.length.tolist(), strict=True)):
        held = hanging[node]
        if len(held) > 1 or (not children[node] and label in wanted):
            for survivor, reach in held:
                parent[survivor], length[survivor] = len(parent), reach
            held = [(len(parent), 0.0)]
            parent.append(-1)
            length.append(np.nan)
            labels.append(label)
        above = int(tree.parent[node])
        if above >= 0:
            hanging[above] += [(survivor, reach + edge) for survivor, reach in held]
    return Branches(np.array(parent, dtype=np.int64), np.array(length), tuple(labels), tree.unit)


def _drawn_order(children: Sequence[Sequence[int]], labels: Sequence[str]) -> tuple[int, ...]:
    """Tips from the top down: at every fork the smaller clade first, equal ones by their first name."""
    key: list[tuple[int, str]] = []
    for node, below in enumerate(children):
        sizes = [key[child][0] for child in below]
        key.append((sum(sizes), min(key[child][1] for child in below)) if below else (1, labels[node]))
    tips, stack = [], [len(children) - 1]
    while stack:
        node = stack.pop()
        if children[node]:
            stack += sorted(children[node], key=key.__getitem__, reverse=True)
        else:
            tips.append(node)
    return tuple(tips)


def _across(tree: Drawable, is_tip: NDArray[np.bool_]) -> tuple[NDArray[np.float64], bool]:
    """Distances from the root; levels, tips in line, where lengths are absent or say nothing."""
    n = len(tree.parent)
    edges = tree.length[:-1]
    to_scale = n > 1 and bool(np.isfinite(edges).all()) and bool(np.any(edges != 0))
    steps = tree.length if to_scale else np.ones(n)
    x = np.zeros(n)
    for node in range(n - 2, -1, -1):
        x[node] = x[tree.parent[node]] + steps[node]
    if not to_scale:
        x[is_tip] = x.max()
    return x - x.min(), to_scale


def lay_out(tree: Drawable) -> TreeLayout:
    """Return the place of every node of a tree drawn from left to right.

    At every fork the smaller clade comes first and equal ones go by name, so the picture does not depend on the order
    in which a file lists them. Where a length is missing, or all of them are 0, ``x`` is the number of forks passed.

    Parameters
    ----------
    tree : Phylogeny or Branches
        The root's own length is not used.

    Examples
    --------
    >>> tree = Branches(np.array([4, 3, 3, 4, -1]), np.array([3.0, 1, 1, 2, np.nan]), ("c", "b", "a", "", ""))
    >>> layout = lay_out(tree)
    >>> [tree.labels[node] for node in layout.tips], layout.x.tolist(), layout.y.tolist()
    (['c', 'a', 'b'], [3.0, 3.0, 3.0, 2.0, 0.0], [0.0, 2.0, 1.0, 1.5, 0.75])
    """
    children = children_of(tree.parent)
    is_tip = np.array([not below for below in children])
    x, to_scale = _across(tree, is_tip)
    tips = _drawn_order(children, tree.labels)
    y = np.zeros(len(children))
    y[list(tips)] = np.arange(len(tips))
    for node, below in enumerate(children):
        if below:
            y[node] = (min(y[child] for child in below) + max(y[child] for child in below)) / 2
    return TreeLayout(x, y, tips, to_scale)


def nice_step(span: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is at most ``span``, for a scale bar.

    Raises
    ------
    ValueError
        If ``span`` is not a positive number.

    Examples
    --------
    >>> nice_step(0.74), nice_step(3.1), nice_step(10)
    (0.5, 2.0, 10.0)
    """
    if not (span > 0 and np.isfinite(span)):
        raise ValueError(f"a scale needs a positive span, not {span}")
    exponent = int(np.floor(np.log10(span)))
    steps = [float(f"{head}e{exponent + shift}") for shift in (-1, 0, 1) for head in (1, 2, 5)]
    return max(step for step in steps if step <= span)
