"""Labels to print, cut out and tie to a cross: what stands on one, and the page that prints them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Final, Literal, TypeAlias

from crosscompat.ground.names import bracketed
from crosscompat.ground.wording import say
from crosscompat.show.print_names import fitted_size, leaning, shortened

__all__ = ["SIGNS", "Kind", "LabelCard", "code_text", "facts_of", "labels_page", "other_side", "role_of"]

Kind: TypeAlias = Literal["cross", "mixed", "unknown", "sib", "open", "self", "none"]

SIGNS: Final = {
    **dict.fromkeys(("cross", "mixed", "unknown", "sib", "open"), "\N{MULTIPLICATION SIGN}"),
    "self": "\N{CIRCLED TIMES}",
}
"""What stands between the parents; nothing where no pollen was brought."""


@dataclass(frozen=True, slots=True)
class LabelCard:
    """What stands on the label of one cross; an empty field leaves a line to write on.

    Attributes
    ----------
    number : str
        The grower's own number of the cross.
    seed_parent, pollen_parent : str
        Names in correct form, genus in full; ``pollen_parent`` is used for a cross alone.
    seed_plant, pollen_plant : str
        Numbers of the very plants.
    kind : {"cross", "mixed", "unknown", "sib", "open", "self", "none"}
        Whether pollen was brought from another plant, from several, from one that nobody knows any more, from a sister
        or brother, came by itself, is the plant's own, or was kept out by a bag.
    date : str
        Day of the pollination, as it is to be printed.
    units : str
        What was pollinated, such as "4 flowers".
    grower : str
        Initials.
    note, caution : str
        A line of the grower's, and what to beware of when handling the plant.
    purpose : str
        What it is where it is no cross: a check of a parent.
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


def other_side(card: LabelCard) -> str:
    """Return what stands in the place of the pollen parent.

    Examples
    --------
    >>> other_side(LabelCard("1", "Aus bus", kind="open"))
    'open'
    """
    return card.pollen_parent if card.kind == "cross" else say(f"label.{card.kind}")


def role_of(card: LabelCard, side: Literal["seed", "pollen"]) -> str:
    """Return which parent a name is, with the very plant where one is known."""
    if side == "pollen" and card.kind != "cross":
        return say(f"label.{card.kind}_pollen")
    plant = card.seed_plant if side == "seed" else card.pollen_plant
    return say(f"label.{side}_parent_plant", plant=plant) if plant else say(f"label.{side}_parent")


def facts_of(card: LabelCard) -> tuple[tuple[str, str], ...]:
    """Return date, count and grower, each with its heading."""
    units = {"open": "units_open", "none": "units_none"}.get(card.kind, "units")
    return tuple((say(f"label.{key}"), value) for key, value in (
        ("date", card.date), (units, card.units), ("grower", card.grower),
    ))  # fmt: skip


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
    seed, pollen = (
        f"{bracketed(name)} [{plant}]" if plant else bracketed(name)
        for name, plant in (
            (card.seed_parent, card.seed_plant),
            (other_side(card), card.pollen_plant if card.kind == "cross" else ""),
        )
    )
    formula = f"{seed} {SIGNS[card.kind]} {pollen}" if card.kind in SIGNS else f"{seed}, {pollen}"
    made = ", ".join(part for part in (card.date, card.units, card.grower) if part)
    mark = say("label.invented") if invented else ""
    return "\n".join(part for part in (card.number, formula, card.purpose, made, mark) if part)


_A_SHEET: Final = 10
_LINE_PT: Final = 198.0  # what the card leaves for a name: 70 mm
_LARGEST_PT: Final = 13.0
_ONE_LINE_PT: Final = 7.6
_SMALLEST_PT: Final = 6.0
_FILL: Final = 0.85  # a broken line is seldom full
_NOTE_LETTERS: Final = 44
_CAUTION_LETTERS: Final = 110

_STYLE: Final = """
@page { size: A4 portrait; margin: 10mm; }
* { box-sizing: border-box; }
body { margin: 0; color: #1d2723; background: #fff;
       font: 8pt/1.25 "Helvetica Neue", Helvetica, Arial, "Liberation Sans", sans-serif; }
.sheet { width: 190mm; margin: 0 auto; break-after: page; }
.sheet:last-child { break-after: auto; }
header { height: 14mm; }
h1 { font-size: 12pt; margin: 0 0 0.5mm; }
header p { margin: 0; color: #56615b; }
.cards { display: grid; grid-template-columns: 94.8mm 94.8mm; grid-auto-rows: 52mm; border: 0.25mm dashed #8d9891;
         border-width: 0.25mm 0 0 0.25mm; width: max-content; }
.card { position: relative; padding: 3mm 4mm 2.5mm 21mm; border: 0.25mm dashed #8d9891; border-width: 0 0.25mm 0.25mm 0;
        break-inside: avoid; display: flex; flex-direction: column; overflow: hidden; }
.code { position: absolute; left: 1.5mm; bottom: 2mm; width: 17mm; height: 17mm; }
.code svg { width: 100%; height: 100%; display: block; }
.purpose { flex: none; font-size: 8pt; font-weight: bold; }
.hole { position: absolute; left: 7mm; top: 8mm; width: 6mm; height: 6mm; border: 0.25mm solid #8d9891;
        border-radius: 50%; }
.top, .facts, .caution { flex: none; }
.top { display: flex; justify-content: space-between; align-items: center; gap: 3mm; height: 6mm; }
.number { font-weight: bold; font-size: 11pt; overflow: hidden; white-space: nowrap; }
.invented { font-size: 7.5pt; font-weight: bold; white-space: nowrap; border: 0.3mm dashed #1d2723;
            padding: 0.2mm 1.4mm; }
.parent { position: relative; flex: none; font-size: 13pt; }
.name { font-weight: bold; line-height: 1.15; }
.sign { position: absolute; left: -5.5mm; top: 0; font-size: 15pt; font-weight: bold; line-height: 1; }
.role { font-size: 7pt; color: #56615b; line-height: 1.2; margin-bottom: 0.8mm; }
.facts { display: flex; gap: 3mm; margin-top: auto; }
.fact { flex: 1 1 0; border-bottom: 0.2mm solid #8d9891; height: 6.8mm; white-space: nowrap; font-size: 8.5pt; }
.fact span { font-size: 6.5pt; color: #56615b; display: block; line-height: 1.1; }
.note { flex: none; margin-top: 0.8mm; font-size: 8pt; }
.caution { font-size: 7pt; line-height: 1.2; margin-top: 1mm; font-weight: bold; }
@media screen { body { padding: 8mm 0; } }
"""


def _name(name: str) -> str:
    """Write a plant name as large as fits on one line, or on two where one would be too small to read."""
    size = fitted_size(name, _LINE_PT, _LARGEST_PT, _SMALLEST_PT)
    if size < _ONE_LINE_PT:
        size = fitted_size(name, 2 * _LINE_PT * _FILL, _ONE_LINE_PT, _SMALLEST_PT)
    runs = "".join(f"<i>{escape(run)}</i>" if leans else escape(run) for run, leans in leaning(name))
    return f'<div class="name" style="font-size: {size:g}pt">{runs}</div>'


def _parent(cls: str, words: str, role: str) -> str:
    return f'<div class="parent {cls}">{words}<div class="role">{escape(role)}</div></div>'


def _parents(card: LabelCard) -> str:
    """Write the formula of the cross, one parent a line, each with its part in words."""
    plain = f'<div class="name">{escape(other_side(card))}</div>'
    other = _name(card.pollen_parent) if card.kind == "cross" else plain
    sign = f'<span class="sign">{SIGNS[card.kind]}</span>' if card.kind in SIGNS else ""
    return _parent("seed", _name(card.seed_parent), role_of(card, "seed")) + _parent(
        "pollen", sign + other, role_of(card, "pollen")
    )


def _code(card: LabelCard, *, invented: bool) -> str:
    """Draw what the label says as a code that a phone reads."""
    import segno  # noqa: PLC0415 - only labels need it

    return segno.make(code_text(card, invented=invented), error="m", micro=False).svg_inline(border=0, omitsize=True)


def _fact(heading: str, value: str, cls: str = "fact") -> str:
    """Write a value over a line, or leave the line empty for a pencil."""
    return f'<div class="{cls}"><span>{escape(heading)}</span>{escape(value)}</div>'


def _card(card: LabelCard, *, invented: bool) -> str:
    """Write one label."""
    mark = f'<span class="invented">{escape(say("label.invented"))}</span>' if invented else ""
    facts = "".join(_fact(heading, value) for heading, value in facts_of(card))
    purpose = f'<div class="purpose">{escape(card.purpose)}</div>' if card.purpose else ""
    caution = shortened(card.caution, _CAUTION_LETTERS)
    return "\n".join(
        [
            '<article class="card"><div class="hole"></div>',
            f'<div class="top"><span class="number">{escape(card.number)}</span>{mark}</div>',
            f'<div class="code">{_code(card, invented=invented)}</div>',
            purpose + _parents(card),
            f'<div class="facts">{facts}</div>',
            _fact(say("label.note"), shortened(card.note, _NOTE_LETTERS), "fact note"),
            *([f'<div class="caution">{escape(caution)}</div>'] if caution else []),
            "</article>",
        ]
    )


def labels_page(cards: Sequence[LabelCard], *, title: str = "", invented: bool = False) -> str:
    """Return a page of HTML that prints ten labels on a sheet of A4, 95 by 52 mm each, with lines to cut along.

    Every label names the seed parent first and says which parent is which, and every sheet says so again. The code of
    nomenclature wants the order of a hybrid formula explained wherever it is not the alphabet's (ICN, Shenzhen Code,
    Recommendation H.2A).

    Parameters
    ----------
    cards : sequence of LabelCard
        The labels, in the order of printing.
    title : str
        Headline of the sheets; "Labels for crosses" by default.
    invented : bool
        Whether the crosses are made up, which every label and every sheet then says.

    Examples
    --------
    >>> page = labels_page([LabelCard("26-014", "Echinocereus coccineus", "Echinocereus dasyacanthus")])
    >>> page.count("<article"), "seed parent is named first" in page, "invented" in page.split("</style>")[1]
    (1, True, False)
    """
    headline = escape(title or say("label.title"))
    lines = [say("label.order"), say("label.cut")] + ([say("label.invented") + "."] if invented else [])
    head = f"<header><h1>{headline}</h1><p>{escape(' '.join(lines))}</p></header>"
    sheets = [
        f'<section class="sheet">{head}\n<div class="cards">'
        + "\n".join(_card(card, invented=invented) for card in cards[start : start + _A_SHEET])
        + "</div></section>"
        for start in range(0, len(cards), _A_SHEET)
    ]
    return (
        f'<!DOCTYPE html>\n<html lang="en-GB">\n<head><meta charset="utf-8"><title>{headline}</title>\n'
        f"<style>{_STYLE}</style></head>\n<body>\n" + "\n".join(sheets) + "\n</body>\n</html>\n"
    )
