"""Labels to print, cut out and tie to a cross: what stands on one, and the page that prints them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import as_file, files
from io import BytesIO
from typing import TYPE_CHECKING, Final, Literal, NamedTuple, TypeAlias
from xml.etree.ElementTree import Element

from crosscompat.ground.errors import WrongUse
from crosscompat.ground.names import bracketed
from crosscompat.ground.wording import say
from crosscompat.show import svg
from crosscompat.show.svg import leaning, shortened, text_width

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Kind: TypeAlias = Literal["cross", "mixed", "unknown", "sib", "open", "self", "none"]
_Side: TypeAlias = Literal["seed", "pollen"]

_SIGNS: Final = {
    **dict.fromkeys(("cross", "mixed", "unknown", "sib", "open"), "\N{MULTIPLICATION SIGN}"),
    "self": "\N{CIRCLED TIMES}",
}
"""What stands between the parents; nothing where no pollen was brought."""


@dataclass(frozen=True, slots=True)
class LabelCard:
    """What stands on the label of one cross; an empty field leaves a line to write on.

    Names are in correct form, the ``pollen_parent`` is used for a cross alone, plants are told by their numbers.
    ``kind`` says where pollen came from: another plant, several, one that nobody knows any more, a sister or brother,
    it came by itself, the plant's own, or a bag kept it out. ``units`` are such as "4 flowers", ``grower`` initials;
    ``caution`` is what to beware of when handling the plant, ``purpose`` what it is where it is no cross.
    """

    number: str
    seed_parent: str
    pollen_parent: str = ""
    seed_plant: str = ""
    pollen_plant: str = ""
    kind: Kind = "cross"
    date: str = ""
    units: str = ""
    grower: str = ""
    note: str = ""
    caution: str = ""
    purpose: str = ""


def _other_side(card: LabelCard) -> str:
    """Return what stands in the place of the pollen parent."""
    return card.pollen_parent if card.kind == "cross" else say(f"label.{card.kind}")


def _role_of(card: LabelCard, side: _Side) -> str:
    """Return which parent a name is, with the very plant where one is known."""
    if side == "pollen" and card.kind != "cross":
        return say(f"label.{card.kind}_pollen")
    plant = card.seed_plant if side == "seed" else card.pollen_plant
    return say(f"label.{side}_parent_plant", plant=plant) if plant else say(f"label.{side}_parent")


def _facts_of(card: LabelCard) -> tuple[tuple[str, str], ...]:
    """Return date, count and grower, each with its heading."""
    units = {"open": "units_open", "none": "units_none"}.get(card.kind, "units")
    facts = ("date", card.date), (units, card.units), ("grower", card.grower)
    return tuple((say(f"label.{key}"), value) for key, value in facts)


def code_text(card: LabelCard, *, invented: bool = False) -> str:
    """Return what the code on a label says to whoever reads it with a phone: plain text, the seed parent first.

    Where the outcomes are invented, its last line says so.

    Examples
    --------
    >>> print(code_text(LabelCard("26-014", "Aus bus", "Aus cus", "A1", date="2026-04-18", units="4 flowers")))
    26-014
    Aus bus [A1] × Aus cus
    2026-04-18, 4 flowers
    """
    sides = (card.seed_parent, card.seed_plant), (_other_side(card), card.pollen_plant if card.kind == "cross" else "")
    seed, pollen = (f"{bracketed(name)} [{plant}]" if plant else bracketed(name) for name, plant in sides)
    formula = f"{seed} {_SIGNS[card.kind]} {pollen}" if card.kind in _SIGNS else f"{seed}, {pollen}"
    made = ", ".join(part for part in (card.date, card.units, card.grower) if part)
    mark = say("label.invented") if invented else ""
    return "\n".join(part for part in (card.number, formula, card.purpose, made, mark) if part)


_Pen: TypeAlias = "_SvgPen | _PdfPen"
_Runs: TypeAlias = Sequence[tuple[str, bool]]
"""Pieces of a line, each with whether it is printed in italics."""


class _Style(NamedTuple):
    size: float
    bold: bool = False
    colour: str = svg.INK


_GREY: Final = "#56615b"
_LINE: Final = "#8d9891"
_STYLES: Final = {
    "title": _Style(12, bold=True), "said": _Style(6.5, colour=_GREY), "number": _Style(11, bold=True),
    "invented": _Style(6.5, bold=True), "purpose": _Style(7, bold=True), "sign": _Style(13, bold=True),
    "name": _Style(13, bold=True), "role": _Style(6.5, colour=_GREY), "heading": _Style(6, colour=_GREY),
    "fact": _Style(8), "caution": _Style(6.5, bold=True),
}  # fmt: skip
_MM: Final = 72 / 25.4
_PAGE: Final = (210 * _MM, 297 * _MM)
_CARD: Final = (95 * _MM, 52 * _MM)
_COLUMNS, _A_SHEET = 2, 10
_LEFT, _TOP = 10 * _MM, 24 * _MM
_TEXT, _RIGHT = 21 * _MM, 91 * _MM  # of a card: where its text begins and ends
_SMALLEST, _ONE_LINE, _ONE_LINE_OF_CAUTION = 3.0, 7.0, 6.0  # broken in two only where one line would be too small
_LEADING: Final = 1.15
_NOTE_LETTERS, _CAUTION_LETTERS = 50, 110


def labels_page(cards: Sequence[LabelCard], *, title: str = "", invented: bool = False) -> str:
    """Return a page of HTML that prints ten labels on a sheet of A4, 95 by 52 mm each, with lines to cut along.

    Every label names the seed parent first and says which parent is which, and every sheet says so again, as the code
    of nomenclature wants it (ICN, Shenzhen Code, Recommendation H.2A); and that the crosses are ``invented``.

    Examples
    --------
    >>> page = labels_page([LabelCard("26-014", "Echinocereus coccineus", "Echinocereus dasyacanthus")])
    >>> page.count('class="card"'), "seed parent is named first" in page, "invented" in page.split("</style>")[1]
    (1, True, False)
    """
    headline = title or say("label.title")
    sheets = []
    for start in range(0, len(cards), _A_SHEET):
        sheet = Element("svg", {"class": "sheet", "viewBox": f"0 0 {_PAGE[0]:.2f} {_PAGE[1]:.2f}"})
        _draw_sheet(_SvgPen(sheet), cards[start : start + _A_SHEET], headline, invented=invented)
        sheets.append(svg.markup(sheet))
    styles = "".join(
        f".{name} {{ fill: {style.colour}; font-weight: {'bold' if style.bold else 'normal'}; }}\n"
        for name, style in _STYLES.items()
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en-GB">\n<head><meta charset="utf-8"><title>{escape(headline)}</title>\n'
        f"<style>{_PAPER}{styles}</style></head>\n<body>\n{''.join(sheets)}</body>\n</html>\n"
    )


_PAPER: Final = f"""
@page {{ size: A4 portrait; margin: 0; }}
body {{ margin: 0; background: #fff; }}
.sheet {{ display: block; width: 210mm; height: 297mm; margin: 0 auto; overflow: hidden; break-after: page; }}
.sheet:last-child {{ break-after: auto; }}
text {{ font-family: "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif; white-space: pre; }}
.leans {{ font-style: italic; }}
rect {{ fill: none; stroke: {_LINE}; stroke-width: 0.7; }}
.dashed {{ stroke-dasharray: 3 2; }}
.code {{ fill: #000; shape-rendering: crispEdges; }}
"""


def labels_pdf(cards: Sequence[LabelCard], *, title: str = "", invented: bool = False) -> bytes:
    """Return the sheets of `labels_page` as PDF; `WrongUse` says that the library that writes it is not installed."""
    try:
        from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415 - only a PDF needs it
    except ModuleNotFoundError:
        raise WrongUse(say("label.no_pdf")) from None
    buffer, headline = BytesIO(), title or say("label.title")
    canvas = Canvas(buffer, pagesize=_PAGE, bottomup=0, invariant=True)
    canvas.setTitle(headline)
    for start in range(0, len(cards), _A_SHEET):
        _draw_sheet(_PdfPen(canvas), cards[start : start + _A_SHEET], headline, invented=invented)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _draw_sheet(pen: _Pen, cards: Sequence[LabelCard], title: str, *, invented: bool) -> None:
    lines = [say("label.order"), say("label.cut"), *([say("label.invented") + "."] if invented else [])]
    _write(pen, _LEFT, _LEFT + 10, title, "title", _COLUMNS * _CARD[0])
    _write(pen, _LEFT, _LEFT + 22, " ".join(lines), "said", _COLUMNS * _CARD[0])
    for place, card in enumerate(cards):
        x, y = _LEFT + place % _COLUMNS * _CARD[0], _TOP + place // _COLUMNS * _CARD[1]
        _draw_card(pen.card(), card, x, y, invented=invented)


def _draw_card(pen: _Pen, card: LabelCard, x: float, y: float, *, invented: bool) -> None:
    """Draw one label with its upper left corner at a point."""
    left, right, mark = x + _TEXT, x + _RIGHT, 0.0
    pen.box(x, y, *_CARD)
    pen.box(x + 7 * _MM, y + 8 * _MM, 6 * _MM, 6 * _MM, radius=3 * _MM, dashed=False)
    if invented:
        mark = pen.width([(say("label.invented"), False)], "invented", _STYLES["invented"].size) + 14
        pen.box(right - mark + 6, y + 7, mark - 6, 12)
        _write(pen, right - mark + 10, y + 15.5, say("label.invented"), "invented", mark)
    _write(pen, left, y + 17, card.number, "number", right - left - mark)
    _write(pen, left, y + 27, card.purpose, "purpose", right - left)
    _draw_parent(pen, card, "seed", left, right, y + 44)
    _draw_parent(pen, card, "pollen", left, right, y + 71)
    third = (right - left) / 3
    for column, (heading, value) in enumerate(_facts_of(card)):
        _draw_fact(pen, heading, value, left + column * third, left + (column + 1) * third - 6, y + 106)
    _draw_fact(pen, say("label.note"), shortened(card.note, _NOTE_LETTERS), left, right, y + 127)
    caution = [(shortened(card.caution, _CAUTION_LETTERS), False)]
    size, lines = _fitted(caution, right - left, pen, "caution", _ONE_LINE_OF_CAUTION)
    for row, line in enumerate(lines):
        pen.write(left, y + 136 + 7 * row, line, "caution", size)
    _draw_code(pen, code_text(card, invented=invented), x + 1.5 * _MM, y + 33 * _MM, 17 * _MM)


def _draw_parent(pen: _Pen, card: LabelCard, side: _Side, left: float, right: float, y: float) -> None:
    """Draw a name on one line as large as fits, or on two where one would be too small to read, and its part."""
    name = card.seed_parent if side == "seed" else _other_side(card)
    if side == "pollen" and card.kind in _SIGNS:
        _write(pen, left - 5.5 * _MM, y, _SIGNS[card.kind], "sign", right - left)
    runs = leaning(name) if side == "seed" or card.kind == "cross" else ((name, False),)
    size, lines = _fitted(runs, right - left, pen, "name", _ONE_LINE)
    for row, line in enumerate(lines, 1 - len(lines)):
        pen.write(left, y + row * size * _LEADING, line, "name", size)
    _write(pen, left, y + 9, _role_of(card, side), "role", right - left)


def _fitted(runs: _Runs, width: float, pen: _Pen, style: str, one_line: float) -> tuple[float, list[_Runs]]:
    """Return the largest size at which a text fits a width, and its lines: one, or two at that size or smaller."""
    size = _STYLES[style].size
    while True:
        lines = _broken(runs, width, pen, style, size)
        wide = max((pen.width(line, style, size) for line in lines), default=0.0)
        if size <= _SMALLEST or (wide <= width and len(lines) <= (1 if size > one_line else 2)):
            return size, lines
        size -= 0.5


def _broken(runs: _Runs, width: float, pen: _Pen, style: str, size: float) -> list[_Runs]:
    """Break a line between words, so that each part keeps to a width if its words do."""
    lines: list[list[tuple[str, bool]]] = []
    for word in ((word, leans) for run, leans in runs for word in re.findall(r"\s*\S+\s*", run)):
        if lines and (pen.width([*lines[-1], word], style, size) <= width or not lines[-1][-1][0][-1].isspace()):
            lines[-1].append(word)
        else:
            lines.append([word])
    return list(lines)


def _draw_fact(pen: _Pen, heading: str, value: str, left: float, right: float, y: float) -> None:
    """Write a value over a line, or leave the line empty for a pencil."""
    _write(pen, left, y - 12, heading, "heading", right - left)
    _write(pen, left, y - 2, value, "fact", right - left)
    pen.box(left, y, right - left, 0, dashed=False)


def _write(pen: _Pen, x: float, y: float, text: str, style: str, width: float) -> None:
    """Write a line, in smaller letters where it would run over a width."""
    size, runs = _STYLES[style].size, [(text, False)]
    if text:
        pen.write(x, y, runs, style, min(size, size * width / max(pen.width(runs, style, size), 1e-6)))


def _draw_code(pen: _Pen, text: str, x: float, y: float, width: float) -> None:
    """Draw what a label says as a code that a phone reads, of squares that stay sharp at any size."""
    import segno  # noqa: PLC0415 - only labels need it

    matrix = segno.make(text, error="m", micro=False).matrix
    runs = [
        (match.start(), row, match.end() - match.start())
        for row, modules in enumerate(matrix)
        for match in re.finditer(b"\x01+", bytes(modules))
    ]
    pen.code(runs, x, y, width / len(matrix))


class _SvgPen:
    """Draws on a sheet of a page, in points from its upper left corner."""

    def __init__(self, on: Element) -> None:
        self.on = on

    def card(self) -> _SvgPen:
        return _SvgPen(svg.put(self.on, "g", "card"))

    def width(self, runs: _Runs, style: str, size: float) -> float:
        return text_width("".join(run for run, _ in runs), size, bold=_STYLES[style].bold)

    def write(self, x: float, y: float, runs: _Runs, style: str, size: float) -> None:
        text = svg.put(self.on, "text", style, x=x, y=y, font_size=size)
        for run, leans in runs:
            svg.put(text, "tspan", "leans" if leans else "").text = run

    def box(self, x: float, y: float, width: float, height: float, *, radius: float = 0.0, dashed: bool = True) -> None:
        kind = "dashed" if dashed else "solid"
        svg.put(self.on, "rect", kind, x=x, y=y, width=width, height=height or 0.01, rx=radius)

    def code(self, runs: Sequence[tuple[int, int, int]], x: float, y: float, side: float) -> None:
        d = "".join(f"M{column} {row}h{size}v1h-{size}z" for column, row, size in runs)
        place = f"translate({svg.number(x)} {svg.number(y)}) scale({side:.4f})"
        svg.put(self.on, "path", "code", d=d, transform=place)


class _PdfPen:
    """Draws the same on a sheet of a PDF."""

    def __init__(self, canvas: Canvas) -> None:
        from reportlab.pdfbase.pdfmetrics import registerFont  # noqa: PLC0415 - only a PDF needs it
        from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415 - as above

        self.canvas = canvas
        for name in ("DejaVuSans", "DejaVuSans-Bold", "DejaVuSans-BoldOblique"):
            with as_file(files("crosscompat.show").joinpath("fonts", f"{name}.ttf")) as path:
                registerFont(TTFont(name, str(path)))

    def card(self) -> _PdfPen:
        return self

    def width(self, runs: _Runs, style: str, size: float) -> float:
        return sum(float(self.canvas.stringWidth(run, _font(style, leans=leans), size)) for run, leans in runs)

    def write(self, x: float, y: float, runs: _Runs, style: str, size: float) -> None:
        self.canvas.setFillColor(_STYLES[style].colour)
        for run, leans in runs:
            self.canvas.setFont(_font(style, leans=leans), size)
            self.canvas.drawString(x, y, run)
            x += self.width([(run, leans)], style, size)

    def box(self, x: float, y: float, width: float, height: float, *, radius: float = 0.0, dashed: bool = True) -> None:
        self.canvas.setStrokeColor(_LINE)
        self.canvas.setDash([3, 2] if dashed else [])
        self.canvas.roundRect(x, y, width, height, radius)

    def code(self, runs: Sequence[tuple[int, int, int]], x: float, y: float, side: float) -> None:
        self.canvas.setFillColor("#000000")
        for column, row, size in runs:
            self.canvas.rect(x + column * side, y + row * side, size * side, side, stroke=0, fill=1)


def _font(style: str, *, leans: bool) -> str:
    return f"DejaVuSans{'-Bold' * _STYLES[style].bold}{'Oblique' * leans}"
