"""One scale of colour for chances: readable without colour vision, in grey print and on screen.

Pale is unlikely and dark is likely, so that what is worth doing has the most ink on white paper.
"""

from __future__ import annotations

from typing import Final

__all__ = ["INK", "PAPER", "chance_colour", "contrast", "luminance", "stops", "text_on"]

# Even stops of "bamako" from Fabio Crameri's Scientific colour maps (MIT licence, doi:10.5281/zenodo.1243862; Crameri,
# Shephard & Heron 2020, doi:10.1038/s41467-020-19160-7), reversed, and only four fifths of it: the shades beyond are
# hard to tell apart without blue cones.
_STOPS: Final = (
    "#ffe5ad",
    "#e5cb75",
    "#c6ae39",
    "#a2930d",
    "#818800",
    "#637a0a",
    "#47681c",
    "#2e582b",
    "#1b4c37",
)
INK: Final = "#1d2723"
PAPER: Final = "#ffffff"
_LINEAR_BELOW: Final = 0.04045


def _channels(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5))
    return red, green, blue


def stops() -> tuple[str, ...]:
    """Return the colours of the scale at even steps from chance 0 to chance 1, as ``#rrggbb``.

    Examples
    --------
    >>> stops()[0], stops()[-1]
    ('#ffe5ad', '#1b4c37')
    """
    return _STOPS


def chance_colour(chance: float) -> str:
    """Return the colour of a chance, interpolated evenly between the stops of the scale.

    Parameters
    ----------
    chance : float
        A probability; what lies outside 0 to 1 takes the colour of the end.

    Examples
    --------
    >>> chance_colour(0.0), chance_colour(0.5), chance_colour(1.0)
    ('#ffe5ad', '#818800', '#1b4c37')
    """
    place = min(max(chance, 0.0), 1.0) * (len(_STOPS) - 1)
    left = min(int(place), len(_STOPS) - 2)
    share = place - left
    pairs = zip(_channels(_STOPS[left]), _channels(_STOPS[left + 1]), strict=True)
    return "#" + "".join(f"{round(255 * (a + share * (b - a))):02x}" for a, b in pairs)


def luminance(colour: str) -> float:
    """Return the relative luminance of an sRGB colour ``#rrggbb``, 0 for black and 1 for white.

    Notes
    -----
    W3C, Web Content Accessibility Guidelines 2.2, "relative luminance".

    Examples
    --------
    >>> luminance("#000000"), round(luminance("#ffffff"), 6)
    (0.0, 1.0)
    """
    linear = [
        value / 12.92 if value <= _LINEAR_BELOW else ((value + 0.055) / 1.055) ** 2.4 for value in _channels(colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, from 1 (equal) to 21 (black on white).

    Notes
    -----
    W3C, Web Content Accessibility Guidelines 2.2, "contrast ratio"; body text wants 4.5 and shapes 3.

    Examples
    --------
    >>> round(contrast("#000000", "#ffffff"), 6)
    21.0
    """
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def text_on(colour: str) -> str:
    """Return black or paper, whichever reads better on a ground of that colour: always 4.5 or more.

    Examples
    --------
    >>> text_on("#ffe5ad"), text_on("#1b4c37")
    ('#000000', '#ffffff')
    """
    return max(("#000000", PAPER), key=lambda text: contrast(text, colour))
