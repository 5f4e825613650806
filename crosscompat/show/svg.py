"""Shapes, lettering, names as they are printed and the scale of colour for pictures; each an SVG element on a sheet."""

from __future__ import annotations

import re
from math import cos, pi, sin
from typing import Final
from xml.etree.ElementTree import Element, SubElement, tostring

# Even stops of "bamako" from Fabio Crameri's Scientific colour maps (MIT licence, doi:10.5281/zenodo.1243862; Crameri,
# Shephard & Heron 2020, doi:10.1038/s41467-020-19160-7), reversed, and only four fifths of it: the shades beyond are
# hard to tell apart without blue cones.
STOPS: Final = ["#ffe5ad", "#e5cb75", "#c6ae39", "#a2930d", "#818800", "#637a0a", "#47681c", "#2e582b", "#1b4c37"]
INK: Final = "#1d2723"
PAPER: Final = "#ffffff"
_DARK: Final = 0.59


def _channels(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5))
    return red, green, blue


def chance_colour(chance: float) -> str:
    """Return the colour of a chance, evenly between the stops of the scale; outside 0 to 1 that of the end.

    Examples
    --------
    >>> chance_colour(0.0), chance_colour(0.5), chance_colour(1.0)
    ('#ffe5ad', '#818800', '#1b4c37')
    """
    place = min(max(chance, 0.0), 1.0) * (len(STOPS) - 1)
    left = min(int(place), len(STOPS) - 2)
    share = place - left
    pairs = zip(_channels(STOPS[left]), _channels(STOPS[left + 1]), strict=True)
    return "#" + "".join(f"{round(255 * (a + share * (b - a))):02x}" for a, b in pairs)


def text_on(chance: float) -> str:
    """Return black or paper, whichever can be read on the colour of a chance: a contrast of 4.5 or more (WCAG 2.2)."""
    return "#000000" if chance < _DARK else PAPER


_NOT_XML: Final = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\ufffe\\uffff]")
_NAMESPACE: Final = "http://www.w3.org/2000/svg"


def number(value: float) -> str:
    """Return a coordinate with at most two decimals, the same on every machine."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def put(on: Element, tag: str, cls: str = "", **attributes: float | str) -> Element:
    """Add an element; numbers are rounded, and ``stroke_width`` is written ``stroke-width``."""
    written = {"class": cls} if cls else {}
    for key, value in attributes.items():
        written[key.replace("_", "-")] = value if isinstance(value, str) else number(value)
    return SubElement(on, tag, written)


def write(on: Element, x: float, y: float, words: str, cls: str, **attributes: float | str) -> Element:
    """Add a line of text, its base line at ``y``."""
    element = put(on, "text", cls, x=x, y=y, **attributes)
    element.text = words
    return element


def letter_name(on: Element, x: float, y: float, name: str, cls: str, **attributes: float | str) -> Element:
    """Add a plant name, genus and epithets in italics."""
    element = put(on, "text", cls, x=x, y=y, **attributes)
    for run, leans in leaning(name):
        put(element, "tspan", "leans" if leans else "stands").text = run
    return element


def sheet(width: float, height: float, title: str, description: str) -> Element:
    """Return an empty picture that tells a screen reader what it shows."""
    root = Element(
        "svg",
        {
            "xmlns": _NAMESPACE,
            "viewBox": f"0 0 {number(width)} {number(height)}",
            "width": number(width),
            "height": number(height),
            "role": "img",
            "aria-labelledby": "picture-title picture-description",
        },
    )
    put(root, "title", id="picture-title").text = title
    put(root, "desc", id="picture-description").text = description
    return root


def markup(root: Element) -> str:
    """Return a picture as text, an element a line, without the control characters that XML forbids."""
    for element in root.iter():
        element.tail = element.tail if element.tag == "tspan" else "\n"
    return _NOT_XML.sub("", tostring(root, encoding="unicode"))


def seedling(on: Element, x: float, y: float, cls: str = "took") -> Element:
    """Add a seedling of a cactus, about 14 by 14: a plump body, two seed leaves and the ground it stands on."""
    leaves = (
        "M0 -1C-1.6 -5.6 -5.4 -6.4 -7 -5.4C-6.4 -2.6 -3.2 -0.6 0 -1C3.2 -0.6 6.4 -2.6 7 -5.4C5.4 -6.4 1.6 -5.6 0 -1Z"
    )
    body = "M-3 5.6C-3.6 1.6 -2 -1.4 0 -1.4C2 -1.4 3.6 1.6 3 5.6Z"
    ground = "M-6 5.4H6V6.6H-6Z"
    return put(on, "path", cls, d=leaves + body + ground, transform=f"translate({number(x)} {number(y)})")


def seed_struck_out(on: Element, x: float, y: float, cls: str = "failed") -> Element:
    """Add a seed that never sprouted, about 14 by 14: hollow, on the ground, a stroke through it."""
    d = "M4.4 1.4A4.4 3.4 0 1 1 -4.4 1.4A4.4 3.4 0 1 1 4.4 1.4ZM-6 6.2H6M-4.4 5.4L5.4 -5.8"
    return put(on, "path", cls, d=d, transform=f"translate({number(x)} {number(y)})")


def flower(on: Element, x: float, y: float, size: float = 7.0, cls: str = "flower") -> Element:
    """Add an open flower of seven pointed petals, ``size`` from its middle to a point."""
    group = put(on, "g", cls, transform=f"translate({number(x)} {number(y)})")
    outline = []
    petals = 7
    for petal in range(petals):
        for turn, reach in ((-0.5, 0.42), (-0.28, 0.86), (0.0, 1.0), (0.28, 0.86)):
            angle = 2 * pi * (petal + turn) / petals - pi / 2
            outline.append(f"{number(size * reach * cos(angle))} {number(size * reach * sin(angle))}")
    put(group, "path", "petals", d="M" + "L".join(outline) + "Z")
    put(group, "circle", "eye", r=size * 0.26)
    return group


_MULTIPLIERS: Final = frozenset({"\N{MULTIPLICATION SIGN}", "+", "x"})
_UPRIGHT: Final = _MULTIPLIERS | {
    *("subsp.", "ssp.", "var.", "subvar.", "f.", "nothosubsp.", "nothovar.", "cf.", "aff.", "sp.", "spp."),
    *("ex", "in", "et", "&"),
}
# A cultivar between quotation marks of either kind, a sign, a word, or blanks.
_PIECE: Final = re.compile(r"'[^']*'|\u2018[^\u2019]*\u2019|[\u00d7+]|[^\s\u00d7+]+|\s+")
# Widths in em by kind of letter, read off the Arial-like faces and rounded up.
_KINDS: Final = {"ijlI.,:;'|!()[]\u2018\u2019\u00b7 ": 0.29, 'frt-/"\u2013\u00b0': 0.36, "mwMW@%\u2014\u2026": 0.9}
_EM: Final = {letter: width for letters, width in _KINDS.items() for letter in letters}
_CAPITAL: Final = 0.74
_OTHER: Final = 0.57
_BOLD: Final = 1.08


def leaning(name: str) -> tuple[tuple[str, bool], ...]:
    """Cut a plant name into runs of text, each with whether it is printed in italics.

    Genus and epithets lean; ×, ranks, qualifiers, cultivars, authors and field numbers stand upright.

    Examples
    --------
    >>> leaning("Echinocereus × roetteri subsp. neomexicanus 'Bright Star'")  # doctest: +NORMALIZE_WHITESPACE
    (('Echinocereus ', True), ('× ', False), ('roetteri ', True), ('subsp. ', False), ('neomexicanus ', True),
     ("'Bright Star'", False))
    """
    runs: list[tuple[str, bool]] = []
    genus_due = True
    for piece in _PIECE.findall(name):
        leans = runs[-1][1] if runs else False
        if not piece.isspace():
            word = piece.strip("()")
            leans = word.replace("-", "").isalpha() and word not in _UPRIGHT and (word.islower() or genus_due)
            genus_due = piece in _MULTIPLIERS
        if runs and runs[-1][1] == leans:
            runs[-1] = (runs[-1][0] + piece, leans)
        else:
            runs.append((piece, leans))
    return tuple(runs)


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width that a line of text takes at most, in the unit of its size; a guess on the wide side."""
    ems = sum(_EM.get(letter) or (_CAPITAL if letter.isupper() else _OTHER) for letter in text)
    return ems * size * (_BOLD if bold else 1.0)


def wrapped(text: str, size: float, width: float, *, bold: bool = False) -> tuple[str, ...]:
    """Break a text between words into lines of at most that width; a longer word keeps a line of its own."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return tuple(lines)


def shortened(text: str, letters: int) -> str:
    """Cut a text at the last whole word that leaves room for "…"."""
    if len(text) <= letters:
        return text
    head = text[:letters]
    return (head.rsplit(" ", 1)[0] if " " in head else head[:-1]) + "…"
