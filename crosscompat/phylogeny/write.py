"""A tree as a Newick text."""

from __future__ import annotations

import re

import numpy as np

from crosscompat.phylogeny.numbers import NUMBER
from crosscompat.phylogeny.tree import Phylogeny

__all__ = ["newick_text"]

_PLAIN = re.compile(r"[^\s'\"()\[\],:;_]+(?:_[^\s'\"()\[\],:;_]+)*")
_MARKS = {True: "[&R] ", False: "[&U] ", None: ""}


def newick_text(tree: Phylogeny) -> str:
    """Return a tree as one line of Newick that reads back the same.

    Parameters
    ----------
    tree : Phylogeny
        A name with blanks or marks in it is put in quotes; support stands where a name would, if there is none.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> print(newick_text(parse_newick("[&R]((Aloe_vera:1,'Aloe ''Gold''':2)95:3,c:4)x;")), end="")
    [&R] ((Aloe_vera:1.0,'Aloe ''Gold''':2.0)95:3.0,c:4.0)x;
    """
    inside: list[list[str]] = [[] for _ in range(tree.n_nodes)]
    text = ""
    for node, above in enumerate(tree.parent.tolist()):
        held = f"({','.join(inside[node])})" if inside[node] else ""
        inside[node].clear()
        length = float(tree.length[node])
        text = held + _named(tree, node, inner=bool(held)) + ("" if np.isnan(length) else f":{length!r}")
        if above >= 0:
            inside[above].append(text)
    return f"{_MARKS[tree.rooted]}{text};\n"


def _named(tree: Phylogeny, node: int, *, inner: bool) -> str:
    label, support = tree.labels[node], float(tree.support[node])
    if not label:
        return "" if np.isnan(support) else f"{support:g}"
    if _PLAIN.fullmatch(label) and not (inner and NUMBER.fullmatch(label)):
        return label
    return "'" + label.replace("'", "''") + "'"
