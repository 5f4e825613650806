"""The tree as text for a terminal: lines for branches, words for everything else."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from crosscompat.ground.wording import say
from crosscompat.show.chances import one_in, percent
from crosscompat.show.picture import Direction, Picture, TipMark, TreeLayout, compose, past_in_words

if TYPE_CHECKING:
    from crosscompat.phylogeny.tree import Phylogeny
    from crosscompat.phylogeny.tree_arrays import Ints

# A cell is the sum of the directions that a line leaves it in.
_UP, _DOWN, _LEFT, _RIGHT = 1, 2, 4, 8
_BOX: Final = " ╵╷│╴┘┐┤╶└┌├─┴┬┼"
_ASCII: Final = " |||-+++-+++-+++"
_LEAST_TREE: Final = 12
_MOST_TREE: Final = 44
_BAR_CELLS: Final = 10
_FULL_TO_LEAN: Final = ((True, True, True), (True, True, False), (True, False, False), (False, False, False))


def plain_letters(text: str) -> str:
    """Write a text in ASCII, for a terminal that has nothing else: no accents, × as x, the rest as "?"."""
    signs = {0x2588: "#", 0xB7: ".", 0xD7: "x", 0x2297: "(x)", 0x2018: "'", 0x2019: "'", 0x2013: "-", 0x2014: "-"}
    letters = unicodedata.normalize("NFKD", text.translate(signs))
    bare = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return bare.encode("ascii", "replace").decode()


def _columns(layout: TreeLayout, parent: Ints, width: int) -> list[int]:
    """Column of every node, each right of its parent and with a cell left for every fork to come."""
    n = len(parent)
    forks = [0] * n
    for node, above in enumerate(parent.tolist()):
        if above >= 0:
            forks[above] = max(forks[above], forks[node] + 1)
    span = float(layout.x.max()) or 1.0
    columns: list[int] = np.rint(layout.x / span * (width - 1)).astype(int).tolist()
    for node in range(n - 1, -1, -1):
        least = columns[parent[node]] + 1 if parent[node] >= 0 else 0
        columns[node] = max(0, min(max(columns[node], least), width - 1 - forks[node]))
    return columns


def _branches(tree: Phylogeny, layout: TreeLayout, width: int) -> Ints:
    """Draw the branches on a grid of cells, a row a tip."""
    columns = _columns(layout, tree.parent, width)
    rows = np.floor(layout.y).astype(int).tolist()
    grid = np.zeros((len(layout.tips), width), dtype=np.int64)
    for node, above in enumerate(tree.parent.tolist()):
        if above < 0:
            continue
        row, column, start = rows[node], columns[node], columns[above]
        grid[row, start] |= _RIGHT
        grid[row, start + 1 : column + 1] |= _LEFT
        grid[row, start + 1 : column] |= _RIGHT
        upper, lower = sorted((row, rows[above]))
        grid[upper:lower, start] |= _DOWN
        grid[upper + 1 : lower + 1, start] |= _UP
    for row, tip in enumerate(layout.tips):
        grid[row, columns[tip]] |= _LEFT
    return grid


def _cells(picture: Picture, mark: TipMark, *, barred: bool, ranged: bool, noted: bool) -> list[str]:
    """Return what stands right of one tip: rank, name, bar, chance in words and percent, past crosses, note."""
    rank = "*" if mark is picture.focus else str(picture.rank(mark) or "")
    words = say("show.no_forecast") if picture.columns.has_chances else ""
    bar = number = ""
    if mark.chance is not None:
        full = round(mark.chance * _BAR_CELLS)
        bar = "\N{FULL BLOCK}" * full + "\N{MIDDLE DOT}" * (_BAR_CELLS - full) if barred else ""
        number = mark.in_percent(short=True) if ranged else percent(mark.chance)
        words = one_in(mark.chance)
    if mark is picture.focus:
        words = picture.role
    return [rank, mark.shown_name, bar, words, number, ", ".join(past_in_words(mark)), mark.note if noted else ""]


def _line_up(rows: Sequence[Sequence[str]]) -> list[str]:
    """Set columns of text side by side, without those that are empty."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(entry.ljust(room) for entry, room in zip(row, widths, strict=True) if room).rstrip() for row in rows
    ]


def text_tree(
    tree: Phylogeny,
    *,
    focus: str,
    marks: Sequence[TipMark] = (),
    width: int = 100,
    unicode: bool = True,
    direction: Direction = "seed",
    invented: bool = False,
    keep: Sequence[str] | None = None,
) -> str:
    """Return a tree as lines of text, the partners of one species with their chances in words.

    Arguments and errors are those of `draw_tree`, beside the ``width`` in letters and whether the terminal shows box
    lines and ×. Where the width is too small, notes go first, the ranges of percent next, then the bars; names and
    chances are never cut.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(A:2,(B:1,C:1):1);", unit="My")
    >>> marks = [TipMark("B", "Aus bus", 0.5, 0.25, 0.75, took=2), TipMark("C", "Aus cus"), TipMark("A", "Aus", 0.1)]
    >>> print(text_tree(tree, focus="C", marks=marks, width=64, unicode=False))
    +-----------     Aus      #.........  about 1 in 10  10%
    +-----+-----  1  Aus bus  #####.....  about 1 in 2   50%  2 took
          +-----  *  Aus cus              seed parent
    """
    picture = compose(tree, focus, marks, direction, keep)
    for barred, ranged, noted in _FULL_TO_LEAN:
        side = _line_up([_cells(picture, mark, barred=barred, ranged=ranged, noted=noted) for mark in picture.rows])
        room = width - 2 - max(len(line) for line in side)
        if room >= _LEAST_TREE:
            break
    grid = _branches(picture.branches, picture.layout, min(max(room, _LEAST_TREE), _MOST_TREE))
    signs = _BOX if unicode else _ASCII
    lines = [
        f"{''.join(signs[cell] for cell in cells)}  {words}".rstrip()
        for cells, words in zip(grid.tolist(), side, strict=True)
    ]
    text = "\n".join(([say("show.text.invented")] if invented else []) + lines)
    return text if unicode else plain_letters(text)
