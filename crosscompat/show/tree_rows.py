"""The rows of a picture of a tree: branches on the left, and beside every tip what is said of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element

from crosscompat.ground.wording import say
from crosscompat.show import svg
from crosscompat.show.chances import one_in, percent
from crosscompat.show.palette import INK, chance_colour, text_on
from crosscompat.show.picture import BAR, MARGIN, NOTE_LETTERS, TREE, Picture
from crosscompat.show.print_names import shortened, text_width
from crosscompat.show.tip_marks import TipMark, mark_in_words

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["ROW", "draw_bar", "draw_branches", "draw_entry", "draw_rank", "draw_rows"]

ROW: Final = 24.0
_LEAST_LEADER: Final = 12.0


def _lineage(parent: NDArray[np.int64], tip: int) -> frozenset[int]:
    nodes, node = set(), tip
    while node >= 0:
        nodes.add(node)
        node = int(parent[node])
    return frozenset(nodes)


def draw_branches(on: Element, picture: Picture, top: float) -> None:
    """Draw the branches, those that lead to the species asked about last and thick."""
    tree, layout = picture.branches, picture.layout
    span = float(layout.x.max()) or 1.0
    across = MARGIN + layout.x / span * TREE
    down = top + (layout.y + 0.5) * ROW
    focus_tip = next(tip for tip in layout.tips if tree.labels[tip] == picture.focus.label)
    lineage = _lineage(tree.parent, focus_tip)
    group = svg.put(on, "g", "branches")
    for node in sorted(range(len(across)), key=lambda node: (node in lineage, node)):
        above = int(tree.parent[node])
        corner = f"M{svg.number(across[above])} {svg.number(down[above])}V{svg.number(down[node])}"
        path = (corner if above >= 0 else f"M{svg.number(across[node] - 10)} {svg.number(down[node])}") + (
            f"H{svg.number(across[node])}"
        )
        svg.put(group, "path", "branch lineage" if node in lineage else "branch", d=path)
    for row, tip in enumerate(layout.tips):
        end, y = across[tip] + 8, top + (row + 0.5) * ROW
        if picture.columns.names - 36 - end > _LEAST_LEADER:
            svg.put(group, "line", "leader", x1=end, x2=picture.columns.names - 30, y1=y, y2=y)
        mark = picture.marks[tree.labels[tip]]
        if mark is picture.focus:
            svg.flower(group, across[tip] + 4, y, 8.5)
        elif mark.chance is not None:
            size = 6.0 if picture.rank(mark) else 4.2
            svg.put(group, "circle", "disc", cx=across[tip], cy=y, r=size, fill=chance_colour(mark.chance))


def draw_bar(on: Element, mark: TipMark, x: float, y: float, thick: float) -> None:
    """Draw a chance as a bar on a scale from 0 to 1, its 90% interval as a thin line over it."""
    if mark.chance is None:
        return
    colour = chance_colour(mark.chance)
    svg.put(on, "rect", "bar", x=x, y=y - thick / 2, width=max(mark.chance * BAR, 1.5), height=thick, fill=colour)
    if mark.low is None or mark.high is None:
        return
    low, middle, high = (x + share * BAR for share in (mark.low, min(max(mark.chance, mark.low), mark.high), mark.high))
    for left, right, end, shade in ((low, middle, low, text_on(mark.chance)), (middle, high, high, INK)):
        d = f"M{svg.number(left)} {svg.number(y)}H{svg.number(right)}M{svg.number(end)} {svg.number(y - 3)}v6"
        svg.put(on, "path", "whisker", d=d, stroke=shade)


def _draw_past(on: Element, picture: Picture, mark: TipMark, y: float) -> None:
    """Draw past takes and failures, each by a shape and a word, and the note after them."""
    columns = picture.columns
    entries = (
        (mark.took, columns.took, svg.seedling, "took"),
        (mark.failed, columns.failed, svg.seed_struck_out, "failed"),
    )
    for count, x, shape, which in entries:
        if count:
            shape(on, x + 7, y)
            svg.write(on, x + 19, y + 4.5, say(f"show.{which}", n=count), "past")
    if mark.note:
        svg.write(on, columns.note, y + 4.5, shortened(mark.note, NOTE_LETTERS), "note")


def draw_rank(on: Element, rank: int, x: float, y: float, chance: float) -> None:
    """Draw a place among the best as a number on a disc."""
    svg.put(on, "circle", "disc", cx=x, cy=y, r=9, fill=chance_colour(chance))
    svg.write(on, x, y + 4, str(rank), "rank-number", style=f"fill: {text_on(chance)}")


def draw_entry(on: Element, picture: Picture, mark: TipMark, y: float, thick: float) -> None:
    """Draw the columns of one species: rank, name, bar, chance in words and percent, past crosses."""
    columns, rank = picture.columns, picture.rank(mark)
    if rank and mark.chance is not None:
        draw_rank(on, rank, columns.names - 17, y, mark.chance)
    quiet = columns.has_chances and mark.chance is None and mark is not picture.focus
    svg.letter_name(on, columns.names, y + 4.5, mark.shown_name, "name quiet" if quiet else "name")
    if mark is picture.focus:
        x = columns.names + text_width(mark.shown_name, 13, bold=True) + 8
        svg.put(
            on, "rect", "role-pill", x=x, y=y - 9, width=text_width(picture.role, 12, bold=True) + 16, height=18, rx=9
        )
        svg.write(on, x + 9, y + 4.2, picture.role, "role")
    if columns.has_chances and mark.chance is not None:
        draw_bar(on, mark, columns.bars, y, thick)
        svg.write(on, columns.words, y + 4.5, one_in(mark.chance), "words")
        svg.write(on, columns.percent, y + 4.5, percent(mark.chance), "percent")
    elif quiet:
        svg.write(on, columns.words, y + 4.5, say("show.no_forecast"), "words quiet")
    _draw_past(on, picture, mark, y)


def _draw_axis(on: Element, picture: Picture, top: float, bottom: float) -> None:
    """Draw the headings of the columns and the lines that the bars are read against."""
    columns = picture.columns
    group = svg.put(on, "g", "axis")
    if columns.has_chances:
        svg.write(group, columns.bars, top - 26, say("show.chance_heading"), "heading")
        for share in (0.0, 0.25, 0.5, 0.75, 1.0):
            x = columns.bars + share * BAR
            svg.put(group, "line", "grid", x1=x, x2=x, y1=top - 4, y2=bottom)
            if share in {0.0, 0.5, 1.0}:
                svg.write(group, x, top - 9, say("chances.percent", whole=round(100 * share)), "tick")
    if columns.has_past:
        svg.write(group, columns.took, top - 9, say("show.past_heading"), "heading")


def _draw_bands(on: Element, picture: Picture, top: float) -> None:
    """Lay a tint under the rows that the eye should find."""
    left = picture.columns.names - 32
    for row, mark in enumerate(picture.rows):
        kind = "focus-band" if mark is picture.focus else "band" if picture.rank(mark) else ""
        if kind:
            width = picture.columns.width - MARGIN + 12 - left
            svg.put(on, "rect", kind, x=left, y=top + row * ROW + 1, width=width, height=ROW - 2, rx=4)


def draw_rows(on: Element, picture: Picture, top: float) -> None:
    """Draw a row beside every tip, the first one from ``top`` down."""
    _draw_bands(on, picture, top)
    _draw_axis(on, picture, top, top + ROW * len(picture.rows))
    for row, mark in enumerate(picture.rows):
        kind = "focus" if mark is picture.focus else "likely" if picture.rank(mark) else "plain"
        group = svg.put(on, "g", f"tip {kind}")
        svg.put(group, "title").text = mark_in_words(mark)
        draw_entry(group, picture, mark, top + (row + 0.5) * ROW, 9)
