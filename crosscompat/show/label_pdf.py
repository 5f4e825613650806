"""The sheets of labels as PDF, for a printer that keeps to the millimetre."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from importlib.resources import as_file, files
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final

from crosscompat.ground.errors import WrongUse
from crosscompat.ground.wording import say
from crosscompat.show.label import SIGNS, LabelCard, code_text, facts_of, other_side, role_of
from crosscompat.show.print_names import leaning, shortened

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

__all__ = ["labels_pdf"]

_MM: Final = 72 / 25.4
_PAGE: Final = (210 * _MM, 297 * _MM)
_CARD: Final = (95 * _MM, 52 * _MM)
_COLUMNS, _ROWS = 2, 5
_LEFT, _TOP = 10 * _MM, 24 * _MM
_TEXT, _RIGHT = 21 * _MM, 4 * _MM  # of a card: where its text begins, and what is left free behind it
_CODE: Final = 17 * _MM
_PLAIN, _BOLD, _LEAN = "DejaVuSans", "DejaVuSans-Bold", "DejaVuSans-BoldOblique"
_SIZES, _ONE_LINE, _LEADING = tuple(half / 2 for half in range(24, 5, -1)), 7.0, 1.15
_GREY, _BLACK = 0.4, 0.1


def labels_pdf(cards: Sequence[LabelCard], *, title: str = "", invented: bool = False) -> bytes:
    """Return sheets of A4 with ten labels each, 95 by 52 mm, as `labels_page` draws them.

    Raises
    ------
    WrongUse
        If the library that writes PDF is not installed.
    """
    try:
        from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415 - only a PDF needs it
    except ModuleNotFoundError:
        raise WrongUse(say("label.no_pdf")) from None
    _load_fonts()
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=_PAGE, invariant=True)
    canvas.setTitle(title or say("label.title"))
    a_sheet = _COLUMNS * _ROWS
    for start in range(0, len(cards), a_sheet):
        _heading(canvas, title or say("label.title"), invented=invented)
        for i, card in enumerate(cards[start : start + a_sheet]):
            x = _LEFT + (i % _COLUMNS) * _CARD[0]
            y = _PAGE[1] - _TOP - (i // _COLUMNS + 1) * _CARD[1]
            _card(canvas, card, x, y, invented=invented)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _load_fonts() -> None:
    from reportlab.pdfbase.pdfmetrics import getRegisteredFontNames, registerFont  # noqa: PLC0415 - only a PDF needs it
    from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415 - as above

    for name in {_PLAIN, _BOLD, _LEAN} - set(getRegisteredFontNames()):
        with as_file(files("crosscompat.show").joinpath("fonts", f"{name}.ttf")) as path:
            registerFont(TTFont(name, str(path)))


def _heading(canvas: Canvas, title: str, *, invented: bool) -> None:
    top = _PAGE[1] - _LEFT
    _write(canvas, _LEFT, top - 10, title, _BOLD, 12)
    lines = [say("label.order"), say("label.cut"), *([say("label.invented") + "."] if invented else [])]
    _write_within(canvas, _LEFT, top - 22, " ".join(lines), _PLAIN, 6.5, _COLUMNS * _CARD[0], grey=_GREY)


def _card(canvas: Canvas, card: LabelCard, x: float, y: float, *, invented: bool) -> None:
    """Draw one label with its lower left corner at a point."""
    width, height = _CARD
    left, right, top = x + _TEXT, x + width - _RIGHT, y + height
    _outline(canvas, x, y)
    _code(canvas, code_text(card, invented=invented), x + 1.5 * _MM, y + 2 * _MM)
    _write_within(canvas, left, top - 17, card.number, _BOLD, 11, right - left - (40 * _MM if invented else 0))
    if invented:
        canvas.setFont(_BOLD, 6.5)
        canvas.drawRightString(right, top - 16, say("label.invented"))
    if card.purpose:
        _write_within(canvas, left, top - 26, card.purpose, _BOLD, 7, right - left)
    _parent(canvas, card, "seed", left, top - 40, right)
    _parent(canvas, card, "pollen", left, top - 66, right)
    _facts(canvas, card, left, y, right)


def _parent(canvas: Canvas, card: LabelCard, side: Any, left: float, y: float, right: float) -> None:
    name = card.seed_parent if side == "seed" else other_side(card)
    if side == "pollen" and card.kind in SIGNS:
        _write(canvas, left - 5.5 * _MM, y, SIGNS[card.kind], _BOLD, 13)
    runs = leaning(name) if side == "seed" or card.kind == "cross" else ((name, False),)
    paragraph = _fitted(runs, right - left)
    paragraph.drawOn(canvas, left, y - 0.25 * paragraph.style.leading)
    _write_within(canvas, left, y - 8, role_of(card, side), _PLAIN, 6.5, right - left, grey=_GREY)


def _fitted(runs: tuple[tuple[str, bool], ...], width: float) -> Any:
    """Return a name on one line as large as fits, or on two where one would be too small to read."""
    from reportlab.lib.styles import ParagraphStyle  # noqa: PLC0415 - only a PDF needs it
    from reportlab.platypus import Paragraph  # noqa: PLC0415 - as above

    text = "".join(f'<font name="{_LEAN if leans else _BOLD}">{escape(run)}</font>' for run, leans in runs)
    for size in _SIZES:
        paragraph = Paragraph(text, ParagraphStyle("name", fontName=_BOLD, fontSize=size, leading=size * _LEADING))
        paragraph.wrap(width, _CARD[1])
        if len(paragraph.blPara.lines) <= (1 if size > _ONE_LINE else 2) and paragraph.minWidth() <= width:
            break
    return paragraph


def _facts(canvas: Canvas, card: LabelCard, left: float, y: float, right: float) -> None:
    column = (right - left) / 3
    low = y + 15 * _MM
    for i, (heading, value) in enumerate(facts_of(card)):
        _write(canvas, left + i * column, low + 11, heading, _PLAIN, 6, grey=_GREY)
        _write_within(canvas, left + i * column, low + 2, value, _PLAIN, 8, column - 6)
        _line(canvas, left + i * column, low, left + (i + 1) * column - 6)
    low = y + 7.5 * _MM
    _write(canvas, left, low + 11, say("label.note"), _PLAIN, 6, grey=_GREY)
    _write_within(canvas, left, low + 2, shortened(card.note, 50), _PLAIN, 8, right - left)
    _line(canvas, left, low, right)
    _write_within(canvas, left, y + 3 * _MM, card.caution, _BOLD, 6.5, right - left)


def _outline(canvas: Canvas, x: float, y: float) -> None:
    canvas.saveState()
    canvas.setDash(3, 2)
    canvas.setStrokeGray(0.55)
    canvas.rect(x, y, *_CARD)
    canvas.restoreState()
    canvas.setStrokeGray(0.55)
    canvas.circle(x + 10 * _MM, y + _CARD[1] - 11 * _MM, 3 * _MM)


def _code(canvas: Canvas, text: str, x: float, y: float) -> None:
    """Draw the code as squares, so that it stays sharp at any size."""
    import segno  # noqa: PLC0415 - only labels need it

    matrix = segno.make(text, error="m", micro=False).matrix
    side = _CODE / len(matrix)
    path = canvas.beginPath()
    for i, row in enumerate(matrix):
        for j, dark in enumerate(row):
            if dark:
                path.rect(x + j * side, y + _CODE - (i + 1) * side, side, side)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)


def _line(canvas: Canvas, left: float, y: float, right: float) -> None:
    canvas.setStrokeGray(0.55)
    canvas.line(left, y, right, y)


def _write(canvas: Canvas, x: float, y: float, text: str, font: str, size: float, grey: float = _BLACK) -> None:
    canvas.setFillGray(grey)
    canvas.setFont(font, size)
    canvas.drawString(x, y, text)


def _write_within(
    canvas: Canvas, x: float, y: float, text: str, font: str, size: float, width: float, grey: float = _BLACK
) -> None:
    """Write a line in smaller letters where it would run over a width."""
    if text:
        fitted = min(size, max(size * width / max(_width(text, font, size), 1e-6), 3.0))
        _write(canvas, x, y, text, font, fitted, grey)


def _width(text: str, font: str, size: float) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth  # noqa: PLC0415 - only a PDF needs it

    return float(stringWidth(text, font, size))
