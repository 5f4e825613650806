"""The tree for a phone: one column that can be read at 360 pixels, its species to be tapped and its groups folded."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np

from crosscompat.ground.wording import say
from crosscompat.model.likelihood import Floats
from crosscompat.phylogeny.tree import Phylogeny
from crosscompat.show import svg
from crosscompat.show.chances import one_in, percent
from crosscompat.show.picture import TipMark, lay_out, past_in_words
from crosscompat.show.svg import chance_colour, shortened

WIDTH: Final = 360.0
_ROW: Final = 48.0
_TREE: Final = 92.0
_LEFT: Final = 12.0
_LETTERS: Final = 27
_WORTH_FOLDING: Final = 3


@dataclass(frozen=True, slots=True)
class Links:
    """Where a tap leads: on a species, and on a node whose species are to be folded away or shown again."""

    species: Callable[[str], str]
    fold: Callable[[int], str]


@dataclass(frozen=True, slots=True)
class _Row:
    """What stands in one row: a tip, or a node whose tips are folded into it."""

    node: int
    tips: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Told:
    """What is said of the tips, which of them was asked about, and the genus that goes without saying."""

    marks: Mapping[str, TipMark]
    focus: str
    genus: str


def narrow_tree(
    tree: Phylogeny, marks: Mapping[str, TipMark], focus: str, links: Links, folded: Collection[int] = ()
) -> str:
    """Return the tree as SVG for a page that styles it; every species is a link, as is every group of three or more.

    Parameters
    ----------
    marks : mapping of str to TipMark
        What is said of each tip, by its label; a tip without one is only named.
    focus : str
        The label asked about.
    folded : collection of int
        Nodes whose species stand together in one row.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("((a:1,b:1,c:1):1,d:2);")
    >>> links = Links(lambda label: f"/{label}", lambda node: f"?fold={node}")
    >>> drawn = narrow_tree(tree, {}, "d", links)
    >>> [f'href="/{label}"' in drawn for label in "abcd"], "?fold=3" in drawn
    ([True, True, True, True], True)
    """
    layout = lay_out(tree)
    rows = _rows(tree, layout.tips, frozenset(folded))
    across = _LEFT + layout.x / (float(layout.x.max()) or 1.0) * _TREE
    down = _heights(tree, rows)
    genus = _only_genus([*marks.values()])
    root = svg.sheet(WIDTH, _ROW * len(rows), say("show.narrow.title"), say("show.narrow.description", n=len(rows)))
    root.set("class", "narrow-tree")
    root.set("role", "group")  # its links are there for a screen reader too
    _draw_branches(root, tree, across, down)
    for row in rows:
        _draw_row(root, tree, row, _Told(marks, focus, genus), links, (float(across[row.node]), float(down[row.node])))
    for node in range(tree.n_nodes):
        if np.isfinite(down[node]) and node not in folded and len(tree.tips_under(node)) >= _WORTH_FOLDING:
            _draw_fold(root, tree, node, links, (float(across[node]), float(down[node])))
    return svg.markup(root)


def _rows(tree: Phylogeny, tips: Collection[int], folded: frozenset[int]) -> list[_Row]:
    """Return the rows from the top: tips in the order in which they are drawn, those folded together as one."""
    held_by: dict[int, int] = {}
    for node in sorted(folded):  # a later node is nearer the root, and holds the earlier
        if 0 <= node < tree.n_nodes:
            held_by |= dict.fromkeys((int(tip) for tip in tree.tips_under(node)), node)
    rows: dict[int, list[int]] = {}
    for tip in tips:
        rows.setdefault(held_by.get(tip, tip), []).append(tip)
    return [_Row(node, tuple(held)) for node, held in rows.items()]


def _heights(tree: Phylogeny, rows: list[_Row]) -> Floats:
    """Return how far down every node is drawn, shape (n_nodes,); NaN for those folded away."""
    down = np.full(tree.n_nodes, np.nan)
    for place, row in enumerate(rows):
        down[row.node] = (place + 0.5) * _ROW
    least, most = down.copy(), down.copy()
    for node, above in enumerate(tree.parent.tolist()):  # children come before their parents
        if np.isnan(down[node]) and np.isfinite(least[node]):
            down[node] = (least[node] + most[node]) / 2
        if above >= 0 and np.isfinite(down[node]):
            least[above] = np.fmin(least[above], down[node])
            most[above] = np.fmax(most[above], down[node])
    return down


def _only_genus(marks: Collection[TipMark]) -> str:
    """Return the genus of all species, blank where there are several."""
    genera = {mark.shown_name.partition(" ")[0] for mark in marks}
    return genera.pop() if len(genera) == 1 else ""


def _short(name: str, genus: str) -> str:
    return f"{genus[0]}. {name.removeprefix(f'{genus} ')}" if genus else name


def _draw_branches(on: Element, tree: Phylogeny, across: Floats, down: Floats) -> None:
    group = svg.put(on, "g", "branches")
    for node, above in enumerate(tree.parent.tolist()):
        if above < 0 or np.isnan(down[node]):
            continue
        corner = f"M{svg.number(across[above])} {svg.number(down[above])}V{svg.number(down[node])}"
        svg.put(group, "path", "branch", d=f"{corner}H{svg.number(across[node])}")


def _draw_row(on: Element, tree: Phylogeny, row: _Row, told: _Told, links: Links, at: tuple[float, float]) -> None:
    x, y = at
    known = [told.marks.get(tree.labels[tip]) or TipMark(tree.labels[tip], tree.labels[tip]) for tip in row.tips]
    best = max(known, key=lambda mark: mark.chance or 0.0)
    folded = row.node not in row.tips
    link = svg.put(on, "a", href=links.fold(row.node) if folded else links.species(best.label))
    svg.put(link, "rect", "row", x=0, y=y - _ROW / 2, width=WIDTH, height=_ROW)
    text = _LEFT + _TREE + 16
    if folded:
        name, says = say("show.narrow.folded", n=len(known)), say("show.narrow.best", chance=one_in(best.chance))
    else:
        name, says = _short(best.shown_name, told.genus), _in_words(best, is_focus=best.label == told.focus)
    if best.chance is not None:
        svg.put(link, "circle", "disc", cx=x, cy=y, r=6, fill=chance_colour(best.chance))
    svg.write(link, text, y - 4, shortened(name, _LETTERS), "name focus" if best.label == told.focus else "name")
    svg.write(link, text, y + 15, says, "says")


def _in_words(mark: TipMark, *, is_focus: bool) -> str:
    if is_focus:
        return say("show.narrow.focus")
    chance = "" if mark.chance is None else f"{one_in(mark.chance)} ({percent(mark.chance)})"
    return "; ".join(filter(None, [chance, *past_in_words(mark)]))


def _draw_fold(on: Element, tree: Phylogeny, node: int, links: Links, at: tuple[float, float]) -> None:
    x, y = at
    n = len(tree.tips_under(node))
    link = svg.put(on, "a", href=links.fold(node))
    link.set("aria-label", say("show.narrow.fold", n=n))
    svg.put(link, "circle", "reach", cx=x, cy=y, r=12)
    svg.put(link, "circle", "fold", cx=x, cy=y, r=4.5)
