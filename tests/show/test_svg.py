from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosscompat.show.svg import INK, PAPER, STOPS, chance_colour, leaning, shortened, text_on, text_width, wrapped

STEPS = np.linspace(0, 1, 201)
# Finer than this, a step at the dark end is less than the 256 levels of a screen can show.
SHADES = np.linspace(0, 1, 41)
# Machado, Oliveira & Fernandes 2009 (doi:10.1109/TVCG.2009.113), severity 1.0, on linear RGB.
BLINDNESS = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour):
    values = np.array([int(colour[start : start + 2], 16) for start in (1, 3, 5)]) / 255
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIELAB of linear sRGB under D65."""
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    share = matrix @ rgb / np.array([0.9505, 1.0, 1.089])
    f = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_the_scale_darkens_all_the_way(luminance):
    lightness = [luminance(chance_colour(step)) for step in SHADES]
    assert np.all(np.diff(lightness) < 0)


@pytest.mark.parametrize("matrix", BLINDNESS.values(), ids=BLINDNESS)
def test_the_scale_reads_without_full_colour_vision(matrix):
    assert np.allclose(np.sum(matrix, axis=1), 1, atol=1e-5)
    seen = [lab(np.clip(np.array(matrix) @ linear(chance_colour(step)), 0, 1)) for step in SHADES]
    assert np.all(np.diff([colour[0] for colour in seen]) < 0)
    apart = [np.linalg.norm(seen[place + 8] - seen[place]) for place in range(len(seen) - 8)]
    assert min(apart) > 10  # colours 20 percent apart; a difference of 2.3 is just noticeable


@pytest.mark.parametrize("step", STEPS)
def test_text_on_the_scale_can_be_read(contrast, step):
    assert contrast(text_on(step), chance_colour(step)) >= 4.5


def test_ink_on_paper_can_be_read(contrast):
    assert contrast(INK, PAPER) >= 7


def test_contrast_as_published(contrast):
    # W3C, Understanding WCAG 2.x, 1.4.3: #767676 on white is the lightest grey that passes 4.5.
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


def test_chances_outside_the_scale_take_its_ends():
    assert chance_colour(-1) == STOPS[0]
    assert chance_colour(2) == STOPS[-1]
    assert [chance_colour(place / 8) for place in range(9)] == list(STOPS)


SENTENCE = st.text(alphabet="abij mwAM×.'", max_size=60)


@pytest.mark.parametrize(
    ("name", "upright"),
    [
        ("Echinocereus coccineus", ""),
        ("Echinocereus coccineus subsp. roemeri", "subsp."),
        ("Echinocereus × roetteri", "×"),
        ("Echinocereus ×roetteri", "×"),
        ("×Pachebergia apicicostata", "×"),
        ("Echinocereus fasciculatus subsp. boyce-thompsonii", "subsp."),
        ("Echinocereus aff. coccineus QX 1234", "aff. QX 1234"),
        ("Echinocereus coccineus Engelm.", "Engelm."),
        ("Echinocereus 'Red Star' × Echinocereus scheeri", "'Red Star' ×"),
        ("Echinocereus sp.", "sp."),
        ("(Echinocereus scheeri × Echinocereus laui) × Echinocereus palmeri", "× ×"),
    ],
)
def test_genus_and_epithets_lean_and_nothing_else_does(name, upright):
    runs = leaning(name)
    assert "".join(run for run, _ in runs) == name
    assert " ".join("".join(f" {run}" for run, leans in runs if not leans).split()) == upright


@given(SENTENCE)
def test_a_name_is_printed_whole(name):
    assert "".join(run for run, _ in leaning(name)) == name


@given(SENTENCE, st.floats(20, 300))
def test_wrapping_keeps_every_word_and_the_width(text, width):
    lines = wrapped(text, 12, width)
    assert " ".join(lines).split() == text.split()
    assert all(text_width(line, 12) <= width or " " not in line for line in lines)


@given(st.text(alphabet="ab ", max_size=40), st.integers(3, 20))
def test_a_shortened_text_says_so_and_fits(text, letters):
    short = shortened(text, letters)
    assert len(short) <= letters
    assert short == text or short.endswith("…")
