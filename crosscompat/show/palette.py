"""One scale of colour for chances: readable without colour vision, in grey print and on screen.

Pale is unlikely and dark is likely, so that what is worth doing has the most ink on white paper.
"""

from __future__ import annotations

from typing import Final

__all__ = ["INK", "PAPER", "STOPS", "chance_colour", "text_on"]

# Even stops of "bamako" from Fabio Crameri's Scientific colour maps (MIT licence, doi:10.5281/zenodo.1243862; Crameri,
# Shephard & Heron 2020, doi:10.1038/s41467-020-19160-7), reversed, and only four fifths of it: the shades beyond are
# hard to tell apart without blue cones.
STOPS: Final = (
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
_DARK: Final = 0.59


def _channels(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5))
    return red, green, blue


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
    place = min(max(chance, 0.0), 1.0) * (len(STOPS) - 1)
    left = min(int(place), len(STOPS) - 2)
    share = place - left
    pairs = zip(_channels(STOPS[left]), _channels(STOPS[left + 1]), strict=True)
    return "#" + "".join(f"{round(255 * (a + share * (b - a))):02x}" for a, b in pairs)


def text_on(chance: float) -> str:
    """Return black or paper, whichever can be read on the colour of a chance: a contrast of 4.5 or more (WCAG 2.2).

    Examples
    --------
    >>> text_on(0.0), text_on(1.0)
    ('#000000', '#ffffff')
    """
    return "#000000" if chance < _DARK else PAPER
