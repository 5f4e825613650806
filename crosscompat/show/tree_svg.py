"""The tree as a picture: who is near whom, which partners are likely, and what came of past crosses."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final
from xml.etree.ElementTree import Element

from crosscompat.ground.wording import catalogue, say
from crosscompat.show import svg
from crosscompat.show.chances import one_in, percent
from crosscompat.show.picture import (
    BAR,
    MARGIN,
    NOTE_LETTERS,
    TREE,
    Direction,
    Picture,
    TipMark,
    compose,
    mark_in_words,
    nice_step,
)
from crosscompat.show.svg import INK, chance_colour, leaning, shortened, text_on, text_width, wrapped

if TYPE_CHECKING:
    from crosscompat.phylogeny.tree import Phylogeny
    from crosscompat.phylogeny.tree_arrays import Ints

_ROW: Final = 24.0
_LEAST_LEADER: Final = 12.0


def _lineage(parent: Ints, tip: int) -> frozenset[int]:
    nodes, node = set(), tip
    while node >= 0:
        nodes.add(node)
        node = int(parent[node])
    return frozenset(nodes)


def _draw_branches(on: Element, picture: Picture, top: float) -> None:
    """Draw the branches, those that lead to the species asked about last and thick."""
    tree, layout = picture.branches, picture.layout
    span = float(layout.x.max()) or 1.0
    across = MARGIN + layout.x / span * TREE
    down = top + (layout.y + 0.5) * _ROW
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
        end, y = across[tip] + 8, top + (row + 0.5) * _ROW
        if picture.columns.names - 36 - end > _LEAST_LEADER:
            svg.put(group, "line", "leader", x1=end, x2=picture.columns.names - 30, y1=y, y2=y)
        mark = picture.marks[tree.labels[tip]]
        if mark is picture.focus:
            svg.flower(group, across[tip] + 4, y, 8.5)
        elif mark.chance is not None:
            size = 6.0 if picture.rank(mark) else 4.2
            svg.put(group, "circle", "disc", cx=across[tip], cy=y, r=size, fill=chance_colour(mark.chance))


def _draw_bar(on: Element, mark: TipMark, x: float, y: float, thick: float) -> None:
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
    took = mark.took, columns.took, svg.seedling, "took"
    for count, x, shape, which in (took, (mark.failed, columns.failed, svg.seed_struck_out, "failed")):
        if count:
            shape(on, x + 7, y)
            svg.write(on, x + 19, y + 4.5, say(f"show.{which}", n=count), "past")
    if mark.note:
        svg.write(on, columns.note, y + 4.5, shortened(mark.note, NOTE_LETTERS), "note")


def _draw_rank(on: Element, rank: int, x: float, y: float, chance: float) -> None:
    """Draw a place among the best as a number on a disc."""
    svg.put(on, "circle", "disc", cx=x, cy=y, r=9, fill=chance_colour(chance))
    svg.write(on, x, y + 4, str(rank), "rank-number", style=f"fill: {text_on(chance)}")


def _draw_entry(on: Element, picture: Picture, mark: TipMark, y: float, thick: float) -> None:
    """Draw the columns of one species: rank, name, bar, chance in words and percent, past crosses."""
    columns, rank = picture.columns, picture.rank(mark)
    if rank and mark.chance is not None:
        _draw_rank(on, rank, columns.names - 17, y, mark.chance)
    quiet = columns.has_chances and mark.chance is None and mark is not picture.focus
    svg.letter_name(on, columns.names, y + 4.5, mark.shown_name, "name quiet" if quiet else "name")
    if mark is picture.focus:
        x = columns.names + text_width(mark.shown_name, 13, bold=True) + 8
        width = text_width(picture.role, 12, bold=True) + 16
        svg.put(on, "rect", "role-pill", x=x, y=y - 9, width=width, height=18, rx=9)
        svg.write(on, x + 9, y + 4.2, picture.role, "role")
    if columns.has_chances and mark.chance is not None:
        _draw_bar(on, mark, columns.bars, y, thick)
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


def _draw_rows(on: Element, picture: Picture, top: float) -> None:
    """Draw a row beside every tip from ``top`` down, a tint under those that the eye should find."""
    left = picture.columns.names - 32
    for row, mark in enumerate(picture.rows):
        if mark is picture.focus or picture.rank(mark):
            kind, width = "focus-band" if mark is picture.focus else "band", picture.columns.width - MARGIN + 12 - left
            svg.put(on, "rect", kind, x=left, y=top + row * _ROW + 1, width=width, height=_ROW - 2, rx=4)
    _draw_axis(on, picture, top, top + _ROW * len(picture.rows))
    for row, mark in enumerate(picture.rows):
        kind = "focus" if mark is picture.focus else "likely" if picture.rank(mark) else "plain"
        group = svg.put(on, "g", f"tip {kind}")
        svg.put(group, "title").text = mark_in_words(mark)
        _draw_entry(group, picture, mark, top + (row + 0.5) * _ROW, 9)


_BEST_ROW: Final = 31.0

_STYLE: Final = f"""
text {{ font-family: "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif; font-size: 13px; fill: {INK}; }}
.leans {{ font-style: italic; }}
.paper {{ fill: #ffffff; }}
.headline {{ font-size: 23px; font-weight: bold; }}
.aside, .heading, .tick, .quiet, .note, .legend {{ fill: #56615b; }}
.heading, .tick, .note, .legend {{ font-size: 12px; }}
.best-heading {{ font-size: 15px; font-weight: bold; }}
.best text {{ font-size: 15px; font-weight: bold; }}
.best .past, .best .note {{ font-weight: normal; font-size: 13px; }}
.likely .name, .likely .words, .likely .percent, .focus .name {{ font-weight: bold; }}
.percent, .middle {{ text-anchor: end; }}
.tick, .rank-number {{ text-anchor: middle; }}
.best .rank-number, .rank-number {{ font-size: 11px; font-weight: bold; }}
.branch {{ fill: none; stroke: #8d9891; stroke-width: 1.3; stroke-linecap: square; }}
.lineage {{ stroke: #b3125c; stroke-width: 2.4; }}
.leader {{ stroke: #c3cac6; stroke-width: 1; stroke-dasharray: 1 4; stroke-linecap: round; }}
.grid {{ stroke: #dfe4e1; stroke-width: 1; }}
.rule {{ stroke: #b9c1bc; stroke-width: 1; }}
.band {{ fill: #f3f4ec; }}
.focus-band {{ fill: #fbedf3; }}
.bar, .disc, .ramp {{ stroke: {INK}; stroke-width: 0.6; }}
.whisker {{ stroke-width: 1.3; fill: none; }}
.took {{ fill: #1b4c37; }}
.failed {{ fill: none; stroke: #6b2c14; stroke-width: 1.3; stroke-linecap: round; }}
.petals, .role-pill {{ fill: #b3125c; }}
.eye {{ fill: #ffe5ad; }}
.role {{ fill: #ffffff; font-size: 12px; font-weight: bold; }}
.invented-frame {{ fill: #fff4d6; stroke: {INK}; stroke-width: 1.4; stroke-dasharray: 6 3; }}
.invented {{ font-size: 15px; font-weight: bold; }}
.scale {{ stroke: {INK}; stroke-width: 1.4; fill: none; }}
svg {{ max-width: 100%; height: auto; }}
"""


def scale_words(step: float, unit: str | None) -> str:
    """Return the length of a scale bar in words."""
    length = f"{step:g}"
    tables = ["scale_of_one", "scale"] if length == "1" else ["scale"]
    key = next((f"{table}.{unit}" for table in tables if unit in catalogue("show")[table]), "scale_other")
    return say(f"show.{key if unit else 'scale_unknown'}", n=length, unit=unit)


def _describe(picture: Picture, note: str, *, invented: bool) -> str:
    """Say in a few sentences what the picture shows."""
    parts = [say("show.describe.tree", n=len(picture.rows))]
    parts.append(say("show.describe.focus", name=picture.focus.shown_name, role=picture.role))
    best = [say("show.describe.partner", name=mark.shown_name, chance=one_in(mark.chance)) for mark in picture.best]
    if best:
        parts.append(say("show.describe.best", partners="; ".join(best)))
    return " ".join([*parts, *([note] if note else []), *([say("show.invented") + "."] if invented else [])])


def _draw_headline(on: Element, picture: Picture, title: str, asides: Sequence[str], *, invented: bool) -> float:
    """Draw title, asides and the mark of invented outcomes on the left; return where they end."""
    room = picture.columns.names - 32 - MARGIN - 24 if picture.best else picture.columns.width - 2 * MARGIN
    group = svg.put(on, "g", "head")
    y = 58.0
    for line in wrapped(title, 23, room, bold=True):
        _write_headline(group, y, line, picture.focus.shown_name)
        y += 29
    for line in (line for aside in asides for line in wrapped(aside, 13, room)):
        svg.write(group, MARGIN, y, line, "aside")
        y += 19
    if invented:
        words = say("show.invented")
        width = text_width(words, 15, bold=True) + 28
        svg.put(group, "rect", "invented-frame", x=MARGIN, y=y, width=width, height=30, rx=3)
        svg.write(group, MARGIN + 14, y + 20, words, "invented")
        y += 44
    return y


def _draw_best(on: Element, picture: Picture) -> float:
    """Draw the likeliest partners, best first, in the columns of the rows below; return where they end."""
    if not picture.best:
        return 0.0
    group = svg.put(on, "g", "best")
    svg.write(group, picture.columns.names, 56, say("show.best"), "best-heading")
    for row, mark in enumerate(picture.best):
        _draw_entry(svg.put(group, "g", "partner"), picture, mark, 82 + row * _BEST_ROW, 15)
    return 82 + len(picture.best) * _BEST_ROW


def _draw_scale(on: Element, picture: Picture, y: float) -> None:
    """Draw the scale bar under the tree, its length in words."""
    if not picture.layout.to_scale:
        svg.write(on, MARGIN, y + 4, say("show.no_lengths"), "legend")
        return
    span = float(picture.layout.x.max())
    step = nice_step(span / 3)
    length = step / span * TREE
    svg.put(on, "path", "scale", d=f"M{svg.number(MARGIN)} {svg.number(y - 4)}v8m0 -4h{svg.number(length)}m0 -4v8")
    svg.write(on, MARGIN, y + 22, scale_words(step, picture.branches.unit), "legend")


def _draw_legend(on: Element, picture: Picture, y: float) -> None:
    """Draw what every shape means, each under the column it stands in."""
    columns = picture.columns
    svg.flower(on, columns.names - 17, y, 8.5)
    svg.write(on, columns.names, y + 4, picture.role, "legend")
    if picture.best:
        _draw_rank(on, 1, columns.names - 17, y + 24, 1.0)
        svg.write(on, columns.names, y + 28, say("show.legend.rank"), "legend")
    if columns.has_chances:
        for place in range(11):
            x, colour = columns.bars + place * 7, chance_colour(place / 10)
            svg.put(on, "rect", "shade", x=x, y=y - 5, width=7, height=10, fill=colour)
        svg.put(on, "rect", "ramp", x=columns.bars, y=y - 5, width=77, height=10, fill="none")
        svg.write(on, columns.bars + 88, y + 4, say("show.legend.bar"), "legend")
        whisker = f"M{svg.number(columns.bars)} {svg.number(y + 24)}h77m-77 -3v6m77 -6v6"
        svg.put(on, "path", "whisker", d=whisker, stroke=INK)
        svg.write(on, columns.bars + 88, y + 28, say("show.legend.whisker"), "legend")
    if columns.has_past:
        for row, (shape, key) in enumerate(((svg.seedling, "seedling"), (svg.seed_struck_out, "seed"))):
            shape(on, columns.took + 7, y + 24 * row)
            svg.write(on, columns.took + 20, y + 24 * row + 4, say(f"show.legend.{key}"), "legend")


def _write_headline(on: Element, y: float, line: str, name: str) -> None:
    """Write a line of the title, the words of the plant's name in italics."""
    leans = {word for run, lean in leaning(name) if lean for word in run.split()}
    element = svg.put(on, "text", "headline", x=MARGIN, y=y)
    for place, word in enumerate(line.split()):
        svg.put(element, "tspan", "leans" if word in leans else "stands").text = f" {word}" if place else word


def draw_tree(
    tree: Phylogeny,
    *,
    focus: str,
    marks: Sequence[TipMark] = (),
    title: str,
    note: str = "",
    direction: Direction = "seed",
    invented: bool = False,
    keep: Sequence[str] | None = None,
) -> str:
    """Return a picture of a tree as SVG, the partners of one species marked by their chances.

    Every row says its chance three times: by the length and the colour of a bar, in words and in percent; past crosses
    by shape and by word. The likeliest five stand above the tree, in bold and numbered in it.

    The picture is about the species of the label ``focus``, which is what ``direction`` says in these crosses. A tip
    without one of the ``marks`` is drawn by its label; ``keep`` are the labels of the tips to draw, all by default. The
    ``note`` stands under the ``title``; that outcomes are ``invented`` is said. A `ValueError` says that a label is no
    tip of the tree.

    Examples
    --------
    >>> from crosscompat.phylogeny.newick import parse_newick
    >>> tree = parse_newick("(Aus_bus:1,Aus_cus:1);", unit="My")
    >>> svg = draw_tree(tree, focus="Aus_bus", marks=[TipMark("Aus_cus", "Aus cus", 0.34, 0.1, 0.6)], title="A. bus")
    >>> "about 1 in 3" in svg, "seed parent" in svg
    (True, True)
    """
    picture = compose(tree, focus, marks, direction, keep)
    sentences = [say(f"show.partners.{direction}"), note] if picture.best else [note]
    if keep is not None:
        sentences.append(say("show.part_of_tree", n=len(picture.rows), total=tree.n_tips))
    canvas = Element("g")
    head = _draw_headline(canvas, picture, title, sentences, invented=invented)
    top = max(head, _draw_best(canvas, picture)) + 52
    bottom = top + _ROW * len(picture.rows)
    svg.put(canvas, "line", "rule", x1=MARGIN, x2=picture.columns.width - MARGIN, y1=top - 46, y2=top - 46)
    _draw_rows(canvas, picture, top)
    _draw_branches(canvas, picture, top)
    _draw_scale(svg.put(canvas, "g", "scale-bar"), picture, bottom + 34)
    _draw_legend(svg.put(canvas, "g", "legend-box"), picture, bottom + 34)
    height = bottom + 34 + 32 + MARGIN
    root = svg.sheet(picture.columns.width, height, title, _describe(picture, note, invented=invented))
    svg.put(root, "style").text = _STYLE
    svg.put(root, "rect", "paper", width=picture.columns.width, height=height)
    root.append(canvas)
    return svg.markup(root)
