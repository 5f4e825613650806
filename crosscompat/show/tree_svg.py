"""The tree as a picture: who is near whom, which partners are likely, and what came of past crosses."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final
from xml.etree.ElementTree import Element, tostring

from crosscompat.ground.wording import catalogue, say
from crosscompat.show import svg
from crosscompat.show.chances import one_in
from crosscompat.show.layout import nice_step
from crosscompat.show.palette import INK, chance_colour
from crosscompat.show.picture import MARGIN, TREE, Drawable, Picture, compose
from crosscompat.show.print_names import leaning, text_width, wrapped
from crosscompat.show.tip_marks import Direction, TipMark
from crosscompat.show.tree_rows import ROW, draw_branches, draw_entry, draw_rank, draw_rows

__all__ = ["draw_tree", "scale_words"]

_BEST_ROW: Final = 31.0
_NOT_XML: Final = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\ufffe\\uffff]")

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
    """Return the length of a scale bar in words.

    Examples
    --------
    >>> scale_words(0.5, "My"), scale_words(2, None)
    ('0.5 million years', '2 (unit not stated)')
    """
    length = f"{step:g}"
    if unit is None:
        return say("show.scale_unknown", n=length)
    for table in (["scale_of_one"] if length == "1" else []) + ["scale"]:
        if unit in catalogue("show")[table]:
            return say(f"show.{table}.{unit}", n=length)
    return say("show.scale_other", n=length, unit=unit)


def _describe(picture: Picture, note: str, *, invented: bool) -> str:
    """Say in a few sentences what the picture shows."""
    parts = [
        say("show.describe.tree", n=len(picture.rows)),
        say("show.describe.focus", name=picture.focus.shown_name, role=picture.role),
    ]
    if picture.best:
        partners = [
            say("show.describe.partner", name=mark.shown_name, chance=one_in(mark.chance)) for mark in picture.best
        ]
        parts.append(say("show.describe.best", partners="; ".join(partners)))
    return " ".join([*parts, *([note] if note else []), *([say("show.invented") + "."] if invented else [])])


def _draw_invented(on: Element, y: float) -> None:
    words = say("show.invented")
    svg.put(on, "rect", "invented-frame", x=MARGIN, y=y, width=text_width(words, 15, bold=True) + 28, height=30, rx=3)
    svg.write(on, MARGIN + 14, y + 20, words, "invented")


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
        _draw_invented(group, y)
        y += 44
    return y


def _draw_best(on: Element, picture: Picture) -> float:
    """Draw the likeliest partners, best first, in the columns of the rows below; return where they end."""
    if not picture.best:
        return 0.0
    group = svg.put(on, "g", "best")
    svg.write(group, picture.columns.names, 56, say("show.best"), "best-heading")
    for row, mark in enumerate(picture.best):
        draw_entry(svg.put(group, "g", "partner"), picture, mark, 82 + row * _BEST_ROW, 15)
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
    svg.write(on, MARGIN, y + 22, scale_words(step, picture.unit), "legend")


def _draw_ramp(on: Element, x: float, y: float) -> None:
    """Draw the scale of colours, 77 wide."""
    for place in range(11):
        svg.put(on, "rect", "shade", x=x + place * 7, y=y - 5, width=7, height=10, fill=chance_colour(place / 10))
    svg.put(on, "rect", "ramp", x=x, y=y - 5, width=77, height=10, fill="none")


def _draw_legend(on: Element, picture: Picture, y: float) -> None:
    """Draw what every shape means, each under the column it stands in."""
    columns = picture.columns
    svg.flower(on, columns.names - 17, y, 8.5)
    svg.write(on, columns.names, y + 4, picture.role, "legend")
    if picture.best:
        draw_rank(on, 1, columns.names - 17, y + 24, 1.0)
        svg.write(on, columns.names, y + 28, say("show.legend.rank"), "legend")
    if columns.has_chances:
        _draw_ramp(on, columns.bars, y)
        svg.write(on, columns.bars + 88, y + 4, say("show.legend.bar"), "legend")
        svg.put(
            on, "path", "whisker", d=f"M{svg.number(columns.bars)} {svg.number(y + 24)}h77m-77 -3v6m77 -6v6", stroke=INK
        )
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
    tree: Drawable,
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

    Parameters
    ----------
    tree : Drawable
        A ``Phylogeny``, or any tree of arrays in postorder with a unit.
    focus : str
        Label of the species the picture is about.
    marks : sequence of TipMark
        What is known about the tips; a tip without a mark is drawn by its label.
    title, note : str
        Headline, and a sentence under it.
    direction : {"seed", "pollen"}
        What ``focus`` is in these crosses.
    invented : bool
        Whether the outcomes are made up, which the picture then says.
    keep : sequence of str, optional
        Labels of the tips to draw, ``focus`` always among them; all of them by default.

    Raises
    ------
    ValueError
        If ``focus`` or a label in ``keep`` is no tip of the tree.

    Examples
    --------
    >>> import numpy as np
    >>> from types import SimpleNamespace
    >>> tree = SimpleNamespace(
    ...     parent=np.array([2, 2, -1]),
    ...     length=np.array([1.0, 1.0, np.nan]),
    ...     labels=("Aus_bus", "Aus_cus", ""),
    ...     unit="My",
    ... )
    >>> svg = draw_tree(tree, focus="Aus_bus", marks=[TipMark("Aus_cus", "Aus cus", 0.34, 0.1, 0.6)], title="A. bus")
    >>> "about 1 in 3" in svg, "seed parent" in svg
    (True, True)
    """
    picture = compose(tree, focus, marks, direction, keep)
    sentences = [say(f"show.partners.{direction}"), note] if picture.best else [note]
    if keep is not None:
        n_all = len(set(range(len(tree.parent))) - {int(above) for above in tree.parent})
        sentences.append(say("show.part_of_tree", n=len(picture.rows), total=n_all))
    canvas = Element("g")
    head = _draw_headline(canvas, picture, title, sentences, invented=invented)
    top = max(head, _draw_best(canvas, picture)) + 52
    bottom = top + ROW * len(picture.rows)
    svg.put(canvas, "line", "rule", x1=MARGIN, x2=picture.columns.width - MARGIN, y1=top - 46, y2=top - 46)
    draw_rows(canvas, picture, top)
    draw_branches(canvas, picture, top)
    _draw_scale(svg.put(canvas, "g", "scale-bar"), picture, bottom + 34)
    _draw_legend(svg.put(canvas, "g", "legend-box"), picture, bottom + 34)
    height = bottom + 34 + 32 + MARGIN
    root = svg.sheet(picture.columns.width, height, title, _describe(picture, note, invented=invented))
    svg.put(root, "style").text = _STYLE
    svg.put(root, "rect", "paper", width=picture.columns.width, height=height)
    root.append(canvas)
    for element in root.iter():
        element.tail = element.tail if element.tag == "tspan" else "\n"
    return _NOT_XML.sub("", tostring(root, encoding="unicode")) + "\n"
